"""What each thing in the box rests on: another thing, or walls that it touches."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from raysim.scene.triangles import SceneTriangles
from raysim.workshop.fixings import DOOR

NEAR = 0.005  # m: nearer than that it is held there (own choice)
MOST_PAIRS = 2_000_000  # corners times triangles; larger things are looked at by a share of corners


def resting(triangles: SceneTriangles) -> Mapping[str, tuple[str, ...]]:
    """For each thing that is not judged: names of things, else of walls, that it touches.

    Of two things that touch, the one that comes first in the scene carries the other. The door
    carries nothing.

    Source: definition.
    """
    bodies = triangles.bodies
    things = [k for k, body in enumerate(bodies) if body.kind == "object" and not body.judged]
    walls = [k for k in triangles.walls if bodies[k].wall != DOOR]
    found = {}
    for number, body in enumerate(things):
        others = [bodies[k].name for k in things[:number] if _touch(triangles, body, k)]
        held = others or [bodies[k].short_name for k in walls if _touch(triangles, body, k)]
        found[bodies[body].name] = tuple(held)
    return found


def _touch(triangles: SceneTriangles, one: int, other: int) -> bool:
    """Whether any corner of one body lies within NEAR of a face of the other."""
    from trimesh import triangles as near

    points = np.unique(triangles.corners_of(one).reshape(-1, 3), axis=0)
    faces = triangles.corners_of(other)
    low, high = points.min(axis=0) - NEAR, points.max(axis=0) + NEAR
    close = (faces.max(axis=1) >= low).all(axis=1) & (faces.min(axis=1) <= high).all(axis=1)
    faces = faces[close]
    if not len(faces):
        return False
    points = points[:: 1 + len(points) * len(faces) // MOST_PAIRS]
    closest: Any = near.closest_point
    for point in points:
        on = closest(faces, np.broadcast_to(point, (len(faces), 3)))
        if np.linalg.norm(on - point, axis=1).min() <= NEAR:
            return True
    return False
