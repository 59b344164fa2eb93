"""Where a ray meets a triangle or a lamp tube."""

import math

from raysim.kernels.compile import kernel
from raysim.kernels.records import AXIS_X, AXIS_Y, AXIS_Z, LENGTH, RADIUS, START_X, START_Y, START_Z
from raysim.kernels.vectors import cross, dot

NO_HIT = math.inf
# A ray counts as passing a tube only if it clears it by many times the rounding error.
FORGIVEN = 1.0 + 1e-9


@kernel
def shear(dx, dy, dz):
    """Axis order and shear that map a ray onto the +z axis, for `ray_triangle_distance`.

    Returns the axis numbers kx, ky, kz and the shear sx, sy, sz.

    Source: Woop, Benthin, Wald, "Watertight ray/triangle intersection", JCGT 2(1) (2013).
    """
    ax, ay, az = abs(dx), abs(dy), abs(dz)
    if ax >= ay and ax >= az:
        return (1, 2, 0, dy / dx, dz / dx, 1.0 / dx)
    if ay >= az:
        return (2, 0, 1, dz / dy, dx / dy, 1.0 / dy)
    return (0, 1, 2, dx / dz, dy / dz, 1.0 / dz)


@kernel
def ray_triangle_distance(corners, i, ox, oy, oz, kx, ky, kz, sx, sy, sz):
    """Distance along the ray to triangle `i`, or inf where it is missed. Both sides count.

    The edge functions of two triangles that share an edge are exact negatives of one another, and
    a zero counts as inside for both, so no ray slips through between them.

    Parameters
    ----------
    corners : (triangles, 9) float64
        Three corners, m. Shared corners must be equal to the last bit.
    ox, oy, oz : float
        Ray's origin in the axis order kx, ky, kz.
    kx, ky, kz, sx, sy, sz
        From `shear`.

    Source: Woop, Benthin, Wald 2013, in double precision throughout.
    """
    az = corners[i, kz] - oz
    bz = corners[i, 3 + kz] - oz
    cz = corners[i, 6 + kz] - oz
    ax = corners[i, kx] - ox - sx * az
    ay = corners[i, ky] - oy - sy * az
    bx = corners[i, 3 + kx] - ox - sx * bz
    by = corners[i, 3 + ky] - oy - sy * bz
    cx = corners[i, 6 + kx] - ox - sx * cz
    cy = corners[i, 6 + ky] - oy - sy * cz
    u = cx * by - cy * bx
    v = ax * cy - ay * cx
    w = bx * ay - by * ax
    if (u < 0.0 or v < 0.0 or w < 0.0) and (u > 0.0 or v > 0.0 or w > 0.0):
        return NO_HIT
    determinant = u + v + w
    if determinant == 0.0:
        return NO_HIT
    distance = (u * az + v * bz + w * cz) * sz / determinant
    return distance if distance > 0.0 else NO_HIT


@kernel
def passes_tube(tubes, i, ox, oy, oz, dx, dy, dz):
    """Whether a ray's whole line stays clear of the endless cylinder about tube `i`.

    Quick test before `ray_tube_distance`; parameters as there.

    Source: distance of two skew lines, |p . n| / |n| with n the cross product of their directions
    (definition). Parallel lines (n = 0) never count as passing.
    """
    wx, wy, wz, radius = tubes[i, AXIS_X], tubes[i, AXIS_Y], tubes[i, AXIS_Z], tubes[i, RADIUS]
    px, py, pz = ox - tubes[i, START_X], oy - tubes[i, START_Y], oz - tubes[i, START_Z]
    nx, ny, nz = cross(dx, dy, dz, wx, wy, wz)
    apart = dot(px, py, pz, nx, ny, nz)
    return apart * apart > FORGIVEN * radius * radius * dot(nx, ny, nz, nx, ny, nz)


@kernel
def ray_tube_distance(tubes, i, ox, oy, oz, dx, dy, dz):
    """Distance along the ray to the closed cylinder `i` from outside, or inf where it is missed.

    Parameters
    ----------
    tubes : (tubes, 8) float64
        First end (m), unit axis, length (m), radius (m).
    ox, oy, oz, dx, dy, dz : float
        Ray's origin (m) and unit direction.

    Source: quadratic of an infinite cylinder, e.g. Pharr, Jakob, Humphreys, "Physically Based
    Rendering", 6.3; the two ends are discs.
    """
    wx, wy, wz, length, radius = (
        tubes[i, AXIS_X],
        tubes[i, AXIS_Y],
        tubes[i, AXIS_Z],
        tubes[i, LENGTH],
        tubes[i, RADIUS],
    )
    px, py, pz = ox - tubes[i, START_X], oy - tubes[i, START_Y], oz - tubes[i, START_Z]
    along_o = px * wx + py * wy + pz * wz
    along_d = dx * wx + dy * wy + dz * wz
    px, py, pz = px - along_o * wx, py - along_o * wy, pz - along_o * wz
    qx, qy, qz = dx - along_d * wx, dy - along_d * wy, dz - along_d * wz
    a = qx * qx + qy * qy + qz * qz
    b = px * qx + py * qy + pz * qz
    c = px * px + py * py + pz * pz - radius * radius
    inside_mantle = c <= 0.0
    if not inside_mantle:
        discriminant = b * b - a * c
        if b >= 0.0 or discriminant < 0.0 or a == 0.0:
            return NO_HIT
        distance = c / (-b + math.sqrt(discriminant))
        axial = along_o + distance * along_d
        if 0.0 <= axial <= length:
            return distance
    if along_d == 0.0:
        return NO_HIT
    plane = 0.0 if along_d > 0.0 else length
    distance = (plane - along_o) / along_d
    if distance <= 0.0:
        return NO_HIT
    ex, ey, ez = px + distance * qx, py + distance * qy, pz + distance * qz
    return distance if ex * ex + ey * ey + ez * ez <= radius * radius else NO_HIT
