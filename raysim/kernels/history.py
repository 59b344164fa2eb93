"""One photon, from the lamp to its end.

Analog photons: a photon is absorbed or goes on, and a hit counts one. Tallies are therefore whole
numbers, whose sums do not depend on the order in which threads deliver them. All cases are traced
in one go: a photon carries one bit per case and loses it where that case would have absorbed it.
"""

import math

import numpy as np

from raysim.kernels.compile import kernel
from raysim.kernels.emission import emitted_ray, tube_normal
from raysim.kernels.models import model_reflectance, sharp_direction
from raysim.kernels.random_numbers import EMISSION, MASK, SCATTERING, SHIFT, uniforms
from raysim.kernels.records import ESCAPED, LOST, NOT_FINITE
from raysim.kernels.sampling import square_to_cosine_hemisphere
from raysim.kernels.surfaces import REFLECTED, TRANSMITTED, case_fate
from raysim.kernels.traverse import NEAREST, NOTHING, nearest_hit
from raysim.kernels.vectors import dot, from_local

ONE = np.uint64(1)


@kernel
def count_alive(tally, row, alive, cases):
    """Add one to `tally[row, case]` for every case whose bit is set in `alive`."""
    for case in range(cases):
        tally[row, case] += (alive >> case) & 1


@kernel
def count_arrival(arrivals, row, alive, cases):
    """Count a photon on face-side `row`; apart from `count_alive`: a card packs these counts."""
    count_alive(arrivals, row, alive, cases)


@kernel
def surviving_cases(angular, reflectance, transmittance, surface, u, alive, bodies, body):
    """Bits of the cases that go on, and whether they are REFLECTED or TRANSMITTED.

    Cases that end here are counted in `bodies[body, case]`. `angular` is the reflectance at this
    angle where the surface's model has one, else negative and the table holds.
    """
    reflected, transmitted = 0, 0
    for case in range(reflectance.shape[1]):
        back = angular if angular >= 0.0 else reflectance[surface, case]
        fate = case_fate(back, transmittance[surface, case], u)
        reflected |= int(fate == REFLECTED) << case
        transmitted |= int(fate == TRANSMITTED) << case
    left = alive & (reflected | transmitted)
    count_alive(bodies, body, alive & ~left, reflectance.shape[1])
    return left, REFLECTED if alive & reflected else TRANSMITTED


@kernel
def scattered_direction(
    kind, numbers, surface, dx, dy, dz, nx, ny, nz, way, specular, u_lobe, u, v
):  # fmt: skip
    """Unit direction after a hit, and whether it went the sharp way of the surface's model.

    `kind` and `numbers` are columns of `Surfaces`, `n` is the unit normal on the side that was hit.
    Transmission through a sheet is diffuse.
    """
    if way == REFLECTED and u_lobe < specular:
        rx, ry, rz = sharp_direction(kind[surface], numbers, surface, dx, dy, dz, nx, ny, nz, u, v)
        return rx, ry, rz, True
    if way == TRANSMITTED:
        nx, ny, nz = -nx, -ny, -nz
    lx, ly, lz = square_to_cosine_hemisphere(u, v)
    rx, ry, rz = from_local(lx, ly, lz, nx, ny, nz)
    return rx, ry, rz, False


@kernel
def hit_normal(normals, tubes, primitive, x, y, z, dx, dy, dz):
    """Unit normal towards the ray, side that was hit (0 outside, 1 inside), and whether it glows.

    Returns nx, ny, nz, side, on_mantle; `on_mantle` is True on the emitting part of a lamp tube.
    """
    triangles = normals.shape[0]
    if primitive >= triangles:
        nx, ny, nz, on_mantle = tube_normal(tubes, primitive - triangles, x, y, z)
        return nx, ny, nz, 0, on_mantle
    nx, ny, nz = normals[primitive, 0], normals[primitive, 1], normals[primitive, 2]
    if dot(dx, dy, dz, nx, ny, nz) < 0.0:
        return nx, ny, nz, 0, False
    return -nx, -ny, -nz, 1, False


@kernel(inlined=True)
def leave_lamp(tubes, tube, lamp, photon, key0, key1):
    """Point (m) and unit direction in which a photon leaves a tube; see `follow_photon`."""
    low, high = photon & MASK, photon >> SHIFT
    stream = np.uint64(lamp) << np.uint64(8)
    u0, u1, u2, u3 = uniforms(low, high, np.uint64(0), stream | EMISSION, key0, key1)
    return emitted_ray(tubes, tube, u0, u1, u2, u3)


