"""Cast many rays at once and say what each meets: for checks of a scene, not for transport."""

import numpy as np

from raysim.kernels.compile import kernel
from raysim.kernels.traverse import nearest_hit, new_stack


@kernel
def first_hits(boxes, children, corners, tubes, origins, directions, farthest):
    """Distance (m) and primitive that each ray meets first; (farthest, -1) where nothing.

    Parameters
    ----------
    boxes, children, corners, tubes
        Arrays of `Geometry`.
    origins, directions : (rays, 3) float64
        m, and unit vectors.
    farthest : (rays,) float64
        m.
    """
    tree = (boxes, children, corners, tubes)
    stack = new_stack()
    distances = np.zeros(origins.shape[0])
    primitives = np.zeros(origins.shape[0], np.int64)
    for i in range(origins.shape[0]):
        distances[i], primitives[i] = nearest_hit(
            tree,
            origins[i, 0],
            origins[i, 1],
            origins[i, 2],
            directions[i, 0],
            directions[i, 1],
            directions[i, 2],
            farthest[i],
            -1,
            -1,
            False,
            stack,
        )
    return distances, primitives
