"""Surfaces whose reflectance is the same at all angles, and mirrors."""

from raysim.kernels.compile import kernel
from raysim.kernels.vectors import mirrored, normalised

FROM_TABLE = -1.0  # what a model answers that leaves the reflectance of each case as it stands


@kernel
def constant_reflectance(numbers, surface, cosine):
    """`FROM_TABLE`: the reflectances of the surface hold at every angle."""
    return FROM_TABLE


@kernel
def mirror_direction(numbers, surface, dx, dy, dz, nx, ny, nz, u, v):
    """Unit direction of a mirror reflection at a face of unit normal n (law of reflection)."""
    rx, ry, rz = mirrored(dx, dy, dz, nx, ny, nz)
    return normalised(rx, ry, rz)
