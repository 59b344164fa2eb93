"""Scalar helpers for 3-vectors, and the local frame of a normal."""

import math

from raysim.kernels.compile import kernel


@kernel
def dot(ax, ay, az, bx, by, bz):
    """Scalar product of two vectors (definition)."""
    return ax * bx + ay * by + az * bz


@kernel
def cross(ax, ay, az, bx, by, bz):
    """Vector product of two vectors (definition)."""
    return ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx


@kernel
def tangents(nx, ny, nz):
    """Two unit vectors that make a right-handed frame with the unit normal.

    Source: Duff et al., "Building an orthonormal basis, revisited", JCGT 6(1) (2017), listing 3.
    """
    sign = math.copysign(1.0, nz)
    a = -1.0 / (sign + nz)
    b = nx * ny * a
    return (
        1.0 + sign * nx * nx * a,
        sign * b,
        -sign * nx,
        b,
        sign + ny * ny * a,
        -ny,
    )


@kernel
def from_local(x, y, z, nx, ny, nz):
    """World vector of local coordinates (x, y, z) in the frame whose third axis is the normal."""
    tx, ty, tz, bx, by, bz = tangents(nx, ny, nz)
    return x * tx + y * bx + z * nx, x * ty + y * by + z * ny, x * tz + y * bz + z * nz


@kernel
def mirrored(dx, dy, dz, nx, ny, nz):
    """Direction after a mirror reflection at a surface of unit normal n (law of reflection)."""
    twice = 2.0 * dot(dx, dy, dz, nx, ny, nz)
    return dx - twice * nx, dy - twice * ny, dz - twice * nz


@kernel
def normalised(x, y, z):
    """The vector divided by its length (definition)."""
    scale = 1.0 / math.sqrt(x * x + y * y + z * z)
    return x * scale, y * scale, z * scale
