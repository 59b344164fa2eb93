"""Backward paths, from a judged face to the lamps: irradiance of one spot with little noise.

A path starts on the face in a direction drawn from Lambert's law, and bounces as a photon would.
At its start and at every diffuse bounce the direct light of one lamp tube is added (a shadow ray
to a chosen point of the tube); after a bounce the sharp way of a surface, as of a mirror, a tube
that is met adds its own exitance instead. Each way from lamp to face is thus counted exactly once:

    E = E_direct(x0) + sum over bounces j of  w_j E_direct(x_j)   (diffuse)
                                        or    w_j M(tube met)     (sharp)

with w_j the product of the reflectances so far, each divided by the probability of going on.

Source: reciprocity of the rendering equation with next-event estimation, Veach, "Robust Monte
Carlo Methods for Light Transport Simulation" (1997), chapters 4 and 8.
"""

import math

import numpy as np

from raysim.kernels.compile import kernel
from raysim.kernels.history import hit_normal, scattered_direction
from raysim.kernels.lattice import lattice_point
from raysim.kernels.models import model_reflectance
from raysim.kernels.random_numbers import (
    BACKWARD_LAMP,
    BACKWARD_SCATTERING,
    BACKWARD_START,
    MASK,
    SHIFT,
    ZERO_STEP,
    uniforms,
)
from raysim.kernels.records import AXIS_X, AXIS_Y, AXIS_Z, LENGTH, RADIUS, START_X, START_Y, START_Z
from raysim.kernels.sampling import (
    square_to_cosine_hemisphere,
    square_to_seen_cylinder,
    square_to_triangle,
)
from raysim.kernels.surfaces import ABSORBED, REFLECTED, TRANSMITTED
from raysim.kernels.traverse import ANY, NEAREST, NOTHING, nearest_hit
from raysim.kernels.vectors import dot, from_local


@kernel
def choice_of_tubes(tubes, exitance, x, y, z, nx, ny, nz, choice):
    """Fill `choice` with weights of the tubes as seen from a surface point; returns their sum.

    A weight is zero only where no part of the tube is above the surface's horizon; otherwise it
    follows exitance times cosine over distance, a guess that steers the effort and cannot bias.
    """
    total = 0.0
    for i in range(tubes.shape[0]):
        px, py, pz = tubes[i, START_X] - x, tubes[i, START_Y] - y, tubes[i, START_Z] - z
        height = dot(px, py, pz, nx, ny, nz)
        rise = tubes[i, LENGTH] * dot(
            tubes[i, AXIS_X], tubes[i, AXIS_Y], tubes[i, AXIS_Z], nx, ny, nz
        )
        above = max(height, height + rise) + tubes[i, RADIUS]
        if above <= 0.0:
            choice[i] = 0.0
            continue
        along = -dot(px, py, pz, tubes[i, AXIS_X], tubes[i, AXIS_Y], tubes[i, AXIS_Z])
        along = min(max(along, 0.0), tubes[i, LENGTH])
        qx, qy, qz = (
            px + along * tubes[i, AXIS_X],
            py + along * tubes[i, AXIS_Y],
            pz + along * tubes[i, AXIS_Z],
        )
        choice[i] = exitance[i] * tubes[i, RADIUS] * above / (qx * qx + qy * qy + qz * qz)
        total += choice[i]
    return total


@kernel
def chosen_tube(choice, total, u):
    """Number of the tube that the uniform number u picks, and its probability."""
    mark = u * total
    picked = -1
    for i in range(choice.shape[0]):
        if choice[i] > 0.0:
            picked = i
            if mark < choice[i]:
                break
            mark -= choice[i]
    return picked, choice[picked] / total


@kernel
def seen_tube_point(tubes, i, x, y, z, u, v):
    """Point (m) and normal on the part of tube `i` seen from (x, y, z), and its density per m2.

    A density of zero says that no part of the mantle can be seen (the point lies beyond an end).
    """
    wx, wy, wz, radius = tubes[i, AXIS_X], tubes[i, AXIS_Y], tubes[i, AXIS_Z], tubes[i, RADIUS]
    px, py, pz = x - tubes[i, START_X], y - tubes[i, START_Y], z - tubes[i, START_Z]
    axial0 = px * wx + py * wy + pz * wz
    px, py, pz = px - axial0 * wx, py - axial0 * wy, pz - axial0 * wz
    distance = math.sqrt(px * px + py * py + pz * pz)
    if distance <= radius:
        return x, y, z, wx, wy, wz, 0.0
    axial, cosine, sine, density = square_to_seen_cylinder(
        u, v, axial0, distance, radius, tubes[i, LENGTH]
    )
    # Frame about the axis whose first vector points to the viewer.
    px, py, pz = px / distance, py / distance, pz / distance
    bx, by, bz = wy * pz - wz * py, wz * px - wx * pz, wx * py - wy * px
    mx, my, mz = cosine * px + sine * bx, cosine * py + sine * by, cosine * pz + sine * bz
    return (
        tubes[i, START_X] + axial * wx + radius * mx,
        tubes[i, START_Y] + axial * wy + radius * my,
        tubes[i, START_Z] + axial * wz + radius * mz,
        mx,
        my,
        mz,
        density,
    )


