"""The triangles about a thing, to cast rays against: what it crosses, touches or lies within."""

import numpy as np

from raysim.kernels.hierarchy import build_tree
from raysim.kernels.probe import first_hits
from raysim.scene.triangles import SceneTriangles

TOUCHING = 0.0003  # m: a judged face this close to another surface gets next to no light
BEHIND = 1e-6  # m: rays start this far behind a face, to hit what lies on it
NO_TUBES = np.zeros((0, 8))
# A direction that is not parallel to any edge or axis that a person would draw.
ODD_DIRECTION = np.array([0.36117, 0.47923, 0.79993])


class Surroundings:
    """Some triangles of a scene, or all, in a hierarchy of their own, to cast rays against."""

    def __init__(self, triangles: SceneTriangles, faces: np.ndarray | None = None) -> None:
        self.triangles = triangles
        if faces is None:
            faces = np.arange(len(triangles.areas))
        self.nodes, self.blocks, order = build_tree(triangles.corners[faces])
        self.faces = faces[order]

    def first(
        self, origins: np.ndarray, directions: np.ndarray, farthest: np.ndarray
    ) -> np.ndarray:
        """Face that each ray meets first within its reach (rays,), -1 for none."""
        length = np.linalg.norm(directions, axis=1)
        _, hits = first_hits(
            self.nodes,
            self.blocks,
            NO_TUBES,
            len(self.faces),
            np.ascontiguousarray(origins, float),
            directions / length[:, None],
            np.ascontiguousarray(farthest, float),
        )
        return np.where(hits >= 0, self.faces[hits], -1)

    def touching(self, faces: np.ndarray, side: int) -> np.ndarray:
        """Face right in front of a side of each of some faces, (faces,), -1 for none."""
        triangles = self.triangles
        way = triangles.normals[faces] * (1.0, -1.0)[side]
        reach = np.full(len(faces), BEHIND + TOUCHING)
        return self.first(triangles.centroids[faces] - BEHIND * way, way, reach)

    def crossed(self, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
        """Faces that the lines from `starts` to `ends` cross, without repeats."""
        way = ends - starts
        length = np.linalg.norm(way, axis=1)
        long = length > 0.0
        found = self.first(starts[long], way[long], length[long])
        return np.unique(found[found >= 0])

    def seen_from_inside(self, points: np.ndarray) -> np.ndarray:
        """Whether each point (points, 3) lies on the side of the normals of these faces, (points,).

        For a closed chamber whose normals point inwards: whether it is inside.
        """
        direction = ODD_DIRECTION / np.linalg.norm(ODD_DIRECTION)
        many = np.tile(direction, (len(points), 1))
        found = self.first(points, many, np.full(len(points), np.inf))
        facing = self.triangles.normals[found] @ direction < 0.0
        return (found >= 0) & facing


def reached(
    boxes: tuple[np.ndarray, np.ndarray], faces: np.ndarray, low: np.ndarray, high: np.ndarray
) -> np.ndarray:
    """Those of `faces` whose `boxes` come within reach of the box from `low` to `high` (3,).

    No other face can be crossed or touched from there, and few faces make a quick hierarchy.
    """
    for axis in range(3):
        faces = faces[boxes[0][faces, axis] <= high[axis] + 2 * TOUCHING]
        faces = faces[boxes[1][faces, axis] >= low[axis] - 2 * TOUCHING]
    return faces
