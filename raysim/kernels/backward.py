"""Backward paths, from a judged face to the lamps: irradiance of one spot with little noise.

A path starts on the face in a direction drawn from Lambert's law, and bounces as a photon would.
At its start and at every diffuse bounce the direct light of one lamp tube is added (a shadow ray
to a chosen point of the tube); after a bounce the sharp way of a surface, as of a mirror, a tube
that is met adds its own exitance instead. Each way from lamp to face is thus counted exactly once:

    E = E_direct(x0) + sum over bounces j of  w_j E_direct(x_j)   (diffuse)
                                        or    w_j M(tube met)     (sharp)

with w_j the product of the reflectances so far, each divided by the probability of going on.

Lamps that are sources alone (`Geometry.solid` is empty) are looked at from the start; after it,
every tube that the path crosses adds its exitance, for any number of them at once (`clear`).

What is known of the light beforehand shortens a path: counts of photons are read where it arrives
(`gather`), and lamps are looked at in plane mirrors (`images`). Without that knowledge it is the
plain walk.

Source: reciprocity of the rendering equation with next-event estimation, Veach, "Robust Monte
Carlo Methods for Light Transport Simulation" (1997), chapters 4 and 8.
"""

import math

import numpy as np

from raysim.kernels.clear import crossed_light, looks_at_lamps
from raysim.kernels.compile import kernel
from raysim.kernels.direct import light_of_lamps
from raysim.kernels.gather import may_read, read_and_go_on
from raysim.kernels.history import hit_normal, scattered_direction
from raysim.kernels.images import image_light
from raysim.kernels.lattice import lattice_point
from raysim.kernels.models import model_reflectance
from raysim.kernels.random_numbers import (
    BACKWARD_LAMP,
    BACKWARD_SCATTERING,
    BACKWARD_START,
    MASK,
    ONE_STEP,
    SHIFT,
    ZERO_STEP,
    uniforms,
)
from raysim.kernels.sampling import square_to_cosine_hemisphere, square_to_triangle
from raysim.kernels.surfaces import ABSORBED, REFLECTED, TRANSMITTED
from raysim.kernels.traverse import NEAREST, NOTHING, nearest_hit
from raysim.kernels.vectors import dot, from_local


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


@kernel(inlined=True)
def go_on(
    known, surfaces, surface, angular, batch, row, first, strength, read,
    u0, u1, u2, u3, dx, dy, dz, nx, ny, nz, weight, scores,
):  # fmt: skip
    """What becomes of a path at a hit, where face-side `row` is `read` or the path scatters.

    Returns the strength that it is left with (0 where it ends), its new unit direction, whether
    that is the sharp way of the surface, and whether it goes through; `weight` is up to date.
    """
    if read:
        strength, dx, dy, dz = read_and_go_on(
            known, surfaces, surface, angular, batch, row, first, strength,
            u0, u2, u3, dx, dy, dz, nx, ny, nz, weight, scores,
        )  # fmt: skip
        return strength, dx, dy, dz, True, False
    way = way_on(angular, surfaces.reflectance, surfaces.transmittance, surface, first, u0, weight)
    if way == ABSORBED:
        return 0.0, dx, dy, dz, False, False
    dx, dy, dz, sharp = scattered_direction(
        surfaces.kind, surfaces.numbers, surface, dx, dy, dz, nx, ny, nz, way,
        surfaces.specular[surface], u1, u2, u3,
    )  # fmt: skip
    if way == REFLECTED:
        weigh_lobe(surfaces.specular[surface], surfaces.lobe, surface, sharp, weight)
    return strength, dx, dy, dz, sharp, way == TRANSMITTED


