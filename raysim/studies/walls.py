"""The walls of a chamber among the triangles of a scene."""

import numpy as np

from raysim.scene.triangles import SceneTriangles


def wall_bodies(triangles: SceneTriangles) -> list[int]:
    """Bodies of the scene that are walls of the chamber."""
    return [k for k, body in enumerate(triangles.bodies) if body.kind == "wall"]


def box_of(triangles: SceneTriangles) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest corner of the box about the chamber, (3,) each, m."""
    walls = np.isin(triangles.face_body, wall_bodies(triangles))
    corners = triangles.corners[walls].reshape(-1, 3)
    return corners.min(axis=0), corners.max(axis=0)
