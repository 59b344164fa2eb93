"""Lamps seen in plane mirrors: light that comes off a wall the sharp way, by image sources.

A lamp mirrored in the plane of a wall is drawn from as a lamp itself is. The ray towards the image
meets the wall where light from the lamp point would be reflected; what that piece of wall sends
the sharp way is its weight. Backward paths that leave a face, meet such a wall first and the lamp
next are then not counted by chance hits as well.

Source: image sources as in room acoustics, Allen and Berkley, "Image method for efficiently
simulating small-room acoustics", J. Acoust. Soc. Am. 65 (1979) (from memory).
"""

import math

from raysim.kernels.compile import kernel
from raysim.kernels.direct import choice_of_tubes, chosen_tube, seen_tube_point
from raysim.kernels.models import model_reflectance
from raysim.kernels.traverse import ANY, NEAREST, NOTHING, nearest_hit
from raysim.kernels.vectors import dot, mirrored, normalised


@kernel
def image_light(
    geometry, surfaces, known, x, y, z, nx, ny, nz, start, uniform, weight, scores, scratch
):  # fmt: skip
    """Add what one point of one mirrored tube sends to a surface point; returns the rays traced.

    Parameters
    ----------
    known : Known
    x, y, z, nx, ny, nz, start
        Point (m), unit normal, and the primitive it lies on.
    uniform : (float, float, float, float)
        Uniform numbers: which image, the point on it, and one that is not used.
    weight : (cases,) float64
    scores : (lamps, cases) float64, W/m2
    scratch : (stack, distances, choice)
        As for `nearest_hit`; (images,) float64.
    """
    stack, distances, choice = scratch
    u0, u1, u2, _ = uniform
    images, exitance = known.image_tubes, known.image_exitance
    total = choice_of_tubes(images, exitance, x, y, z, nx, ny, nz, choice)
    if total <= 0.0:
        return 0
    image, probability = chosen_tube(choice, total, u0)
    qx, qy, qz, mx, my, mz, density = seen_tube_point(images, image, x, y, z, u1, u2)
    if density <= 0.0:
        return 0
    dx, dy, dz = qx - x, qy - y, qz - z
    whole = math.sqrt(dx * dx + dy * dy + dz * dz)
    dx, dy, dz = dx / whole, dy / whole, dz / whole
    arriving, leaving = dot(dx, dy, dz, nx, ny, nz), -dot(dx, dy, dz, mx, my, mz)
    if arriving <= 0.0 or leaving <= 0.0:
        return 0
    nodes, blocks, tubes = geometry.nodes, geometry.blocks, geometry.solid
    triangles = geometry.normals.shape[0]
    distance, hit = nearest_hit(
        nodes, blocks, tubes, triangles, x, y, z, dx, dy, dz,
        whole, start, NOTHING, NEAREST, stack, distances,
    )  # fmt: skip
    if hit < 0 or hit >= triangles or known.plane[hit] != known.image_plane[image]:
        return 1
    wx, wy, wz = geometry.normals[hit, 0], geometry.normals[hit, 1], geometry.normals[hit, 2]
    cosine = -dot(dx, dy, dz, wx, wy, wz)
    if cosine <= 0.0:
        return 1
    x, y, z = x + distance * dx, y + distance * dy, z + distance * dz
    ex, ey, ez = normalised(*mirrored(dx, dy, dz, wx, wy, wz))
    tube = known.image_of[image]
    _, blocking = nearest_hit(
        nodes, blocks, tubes, triangles, x, y, z, ex, ey, ez,
        whole - distance, hit, triangles + tube, ANY, stack, distances,
    )  # fmt: skip
    if blocking >= 0:
        return 2
    surface, lamp = geometry.surface[hit], geometry.tube_lamp[tube]
    angular = model_reflectance(surfaces.kind[surface], surfaces.numbers, surface, cosine)
    radiance = geometry.tube_exitance[tube] / math.pi
    value = radiance * arriving * leaving / (whole * whole * density * probability)
    for case in range(weight.shape[0]):
        share = angular if angular >= 0.0 else surfaces.reflectance[surface, case]
        scores[lamp, case] += value * weight[case] * share * surfaces.lobe[surface, case]
    return 2