@kernel
def backward_path(
    geometry, surfaces, known, starts, target, path, batch, place, rules, scores, scratch
):  # fmt: skip
    """Add the score (W/m2) of one backward path to `scores`; returns the number of rays traced.

    Parameters
    ----------
    known : Known
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
    scratch : (stack, distances, weight, choice, image_choice)
        The worker's own: two from `new_scratch`, (cases,) float64, (tubes,) float64, (images,).
    """
    stack, distances, weight, choice, image_choice = scratch
    key0, key1, tubes, triangles = rules.key0, rules.key1, geometry.solid, len(geometry.normals)
    exitance, lamp_of, kind = geometry.tube_exitance, geometry.tube_lamp, surfaces.kind
    stream, low, high = starts.stream[target], path & MASK, (path >> SHIFT) << np.uint64(8)
    u0, u1, _, _ = uniforms(low, stream, ZERO_STEP, high | BACKWARD_START, key0, key1)
    u2, u3, lamp0, lamp1 = lattice_point(np.uint64(batch), stream, place, ZERO_STEP, key0, key1)
    x, y, z, nx, ny, nz, last = start_of_path(starts, target, u0, u1)
    dx, dy, dz = from_local(*square_to_cosine_hemisphere(u2, u3), nx, ny, nz)
    begin_weights(rules.case_stride, batch + place, weight)
    sharp, imaged, reads, rays, strength, flown = False, False, starts.reads[target], 0, 1.0, 0.0
    if image_choice.shape[0] > 0:
        rays += image_light(
            geometry, surfaces, known, x, y, z, nx, ny, nz, last,
            lattice_point(np.uint64(batch), stream, place, ONE_STEP, key0, key1),
            weight, scores, (stack, distances, image_choice),
        )  # fmt: skip
    for bounce in range(rules.max_bounces):
        step = np.uint64(bounce)
        if looks_at_lamps(geometry, bounce, sharp):
            u0, u1, u2, _ = uniforms(low, stream, step, high | BACKWARD_LAMP, key0, key1)
            points = 1
            if bounce == 0:
                u0, u1, points = lamp0, lamp1, known.lamp_points
            rays += light_of_lamps(
                geometry, x, y, z, nx, ny, nz, last, points, u0, u1, u2,
                weight, scores, (stack, distances, choice),
            )  # fmt: skip
        distance, hit = nearest_hit(
            geometry.nodes, geometry.blocks, tubes, triangles, x, y, z, dx, dy, dz,
            math.inf, last, NOTHING, NEAREST, stack, distances,
        )  # fmt: skip
        rays, flown = rays + 1, (flown if sharp else 0.0) + distance
        crossed_light(geometry, bounce, x, y, z, dx, dy, dz, distance, weight, scores)
        if hit < 0:
            return rays
        x, y, z = x + distance * dx, y + distance * dy, z + distance * dz
        nx, ny, nz, side, on_mantle = hit_normal(geometry.normals, tubes, hit, x, y, z, dx, dy, dz)
        if hit < triangles and side == 1 and not geometry.two_sided[hit]:
            return rays
        if on_mantle and sharp and not imaged:
            add_score(scores, lamp_of[hit - triangles], exitance[hit - triangles], weight)
        surface = geometry.surface[hit]
        u0, u1, u2, u3 = uniforms(low, stream, step, high | BACKWARD_SCATTERING, key0, key1)
        cosine = -dot(dx, dy, dz, nx, ny, nz)
        angular = model_reflectance(kind[surface], surfaces.numbers, surface, cosine)
        strength, dx, dy, dz, sharp, through = go_on(
            known, surfaces, surface, angular, batch, 2 * hit + side, bounce == 0, strength,
            hit < triangles and may_read(known, reads, 2 * hit + side, flown),
            u0, u1, u2, u3, dx, dy, dz, nx, ny, nz, weight, scores,
        )  # fmt: skip
        if strength <= 0.0:
            return rays
        if through:
            nx, ny, nz = -nx, -ny, -nz
        imaged = bounce == 0 and sharp and hit < triangles and known.plane[hit] >= 0
        last = hit
    return rays
