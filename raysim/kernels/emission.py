"""How light leaves a lamp tube: anywhere on its mantle, after Lambert's law.

The mercury column is optically thick to its own line, so each element of the mantle emits nearly
as a Lambertian source; this is the model behind the Keitz formula.

Source: Keitz, "Light Calculations and Measurements", 2nd ed. (1971), as used by the IUVA method
for 254 nm low-pressure lamps (IOA/IUVA proceedings, Los Angeles, 2007).
"""

import math

from raysim.kernels.compile import kernel
from raysim.kernels.records import AXIS_X, AXIS_Y, AXIS_Z, LENGTH, RADIUS, START_X, START_Y, START_Z
from raysim.kernels.sampling import square_to_cosine_hemisphere, square_to_cylinder
from raysim.kernels.vectors import from_local, tangents


@kernel
def mantle_point(tubes, i, axial, angle):
    """Point (m) and outward unit normal on the mantle of tube `i` (definition).

    `axial` in m from the first end, `angle` in rad about the axis.
    """
    wx, wy, wz, radius = tubes[i, AXIS_X], tubes[i, AXIS_Y], tubes[i, AXIS_Z], tubes[i, RADIUS]
    tx, ty, tz, bx, by, bz = tangents(wx, wy, wz)
    cosine, sine = math.cos(angle), math.sin(angle)
    nx, ny, nz = cosine * tx + sine * bx, cosine * ty + sine * by, cosine * tz + sine * bz
    return (
        tubes[i, START_X] + axial * wx + radius * nx,
        tubes[i, START_Y] + axial * wy + radius * ny,
        tubes[i, START_Z] + axial * wz + radius * nz,
        nx,
        ny,
        nz,
    )


@kernel
def emitted_ray(tubes, i, u0, u1, u2, u3):
    """Origin (m) and unit direction of a photon that leaves tube `i` (Lambert's law)."""
    axial, angle = square_to_cylinder(u0, u1, tubes[i, LENGTH])
    x, y, z, nx, ny, nz = mantle_point(tubes, i, axial, angle)
    lx, ly, lz = square_to_cosine_hemisphere(u2, u3)
    dx, dy, dz = from_local(lx, ly, lz, nx, ny, nz)
    return x, y, z, dx, dy, dz


@kernel
def tube_normal(tubes, i, x, y, z):
    """Outward unit normal at a point (m) on tube `i`, and whether the point is on the mantle.

    Returns nx, ny, nz, on_mantle. The two ends do not emit.
    """
    wx, wy, wz, length, radius = (
        tubes[i, AXIS_X],
        tubes[i, AXIS_Y],
        tubes[i, AXIS_Z],
        tubes[i, LENGTH],
        tubes[i, RADIUS],
    )
    px, py, pz = x - tubes[i, START_X], y - tubes[i, START_Y], z - tubes[i, START_Z]
    axial = px * wx + py * wy + pz * wz
    px, py, pz = px - axial * wx, py - axial * wy, pz - axial * wz
    distance = math.sqrt(px * px + py * py + pz * pz)
    to_mantle = abs(distance - radius)
    if to_mantle <= abs(axial) and to_mantle <= abs(length - axial):
        return px / distance, py / distance, pz / distance, True
    if axial < 0.5 * length:
        return -wx, -wy, -wz, False
    return wx, wy, wz, False
