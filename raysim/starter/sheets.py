"""Open triangle sheets: grids, bands, paths and the small vector helpers they need.

Lengths are millimetres. A sheet is one triangle thick, for two-sided use.
"""

from __future__ import annotations

import numpy as np
import trimesh
from numpy.typing import NDArray

Array = NDArray[np.float64]
Faces = NDArray[np.int64]
Parts = dict[str, trimesh.Trimesh]

MIRROR = np.array([-1.0, 1.0, 1.0])


def smoothstep(x: Array) -> Array:
    """Cubic step from 0 at x <= 0 to 1 at x >= 1."""
    x = np.clip(x, 0.0, 1.0)
    return x * x * (3.0 - 2.0 * x)


def raw_mesh(vertices: Array, faces: Faces) -> trimesh.Trimesh:
    """Trimesh of vertices (n, 3) in mm and faces (m, 3), left exactly as given."""
    return trimesh.Trimesh(vertices=vertices, faces=faces, process=False)


def grid_faces(points: Array) -> Faces:
    """Two triangles per cell of a grid (rows, cols, 3), cut along the shorter diagonal.

    The normal is d(row) x d(col). The triangles of cell (i, j) are number i (cols - 1) + j of
    the first and of the second half of the list.
    """
    rows, cols = points.shape[:2]
    index = np.arange(rows * cols).reshape(rows, cols)
    a, b = index[:-1, :-1].ravel(), index[1:, :-1].ravel()
    c, d = index[1:, 1:].ravel(), index[:-1, 1:].ravel()
    flat = points.reshape(-1, 3)
    main, other = (np.linalg.norm(flat[p] - flat[q], axis=1) for p, q in ((a, c), (b, d)))
    use_main = (main <= other + 1e-6)[:, None]  # rounding must not choose among equal ones
    first = np.where(use_main, np.stack([a, b, c], 1), np.stack([a, b, d], 1))
    second = np.where(use_main, np.stack([a, c, d], 1), np.stack([b, c, d], 1))
    return np.concatenate([first, second])


def sheet(points: Array) -> trimesh.Trimesh:
    """Open sheet through a grid of points (rows, cols, 3)."""
    return raw_mesh(points.reshape(-1, 3), grid_faces(points))


def band_faces(start: int, bands: int, count: int) -> Faces:
    """Triangles of closed bands between rings of `count` vertices, the first one at `start`."""
    ring, j = np.meshgrid(np.arange(bands), np.arange(count), indexing="ij")
    a = start + ring * count + j
    b = start + ring * count + (j + 1) % count
    quads = np.stack([a, b, b + count, a + count], axis=-1).reshape(-1, 4)
    return np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


def chosen_faces(mesh: trimesh.Trimesh, chosen: NDArray[np.bool_]) -> trimesh.Trimesh:
    """Mesh of the chosen faces (m,) alone; the vertices keep their coordinates exactly."""
    kept, faces = np.unique(mesh.faces[chosen], return_inverse=True)
    return raw_mesh(mesh.vertices[kept], faces.reshape(-1, 3))


def mirrored(half: Array) -> Array:
    """Rows (2n - 1, ..., 3) from rows (n, ..., 3) that end on the plane x = 0, and their mirror."""
    return np.concatenate([half[:-1], (half * MIRROR)[::-1]])


def arc_length(path: Array) -> Array:
    """Distance (n,) along a path (n, d) from its first point."""
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(steps)])


def resample(path: Array, count: int) -> Array:
    """`count` points (count, d), evenly spaced along a densely sampled path (n, d)."""
    length = arc_length(path)
    at = np.linspace(0.0, length[-1], count)
    return np.stack([np.interp(at, length, column) for column in path.T], axis=1)