@kernel(inlined=True)
def arrive(
    geometry, surfaces, lamp, photon, alive, bounce, x, y, z, dx, dy, dz, distance, hit, last,
    key0, key1, arrivals, bodies, fates,
):  # fmt: skip
    """Count what becomes of a photon at what it met, and scatter it.

    Returns the cases that go on (0 where none does), the new point (m) and unit direction, and the
    primitive it lies on. `distance` and `hit` are of `nearest_hit`, `bounce` is the number of the
    hit; the rest as in `follow_photon`.
    """
    tubes, triangles, cases = geometry.solid, len(geometry.normals), surfaces.reflectance.shape[1]
    if hit < 0:
        count_alive(fates, ESCAPED, alive, cases)
        return 0, x, y, z, dx, dy, dz, last
    x, y, z = x + distance * dx, y + distance * dy, z + distance * dz
    if not math.isfinite(x + y + z):
        count_alive(fates, NOT_FINITE, alive, cases)
        return 0, x, y, z, dx, dy, dz, last
    nx, ny, nz, side, _ = hit_normal(geometry.normals, tubes, hit, x, y, z, dx, dy, dz)
    if hit < triangles:
        if side == 1 and not geometry.two_sided[hit]:
            count_alive(fates, LOST, alive, cases)
            return 0, x, y, z, dx, dy, dz, last
        count_arrival(arrivals, 2 * hit + side, alive, cases)
    surface, kind, numbers = geometry.surface[hit], surfaces.kind, surfaces.numbers
    low, high = photon & MASK, photon >> SHIFT
    stream = np.uint64(lamp) << np.uint64(8)
    u0, u1, u2, u3 = uniforms(low, high, np.uint64(bounce + 1), stream | SCATTERING, key0, key1)
    cosine = -dot(dx, dy, dz, nx, ny, nz)
    angular = model_reflectance(kind[surface], numbers, surface, cosine)
    alive, way = surviving_cases(
        angular, surfaces.reflectance, surfaces.transmittance, surface, u0, alive,
        bodies, geometry.body[hit],
    )  # fmt: skip
    if alive != 0:
        dx, dy, dz, _ = scattered_direction(
            kind, numbers, surface, dx, dy, dz, nx, ny, nz, way, surfaces.specular[surface],
            u1, u2, u3,
        )  # fmt: skip
    return alive, x, y, z, dx, dy, dz, hit


@kernel
def follow_photon(
    geometry, surfaces, tube, lamp, photon, alive, key0, key1, max_bounces,
    arrivals, bodies, fates, scratch,
):  # fmt: skip
    """Trace one photon until every case has ended; returns the number of segments flown.

    Parameters
    ----------
    tube, lamp : int
        Tube it leaves and lamp that owns it (part of the random counter).
    photon : uint64
        Index within the lamp.
    alive : int
        Bits of the cases that it carries.
    arrivals : (2 * triangles, cases) int32
        Counts of arrivals, row 2 * triangle + side.
    bodies : (bodies, cases) int64
        Counts of absorptions.
    fates : (FATES, cases) int64
        Counts of ESCAPED (met nothing), LOST (met the back of a one-sided surface, or still on
        its way after `max_bounces`), NOT_FINITE.
    """
    x, y, z, dx, dy, dz = leave_lamp(geometry.tubes, tube, lamp, photon, key0, key1)
    last, (stack, distances) = len(geometry.normals) + tube, scratch
    for bounce in range(max_bounces):
        distance, hit = nearest_hit(
            geometry.nodes, geometry.blocks, geometry.solid, len(geometry.normals),
            x, y, z, dx, dy, dz, math.inf, last, NOTHING, NEAREST, stack, distances,
        )  # fmt: skip
        alive, x, y, z, dx, dy, dz, last = arrive(
            geometry, surfaces, lamp, photon, alive, bounce, x, y, z, dx, dy, dz, distance, hit,
            last, key0, key1, arrivals, bodies, fates,
        )  # fmt: skip
        if alive == 0:
            return bounce + 1
    count_alive(fates, LOST, alive, surfaces.reflectance.shape[1])
    return max_bounces
