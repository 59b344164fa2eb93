"""Which hook points leave enough room: respirator to wall, to lamp, to one another.

Distances are taken between corners of finely split surfaces. No spot of a triangle lies farther
from its nearest corner than its longest edge over the root of 3, and that much is taken off every
distance: what is in doubt counts as too near.
"""

from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from raysim.scene.check.surroundings import Surroundings
from raysim.scene.mesh.subdivide import split_to_edge
from raysim.scene.place import turning
from raysim.scene.triangles import LampTube, SceneTriangles
from raysim.studies.hooks.load import Hang, Load, build_stage

SPACING = 0.004  # m, longest edge between points
COVER = SPACING / 3.0**0.5  # m, the circumradius of the largest triangle
WALL, LAMP, OTHER = "too near a wall", "too near a lamp", "too near what stays in the box"


@dataclass(frozen=True)
class Clearances:
    """Smallest distances (m) from a respirator to a wall, a lamp tube, anything else."""

    wall: float = 0.015
    lamp: float = 0.030
    other: float = 0.015


class Room:
    """The box with what stays in it, and the shape that is to be hung in it."""

    def __init__(self, load: Load, clearances: Clearances) -> None:
        from scipy.spatial import cKDTree

        self.clear = clearances
        stage = build_stage(load, 1)
        triangles = stage.triangles
        own = np.zeros(len(triangles.areas), bool)
        own[stage.groups[0]] = True
        kind = np.array([body.kind for body in triangles.bodies])[triangles.face_body]
        judged = triangles.judged.any(axis=1)
        origin = np.asarray(load.model.at)
        self.mask = _points(triangles, own & judged) - origin
        self.rest = _points(triangles, own & ~judged) - origin
        self.hung = np.concatenate([self.mask, self.rest])
        self.inside = load.scene.written.chamber.inside
        self.tubes = triangles.tubes
        self._hung_tree = cKDTree(self.hung)
        self._others = cKDTree(_points(triangles, (kind == "object") & ~own))
        walls = kind == "wall"
        self._walls = Surroundings(triangles, np.flatnonzero(walls))
        self._wall_tree = None if self.inside else cKDTree(_points(triangles, walls))
        self._sticks_out = self._outside(self.rest + origin) + 1e-6
        self._apart: dict[tuple[float, ...], bool] = {}
        self._reach = 2.0 * float(np.linalg.norm(self.hung, axis=1).max())

    def trouble(self, hang: Hang) -> str:
        """What is in the way of a respirator on a hook point; "" for nothing."""
        turn = turning((0.0, 0.0, hang.turn)).T
        mask = self.mask @ turn + np.asarray(hang.at)
        if not self._clear_of_walls(mask):
            return WALL
        if lamp_distance(mask, self.tubes) < self.clear.lamp + COVER:
            return LAMP
        rest = self.rest @ turn + np.asarray(hang.at)
        if len(rest) and lamp_distance(rest, self.tubes) < COVER:
            return LAMP
        if self._outside(rest) > self._sticks_out:
            return WALL
        return OTHER if _any_near(self._others, mask, self.clear.other) else ""

    def _clear_of_walls(self, mask: np.ndarray) -> bool:
        clear = self.clear.wall
        if self.inside is not None:  # the corners of the mesh are among its points: exact
            upper = np.asarray(self.inside) - clear
            return bool((mask >= clear - 1e-9).all() and (mask <= upper + 1e-9).all())
        inside = bool(self._walls.seen_from_inside(mask).all())
        return inside and not _any_near(self._wall_tree, mask, clear)

    def _outside(self, rest: np.ndarray) -> float:
        """How far (m) a hook reaches through a wall; of a chamber from a mesh, by which share."""
        if not len(rest):
            return 0.0
        if self.inside is None:
            return float((~self._walls.seen_from_inside(rest)).mean())
        return float(max(0.0, -rest.min(), (rest - np.asarray(self.inside)).max()))

    def apart(self, a: Hang, b: Hang) -> bool:
        """Whether two respirators, their hooks included, keep clear of each other."""
        way = np.subtract(b.at, a.at)
        if np.linalg.norm(way) > self._reach + self.clear.other:
            return True
        key = (*np.round(way, 6).tolist(), round(a.turn, 3), round(b.turn, 3))
        if key not in self._apart:
            there = self.hung @ turning((0.0, 0.0, b.turn)).T + way
            back = there @ turning((0.0, 0.0, a.turn))  # turned back by a's turn
            self._apart[key] = not _any_near(self._hung_tree, back, self.clear.other)
        return self._apart[key]

    def sifted(self, hangs: list[Hang]) -> tuple[list[Hang], Counter[str]]:
        """Hook points with room, and how many of the others fail for what reason."""
        troubles = [self.trouble(hang) for hang in hangs]
        kept = [hang for hang, trouble in zip(hangs, troubles, strict=True) if not trouble]
        return kept, Counter(trouble for trouble in troubles if trouble)


def _any_near(tree: Any, points: np.ndarray, clear: float) -> bool:
    """Whether a point (n, 3) may lie nearer than `clear` (m) to those of a tree."""
    near = tree.query(points, distance_upper_bound=clear + 2.0 * COVER)[0]
    return bool(np.isfinite(near).any())


def _points(triangles: SceneTriangles, chosen: np.ndarray) -> np.ndarray:
    """Corners of the chosen faces (bool), split fine, (points, 3), m."""
    corners = triangles.corners[chosen]
    if not len(corners):
        return np.zeros((0, 3))
    faces = np.arange(3 * len(corners)).reshape(-1, 3)
    vertices, _ = split_to_edge(corners.reshape(-1, 3), faces, SPACING)
    return np.unique(np.round(vertices, 9), axis=0)


def lamp_distance(points: np.ndarray, tubes: tuple[LampTube, ...]) -> float:
    """Smallest distance (m) from points (n, 3) to the mantle of a tube; inf without tubes.

    Source: distance of a point from a segment (geometry).
    """
    least = np.inf
    for tube in tubes:
        way = tube.end - tube.start
        share = np.clip((points - tube.start) @ way / (way @ way), 0.0, 1.0)
        gap = np.linalg.norm(points - tube.start - share[:, None] * way, axis=1).min()
        least = min(least, float(gap) - tube.radius)
    return least