@kernel
def direct_irradiance(
    nodes, blocks, tubes, triangles, exitance, x, y, z, nx, ny, nz, start,
    u0, u1, u2, choice, stack, distances,
):  # fmt: skip
    """Irradiance (W/m2) at a surface point from one sampled point of one lamp tube.

    Returns the estimate, the tube it comes from, and the number of shadow rays (0 or 1). `start`
    is the primitive that the point lies on.
    """
    total = choice_of_tubes(tubes, exitance, x, y, z, nx, ny, nz, choice)
    if total <= 0.0:
        return 0.0, 0, 0
    tube, probability = chosen_tube(choice, total, u0)
    qx, qy, qz, mx, my, mz, density = seen_tube_point(tubes, tube, x, y, z, u1, u2)
    if density <= 0.0:
        return 0.0, 0, 0
    dx, dy, dz = qx - x, qy - y, qz - z
    distance = math.sqrt(dx * dx + dy * dy + dz * dz)
    dx, dy, dz = dx / distance, dy / distance, dz / distance
    arriving = dot(dx, dy, dz, nx, ny, nz)
    leaving = -dot(dx, dy, dz, mx, my, mz)
    if arriving <= 0.0 or leaving <= 0.0:
        return 0.0, 0, 0
    target = triangles + tube
    _, hit = nearest_hit(
        nodes, blocks, tubes, triangles, x, y, z, dx, dy, dz,
        distance, start, target, ANY, stack, distances,
    )  # fmt: skip
    if hit >= 0:
        return 0.0, 0, 1
    radiance = exitance[tube] / math.pi
    estimate = radiance * arriving * leaving / (distance * distance * density * probability)
    return estimate, tube, 1


@kernel
def begin_weights(case_stride, number, weight):
    """Set the weight of each case at the start of a path; see `backward_path` for `case_stride`."""
    for case in range(weight.shape[0]):
        weight[case] = case_stride[case] if number % case_stride[case] == 0 else 0.0


@kernel
def way_on(angular, reflectance, transmittance, surface, first, u, weight):
    """ABSORBED, REFLECTED or TRANSMITTED; updates the weights of all cases.

    The path goes on with the largest probability of any case that has weight left; the weights
    correct for the difference. At the `first` hit the path always goes on if any case allows it:
    otherwise few paths would be left on dark walls. `angular` as in `surviving_cases`.
    """
    back, through = angular, 0.0
    for case in range(weight.shape[0]):
        if weight[case] == 0.0:
            continue
        if angular < 0.0:
            back = max(back, reflectance[surface, case])
        through = max(through, transmittance[surface, case])
    on = back + through
    if on <= 0.0:
        return ABSORBED
    scale = 1.0 / on if first else 1.0
    if u < back * scale:
        for case in range(weight.shape[0]):
            share = angular if angular >= 0.0 else reflectance[surface, case]
            weight[case] *= share / (back * scale)
        return REFLECTED
    if u > 1.0 - through * scale:
        for case in range(weight.shape[0]):
            weight[case] *= transmittance[surface, case] / (through * scale)
        return TRANSMITTED
    return ABSORBED


@kernel
def weigh_lobe(picked, lobe, surface, sharp, weight):
    """Bring the weights up to date where a case sends another share the sharp way than `picked`.

    `picked` is the probability with which the mirror lobe was chosen, `lobe` (surfaces, cases) the
    specular share of each case. Source: importance sampling (definition).
    """
    for case in range(weight.shape[0]):
        share = lobe[surface, case]
        if share != picked:
            weight[case] *= share / picked if sharp else (1.0 - share) / (1.0 - picked)


@kernel
def add_score(scores, lamp, value, weight):
    """Add `value` times the weight of each case to the scores of one lamp."""
    for case in range(weight.shape[0]):
        scores[lamp, case] += value * weight[case]


