"""Rays cast at bare meshes: the tracer's intersection without any transport."""

import numpy as np

from raysim.kernels.compile import kernel
from raysim.kernels.hierarchy import build_tree
from raysim.kernels.sampling import square_to_cosine_hemisphere
from raysim.kernels.traverse import nearest_hit, new_scratch
from raysim.kernels.vectors import from_local

NO_TUBES = np.zeros((0, 8))


def tree_of(corners, tubes=NO_TUBES):
    """What `nearest_hit` wants of triangles (n, 3, 3) and tubes, and the order of the faces."""
    nodes, blocks, order = build_tree(np.ascontiguousarray(corners, float))
    return (nodes, blocks, tubes, len(corners)), order


@kernel(allocates=True)
def _cast(things, origins, directions, skip, distances, hits):
    stack, near = new_scratch()
    for i in range(len(origins)):
        o, d = origins[i], directions[i]
        distances[i], hits[i] = nearest_hit(
            *things, o[0], o[1], o[2], d[0], d[1], d[2], np.inf, skip[i], -1, False, stack, near
        )


def cast(corners, origins, directions, tubes=NO_TUBES, skip=None):
    """Distance and face (n,) that each ray meets first; inf and -1 for none.

    Faces are numbered as in `corners`, tubes counted on; `skip` (rays,) faces are passed over.
    """
    things, order = tree_of(corners, tubes)
    rays = len(origins)
    primitives = np.concatenate([order, len(order) + np.arange(len(tubes)), [-1]])
    kernel_number = np.full(rays, -1)
    if skip is not None:
        kernel_number = np.argsort(order)[skip]
    distances, hits = np.zeros(rays), np.zeros(rays, np.int64)
    _cast(things, origins, directions, kernel_number, distances, hits)
    return distances, primitives[hits]  # a miss, -1, is the last one


@kernel(allocates=True)
def _cast_lobes(things, origins, normals, u, hits):
    stack, near = new_scratch()
    for i in range(len(origins)):
        o, n = origins[i], normals[i]
        x, y, z = square_to_cosine_hemisphere(u[i, 0], u[i, 1])
        dx, dy, dz = from_local(x, y, z, n[0], n[1], n[2])
        _, hit = nearest_hit(
            *things, o[0], o[1], o[2], dx, dy, dz, np.inf, -1, -1, False, stack, near
        )
        hits[hit] += 1


def view_factor(corners, groups, emitter, rays, seed):
    """Shares of the diffuse rays from an emitter that meet each group of faces.

    Parameters
    ----------
    corners : (faces, 3, 3) float64
    groups : (faces,) int
    emitter : callable
        From (generator, count) to origins and unit normals, both (count, 3).

    Returns
    -------
    share, error : (groups,) float64
        Binomial shares and their standard errors.
    """
    things, order = tree_of(corners)
    random = np.random.default_rng(seed)
    hits = np.zeros(len(corners) + 1, np.int64)  # the last one counts misses
    for _ in range(-(-rays // 500_000)):
        origins, normals = emitter(random, 500_000)
        _cast_lobes(things, origins, normals, random.random((500_000, 2)), hits)
    total = hits.sum()
    share = np.bincount(groups[order], hits[:-1]) / total
    return share, np.sqrt(share * (1.0 - share) / total)
