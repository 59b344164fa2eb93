"""Split triangles until no edge is longer than asked, without tearing the mesh.

An edge is halved for both triangles that share it, so that their corners stay equal to the last bit
and no ray can slip through. (Splitting face by face would leave corners in the middle of edges.)
"""

import numpy as np

MOST_FACES = 1_000_000  # of one part: with more, the tallies need more memory than a laptop has
# What a triangle becomes, by its number of halved edges: 0 to 2 are its corners, 3 to 5 the middles
# of the edges that begin there.
_PIECES = {
    0: [[0, 1, 2]],
    1: [[0, 3, 2], [3, 1, 2]],
    2: [[3, 1, 4], [0, 3, 2], [3, 4, 2]],
    3: [[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]],
}


def split_to_edge(
    vertices: np.ndarray, faces: np.ndarray, longest: float, most_faces: int = MOST_FACES
) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and faces of a mesh whose edges are at most `longest`.

    Parameters
    ----------
    vertices : (vertices, 3) float64
    faces : (faces, 3) int64
    longest : float
        In the unit of `vertices`; larger than zero.
    most_faces : int
        ValueError beyond this count.

    Source: red-green refinement, Bank, Sherman, Weiser, "Some refinement algorithms and data
    structures for regular local mesh refinement" (1983).
    """
    if not fewest_faces(vertices, faces, longest) <= most_faces:
        raise ValueError(f"more than {most_faces:,} faces")
    while True:
        edges = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]], axis=2)
        length = np.linalg.norm(vertices[edges[..., 0]] - vertices[edges[..., 1]], axis=2)
        long = length > longest
        if not long.any():
            return vertices, faces
        # An edge as one number: sorting pairs of them takes several times as long.
        codes = edges[long] @ np.array([len(vertices), 1])
        unique, where = np.unique(codes, return_inverse=True)
        middle = np.full(long.shape, -1)
        middle[long] = len(vertices) + where.reshape(-1)
        one, other = np.divmod(unique, len(vertices))
        vertices = np.vstack([vertices, 0.5 * (vertices[one] + vertices[other])])
        faces = _split_once(faces, middle)
        if len(faces) > most_faces:
            raise ValueError(f"more than {most_faces:,} faces")


def fewest_faces(vertices: np.ndarray, faces: np.ndarray, longest: float) -> float:
    """Least number of faces after splitting: the area over that of the largest face allowed.

    No triangle with edges of at most L has more area than the equilateral one, sqrt(3)/4 L^2.
    """
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    with np.errstate(over="ignore", invalid="ignore"):
        area = 0.5 * float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())
    return area / (0.25 * np.sqrt(3.0) * longest**2)


def _split_once(faces: np.ndarray, middle: np.ndarray) -> np.ndarray:
    """Faces after halving the marked edges.

    `middle` (faces, 3) holds the new corner on edge k (from corner k to k + 1), or -1.
    """
    halved = middle >= 0
    count = halved.sum(axis=1)
    # Corners are rotated so that one halved edge comes first, and of two the whole edge last.
    first = np.where(count == 2, halved.argmin(axis=1) + 1, halved.argmax(axis=1))
    order = (first[:, None] + np.arange(3)) % 3
    points = np.hstack([np.take_along_axis(array, order, axis=1) for array in (faces, middle)])
    return np.vstack(
        [points[count == halves][:, piece] for halves in _PIECES for piece in _PIECES[halves]]
    )
