"""Split triangles until no edge is longer than asked, without tearing the mesh.

An edge is halved for both triangles that share it, so that their corners stay equal to the last bit
and no ray can slip through. (Splitting face by face would leave corners in the middle of edges.)
"""

import numpy as np

MOST_FACES = 1_000_000  # of one part: with more, the tallies need more memory than a laptop has


def split_to_edge(
    vertices: np.ndarray, faces: np.ndarray, longest: float, most_faces: int = MOST_FACES
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices, faces and parent face of a mesh whose edges are at most `longest`.

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
    parent = np.arange(len(faces))
    if not fewest_faces(vertices, faces, longest) <= most_faces:
        raise ValueError(f"more than {most_faces:,} faces")
    while True:
        edges = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]], axis=2)
        length = np.linalg.norm(vertices[edges[..., 0]] - vertices[edges[..., 1]], axis=2)
        long = length > longest
        if not long.any():
            return vertices, faces, parent
        # An edge as one number: sorting pairs of them takes several times as long.
        codes = edges[long] @ np.array([len(vertices), 1])
        unique, where = np.unique(codes, return_inverse=True)
        middle = np.full(long.shape, -1)
        middle[long] = len(vertices) + where.reshape(-1)
        one, other = np.divmod(unique, len(vertices))
        vertices = np.vstack([vertices, 0.5 * (vertices[one] + vertices[other])])
        faces, kept = _split_once(faces, middle)
        parent = parent[kept]
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


def _split_once(faces: np.ndarray, middle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Faces after halving the marked edges, and the face that each came from.

    `middle` (faces, 3) holds the new corner on edge k (from corner k to k + 1), or -1.
    """
    count = (middle >= 0).sum(axis=1)
    index = np.arange(len(faces))
    pieces, kept = [faces[count == 0]], [index[count == 0]]

    def turned(chosen: np.ndarray, first: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Corners and middles of the chosen faces, rotated so that edge `first` comes first."""
        order = (first[:, None] + np.arange(3)) % 3
        rows = index[chosen][:, None]
        return faces[rows, order].T, middle[rows, order].T

    def add(chosen: np.ndarray, *triangles: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
        for triangle in triangles:
            pieces.append(np.stack(triangle, axis=1))
            kept.append(index[chosen])

    one = count == 1
    (a, b, c), (m, _, _) = turned(one, (middle[one] >= 0).argmax(axis=1))
    add(one, (a, m, c), (m, b, c))
    two = count == 2
    (a, b, c), (m, n, _) = turned(two, ((middle[two] < 0).argmax(axis=1) + 1) % 3)
    add(two, (m, b, n), (a, m, c), (m, n, c))
    three = count == 3
    (a, b, c), (m, n, o) = turned(three, np.zeros(three.sum(), int))
    add(three, (a, m, o), (m, b, n), (o, n, c), (m, n, o))
    return np.vstack(pieces), np.concatenate(kept)
