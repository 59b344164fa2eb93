"""Shapes put in their place: turned and moved meshes, box walls, lamp tubes."""

import numpy as np

from raysim.scene.file.written import Lamp
from raysim.scene.triangles import LampTube

# Corners of the unit box, and two triangles per wall whose normals point into the box.
_CORNERS = np.array(
    [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]], float
)
BOX_WALLS = {
    "front": [[0, 4, 5], [0, 5, 1]],  # y = 0, the door
    "back": [[3, 2, 6], [3, 6, 7]],
    "left": [[0, 3, 7], [0, 7, 4]],  # x = 0
    "right": [[1, 5, 6], [1, 6, 2]],
    "floor": [[0, 1, 2], [0, 2, 3]],
    "ceiling": [[4, 7, 6], [4, 6, 5]],
}


def turning(degrees: tuple[float, float, float]) -> np.ndarray:
    """Rotation matrix (3, 3): about x, then y, then z, right-handed, fixed axes (definition)."""
    a, b, c = np.radians(degrees)
    about_x = [[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]]
    about_y = [[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]]
    about_z = [[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]]
    return np.array(about_z) @ np.array(about_y) @ np.array(about_x)


def placed(
    vertices: np.ndarray,
    scale: float,
    turn: tuple[float, float, float],
    at: tuple[float, float, float],
) -> np.ndarray:
    """Vertices scaled to metres about the mesh's own origin, turned, then moved; (n, 3), m."""
    return vertices * scale @ turning(turn).T + np.asarray(at)


def box_vertices(inside: tuple[float, float, float]) -> np.ndarray:
    """The eight corners of a box with one corner at the origin, (8, 3), m."""
    return _CORNERS * np.asarray(inside)


def lamp_tubes(number: int, lamp: Lamp) -> list[LampTube]:
    """Tubes of one lamp, side by side and centred on the line from `from` to `to`.

    Several tubes lie in the plane of the axis and `spread`; without it they lie level, or
    along x where the lamp stands upright.
    """
    start, end = np.asarray(lamp.start), np.asarray(lamp.end)
    axis = (end - start) / np.linalg.norm(end - start)
    if lamp.spread is not None:
        side = np.asarray(lamp.spread) - axis * (axis @ np.asarray(lamp.spread))
    else:
        side = np.cross([0.0, 0.0, 1.0], axis)
    if np.linalg.norm(side) < 1e-6:
        side = np.cross(axis, [0.0, 1.0, 0.0])
    if np.linalg.norm(side) < 1e-6:
        side = np.cross(axis, [0.0, 0.0, 1.0])
    side = side / np.linalg.norm(side) * (lamp.spacing or 0.0)
    steps = np.arange(lamp.tubes) - 0.5 * (lamp.tubes - 1)
    return [
        LampTube(number, start + step * side, end + step * side, 0.5 * lamp.diameter)
        for step in steps
    ]