@kernel
def start_of_path(starts, target, u0, u1):
    """Point (m) uniform over a target, the unit normal there, and the primitive it lies on.

    The first number picks the member by its area; it is then stretched to (0, 1) to be used again.
    """
    member = starts.first[target]
    below = 0.0
    while member + 1 < starts.first[target + 1] and u0 >= starts.share[member]:
        below = starts.share[member]
        member += 1
    u0 = (u0 - below) / (starts.share[member] - below)
    b, c = square_to_triangle(min(max(u0, 0.0), 1.0), u1)
    a = 1.0 - b - c
    p = starts.corners
    return (
        a * p[member, 0] + b * p[member, 3] + c * p[member, 6],
        a * p[member, 1] + b * p[member, 4] + c * p[member, 7],
        a * p[member, 2] + b * p[member, 5] + c * p[member, 8],
        starts.normals[member, 0],
        starts.normals[member, 1],
        starts.normals[member, 2],
        starts.primitive[member],
    )


@kernel
def backward_path(
    geometry, surfaces, starts, target, path, batch, place, rules, scores, scratch
):  # fmt: skip
    """Add the score (W/m2) of one backward path to `scores`; returns the number of rays traced.

    Parameters
    ----------
    target : int
        Row of `starts`.
    path : uint64
        Number of the path, part of the random counter.
    batch, place : int
        Batch of the path, and its number within the batch: they give the lattice point of its
        first direction and first lamp point.
    rules : Rules
        The path carries case c, with weight `case_stride[c]`, where that divides batch + place.
    scores : (lamps, cases) float64
    scratch : (stack, distances, weight, choice)
        The worker's own: two from `new_scratch`, (cases,) float64, (tubes,) float64.
    """
    stack, distances, weight, choice = scratch
    key0, key1 = rules.key0, rules.key1
    nodes, blocks = geometry.nodes, geometry.blocks
    tubes, triangles = geometry.tubes, geometry.normals.shape[0]
    normals, two_sided = geometry.normals, geometry.two_sided
    exitance, lamp_of, surface_of = geometry.tube_exitance, geometry.tube_lamp, geometry.surface
    reflectance, transmittance = surfaces.reflectance, surfaces.transmittance
    kind, numbers, specular = surfaces.kind, surfaces.numbers, surfaces.specular
    stream, low, high = starts.stream[target], path & MASK, (path >> SHIFT) << np.uint64(8)
    u0, u1, _, _ = uniforms(low, stream, ZERO_STEP, high | BACKWARD_START, key0, key1)
    u2, u3, lamp0, lamp1 = lattice_point(np.uint64(batch), stream, place, key0, key1)
    x, y, z, nx, ny, nz, last = start_of_path(starts, target, u0, u1)
    dx, dy, dz = from_local(*square_to_cosine_hemisphere(u2, u3), nx, ny, nz)
    begin_weights(rules.case_stride, batch + place, weight)
    sharp, rays = False, 0
    for bounce in range(rules.max_bounces):
        step = np.uint64(bounce)
        if not sharp:
            u0, u1, u2, _ = uniforms(low, stream, step, high | BACKWARD_LAMP, key0, key1)
            if bounce == 0:
                u0, u1 = lamp0, lamp1
            value, tube, shadow = direct_irradiance(
                nodes, blocks, tubes, triangles, exitance, x, y, z, nx, ny, nz, last,
                u0, u1, u2, choice, stack, distances,
            )  # fmt: skip
            if value > 0.0:
                add_score(scores, lamp_of[tube], value, weight)
            rays += shadow
        distance, hit = nearest_hit(
            nodes, blocks, tubes, triangles, x, y, z, dx, dy, dz,
            math.inf, last, NOTHING, NEAREST, stack, distances,
        )  # fmt: skip
        rays += 1
        if hit < 0:
            return rays
        x, y, z = x + distance * dx, y + distance * dy, z + distance * dz
        nx, ny, nz, side, on_mantle = hit_normal(normals, tubes, hit, x, y, z, dx, dy, dz)
        if hit < triangles and side == 1 and not two_sided[hit]:
            return rays
        if on_mantle and sharp:
            add_score(scores, lamp_of[hit - triangles], exitance[hit - triangles], weight)
        surface = surface_of[hit]
        u0, u1, u2, u3 = uniforms(low, stream, step, high | BACKWARD_SCATTERING, key0, key1)
        angular = model_reflectance(kind[surface], numbers, surface, -dot(dx, dy, dz, nx, ny, nz))
        way = way_on(angular, reflectance, transmittance, surface, bounce == 0, u0, weight)
        if way == ABSORBED:
            return rays
        dx, dy, dz, sharp = scattered_direction(
            kind, numbers, surface, dx, dy, dz, nx, ny, nz, way, specular[surface], u1, u2, u3
        )
        if way == REFLECTED:
            weigh_lobe(specular[surface], surfaces.lobe, surface, sharp, weight)
        if way == TRANSMITTED:
            nx, ny, nz = -nx, -ny, -nz
        last = hit
    return rays
