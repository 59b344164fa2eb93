"""Which hook points leave enough room: respirator to wall, to lamp, to one another.

What hangs is taken as points on its finely split surface: no spot of it lies farther from one than
the longest edge over the root of 3, the cover. Other surfaces are split only where they are in
doubt (see `comes_near`), so that no box is too large. What is still in doubt counts as too near.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np

from raysim.scene.check.surroundings import Surroundings
from raysim.scene.mesh.subdivide import split_to_edge
from raysim.scene.place import turning
from raysim.scene.triangles import LampTube, SceneTriangles
from raysim.studies.hooks.load import Hang, Load, build_stage

SPACING = 0.004  # m, longest edge between points
COVER = SPACING / 3.0**0.5  # m, the circumradius of the largest triangle
MOST_POINTS = 200_000  # of what hangs: of a larger thing the points lie farther apart
Where = TypeVar("Where")
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
        walls = triangles.on_wall
        judged = triangles.judged.any(axis=1)
        origin = np.asarray(load.model.at)
        mask, mask_cover = surface_points(triangles, own & judged)
        rest, rest_cover = surface_points(triangles, own & ~judged)
        self.mask, self.rest = mask - origin, rest - origin
        self.hung = np.concatenate([self.mask, self.rest])
        self.cover = max(mask_cover, rest_cover)
        self.inside = load.scene.written.chamber.inside
        self.tubes = triangles.tubes
        self._hung_tree = cKDTree(self.hung)
        self._mask_tree = cKDTree(self.mask)
        self._others = triangles.corners[(kind == "object") & ~own]
        self._wall_corners = triangles.corners[walls]
        self._walls = Surroundings(triangles, np.flatnonzero(walls))
        self._sticks_out = self._outside(self.rest + origin) + 1e-6
        self._apart: dict[tuple[float, ...], bool] = {}
        self._reach = 2.0 * float(np.linalg.norm(self.hung, axis=1).max())

    def trouble(self, hang: Hang) -> str:
        """What is in the way of a respirator on a hook point; "" for nothing."""
        turn = turning((0.0, 0.0, hang.turn)).T
        mask = self.mask @ turn + np.asarray(hang.at)
        if not self._clear_of_walls(mask, hang):
            return WALL
        if lamp_distance(mask, self.tubes) < self.clear.lamp + self.cover:
            return LAMP
        rest = self.rest @ turn + np.asarray(hang.at)
        if len(rest) and lamp_distance(rest, self.tubes) < self.cover:
            return LAMP
        if self._outside(rest) > self._sticks_out:
            return WALL
        return OTHER if self._near(self._others, hang, self.clear.other) else ""

    def _clear_of_walls(self, mask: np.ndarray, hang: Hang) -> bool:
        clear = self.clear.wall
        if self.inside is not None:  # the corners of the mesh are among its points: exact
            upper = np.asarray(self.inside) - clear
            return bool((mask >= clear - 1e-9).all() and (mask <= upper + 1e-9).all())
        inside = bool(self._walls.seen_from_inside(mask).all())
        return inside and not self._near(self._wall_corners, hang, clear)

    def _near(self, corners: np.ndarray, hang: Hang, clear: float) -> bool:
        """Whether a respirator may come nearer than `clear` to triangles (n, 3, 3) of the box."""
        seen = (corners - np.asarray(hang.at)) @ turning((0.0, 0.0, hang.turn))
        return comes_near(seen, self._mask_tree, self.cover, clear)

    def _outside(self, rest: np.ndarray) -> float:
        """How far (m) a hook reaches through a wall; of a chamber from a mesh, by which share."""
        if not len(rest):
            return 0.0
        if self.inside is None:
            return float((~self._walls.seen_from_inside(rest)).mean())
        return float(max(0.0, -rest.min(), (rest - np.asarray(self.inside)).max()))

    def apart(self, a: Hang, b: Hang) -> bool:
        """Whether two respirators, their hooks included, keep clear of each other."""
        way, clear = np.subtract(b.at, a.at), self.clear.other
        if np.linalg.norm(way) > self._reach + clear:
            return True
        key = (*np.round(way, 6).tolist(), round(a.turn, 3), round(b.turn, 3))
        if key not in self._apart:
            there = self.hung @ turning((0.0, 0.0, b.turn)).T + way
            back = there @ turning((0.0, 0.0, a.turn))  # turned back by a's turn
            near = self._hung_tree.query(back, distance_upper_bound=clear + 2.0 * self.cover)[0]
            self._apart[key] = not np.isfinite(near).any()
        return self._apart[key]

    def sifted(self, hangs: list[Hang]) -> tuple[list[Hang], Counter[str]]:
        """Hook points with room, and how many of the others fail for what reason."""
        return with_room(hangs, self.trouble)


def with_room(
    places: Sequence[Where], trouble: Callable[[Where], str]
) -> tuple[list[Where], Counter[str]]:
    """Places without trouble, and how many of the others have which."""
    troubles = [trouble(place) for place in places]
    kept = [place for place, found in zip(places, troubles, strict=True) if not found]
    return kept, Counter(filter(None, troubles))


def comes_near(corners: np.ndarray, tree: Any, cover: float, clear: float) -> bool:
    """Whether triangles (n, 3, 3), m, may come nearer than `clear` to a surface.

    `tree` holds points of the surface, of which no spot lies farther than `cover` from one.
    Triangles in doubt are halved at their longest edge until they are as small as COVER.
    """
    low, high = tree.mins - clear - cover, tree.maxes + clear + cover
    while len(corners):
        close = (corners.min(axis=1) <= high).all(axis=1)
        corners = corners[close & (corners.max(axis=1) >= low).all(axis=1)]
        middle = corners.mean(axis=1)
        size = np.linalg.norm(corners - middle[:, None], axis=2).max(axis=1, initial=0.0)
        gap = tree.query(middle)[0] if len(middle) else size
        doubt = gap <= size + clear + cover
        if (gap[doubt] < clear).any() or (size[doubt] <= COVER).any():
            return True
        corners = _halved(corners[doubt])
    return False


def _halved(corners: np.ndarray) -> np.ndarray:
    """Both halves of triangles (n, 3, 3), cut through the middle of the longest edge."""
    edges = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    order = (edges.argmax(axis=1)[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(corners, order[..., None], axis=1).swapaxes(0, 1)
    middle = 0.5 * (a + b)
    return np.concatenate([np.stack([a, middle, c], 1), np.stack([middle, b, c], 1)])


def surface_points(triangles: SceneTriangles, chosen: np.ndarray) -> tuple[np.ndarray, float]:
    """Points (n, 3) of some faces, m, and how far at most a spot of them lies from the nearest."""
    corners, spacing = triangles.corners[chosen].reshape(-1, 3), SPACING
    faces = np.arange(len(corners)).reshape(-1, 3)
    while len(corners):
        try:
            vertices, _ = split_to_edge(corners, faces, spacing, MOST_POINTS)
        except ValueError:
            spacing *= 2.0
        else:
            return np.unique(np.round(vertices, 9), axis=0), spacing / 3.0**0.5
    return corners, 0.0


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
