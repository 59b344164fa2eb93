"""Cast many rays at once and tell what each hits: for checks of a scene, not for transport."""

import numpy as np

from raysim.kernels.compile import kernel
from raysim.kernels.traverse import NEAREST, NOTHING, nearest_hit, new_scratch


@kernel(allocates=True)
def first_hits(nodes, blocks, tubes, triangles, origins, directions, farthest):
    """Distance (m) and primitive that each ray meets first; (farthest, -1) where nothing.

    Parameters
    ----------
    nodes, blocks, tubes, triangles
        As in `nearest_hit`.
    origins, directions : (rays, 3) float64
        m, and unit vectors.
    farthest : (rays,) float64
        m.
    """
    stack, near = new_scratch()
    distances = np.zeros(origins.shape[0])
    primitives = np.zeros(origins.shape[0], np.int64)
    for i in range(origins.shape[0]):
        o, d = origins[i], directions[i]
        distances[i], primitives[i] = nearest_hit(
            nodes, blocks, tubes, triangles, o[0], o[1], o[2], d[0], d[1], d[2],
            farthest[i], NOTHING, NOTHING, NEAREST, stack, near,
        )  # fmt: skip
    return distances, primitives
