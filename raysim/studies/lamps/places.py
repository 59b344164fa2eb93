"""Places for lamps: a grid along x, y and z, or a list, as far as there is room.

What a lamp needs is a cylinder about its axis with its caps and sockets; it is held clear of walls,
door, load and all else. Other surfaces are taken as points, as in `hooks.clearances`.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from raysim.base.errors import RaysimError
from raysim.scene.check.surroundings import Surroundings
from raysim.scene.file.written import Lamp
from raysim.scene.triangles import SceneTriangles
from raysim.studies.hooks.clearances import surface_points, with_room
from raysim.studies.lamps.kinds import LampKind

STEP = 0.010  # m between points looked at on an axis
FINEST, COARSER = 0.020, 1.12  # m, and by how much a grid that holds too many is widened
MOST_TRIED = 2000
DIGITS = 6  # decimals of a m that places are kept to
WALL, DOOR = "too near a wall", "too near the door"
LOAD, OTHER = "too near the load", "too near what else is in the box"
Axis = tuple[float, float, float]


@dataclass(frozen=True)
class LampClearances:
    """Smallest distances (m) from a tube to walls, the door, the load, all else, another lamp.

    Own estimates without a source, but for the load: 30 mm, as `raysim hooks` keeps.
    """

    wall: float = 0.010
    door: float = 0.030
    load: float = 0.030
    other: float = 0.015
    lamps: float = 0.020


@dataclass(frozen=True)
class Place:
    """A kind of lamp with its arc from `start` to `end`, m."""

    kind: LampKind
    start: Axis
    end: Axis

    def lamp(self, name: str) -> Lamp:
        """Record of the scene file."""
        return self.kind.lamp.model_copy(
            update={"name": name, "start": self.start, "end": self.end}
        )

    @cached_property
    def whole(self) -> np.ndarray:
        """Ends of the lamp with caps and sockets, (2, 3), m."""
        start, end = np.array(self.start), np.array(self.end)
        way = (end - start) / np.linalg.norm(end - start)
        return np.stack([start - self.kind.before * way, end + self.kind.behind * way])


@dataclass(frozen=True)
class LampGrid:
    """Places on a grid about the middle of the box.

    Attributes
    ----------
    along : str
        Directions: some of x, y and z (upright).
    spacing : float, optional
        m; default as fine as leaves at most `most` places with room.
    """

    along: str = "xyz"
    spacing: float | None = None
    most: int = 200


def listed_places(kinds: Sequence[LampKind], axes: Sequence[tuple[Axis, Axis]]) -> list[Place]:
    """Every kind of lamp with the middle of its arc in the middle of each line (from, to), m."""
    found = []
    for kind in kinds:
        for start, end in axes:
            middle = 0.5 * (np.array(start) + np.array(end))
            way = np.subtract(end, start)
            half = 0.5 * kind.arc * way / np.linalg.norm(way)
            found.append(Place(kind, _tidy(middle - half), _tidy(middle + half)))
    return found


class LampRoom:
    """The box with its load, without lamps: which places keep clear of it."""

    def __init__(self, triangles: SceneTriangles, inside: Axis | None, clear: LampClearances):
        self.clear, self.inside = clear, inside
        self.low, self.high = triangles.box
        kind = np.array([body.kind for body in triangles.bodies])[triangles.face_body]
        judged = np.isin(triangles.face_body, triangles.judged_bodies)
        things = kind == "object"
        self._near = [
            (why, *_tree(triangles, chosen), distance)
            for why, chosen, distance in (
                (LOAD, things & judged, clear.load),
                (OTHER, things & ~judged, clear.other),
            )
        ]
        self._walls = None
        if inside is None:
            self._walls = Surroundings(triangles, np.flatnonzero(triangles.on_wall))
            self._near.insert(0, (WALL, *_tree(triangles, triangles.on_wall), clear.wall))

    def trouble(self, place: Place) -> str:
        """What is in the way of a lamp; "" for nothing."""
        low, high = place.whole
        reach = place.kind.reach
        steps = max(int(np.ceil(np.linalg.norm(high - low) / STEP)), 1)
        points = low + np.linspace(0.0, 1.0, steps + 1)[:, None] * (high - low)
        why = self._wall_trouble(points, np.array([*place.whole]), reach)
        if why:
            return why
        half = 0.5 * float(np.linalg.norm(high - low)) / steps
        for why, tree, cover, distance in self._near:
            needed = float(np.hypot(reach + distance + cover, half))
            if (
                tree is not None
                and np.isfinite(tree.query(points, distance_upper_bound=needed)[0]).any()
            ):
                return why
        return ""

    def _wall_trouble(self, points: np.ndarray, ends: np.ndarray, reach: float) -> str:
        if self._walls is not None:
            return "" if self._walls.seen_from_inside(points).all() else WALL
        # The caps may stand at a wall: only across the axis the lamp keeps clear.
        way = np.abs(ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        needed = np.sqrt(np.maximum(1.0 - way**2, 0.0)) * (reach + self.clear.wall) - 1e-9
        if (ends < self.low + needed).any() or (ends > self.high - needed).any():
            return WALL
        if ends[:, 1].min() < self.low[1] + reach + self.clear.door - 1e-9:
            return DOOR
        return ""

    def sifted(self, places: Sequence[Place]) -> tuple[list[Place], Counter[str]]:
        """Places with room, and how many of the others fail for what reason."""
        return with_room(places, self.trouble)

    def grid(
        self, kinds: Sequence[LampKind], grid: LampGrid
    ) -> tuple[list[Place], Counter[str], float]:
        """Places of a grid with room, how many have none, and the spacing of the grid, m.

        Raises
        ------
        RaysimError
            More than MOST_TRIED places at the spacing that was asked for.
        """
        spacing, axes = grid.spacing or FINEST, ["xyz".index(axis) for axis in grid.along]
        while True:
            lines = [(kind, k, self._lines(kind, k, spacing)) for kind in kinds for k in axes]
            count = sum(int(np.prod([len(line) for line in three])) for _, _, three in lines)
            if grid.spacing and count > MOST_TRIED:
                raise RaysimError(
                    f"{count:,} places for lamps are more than {MOST_TRIED:,}. Mend: a larger "
                    "--spacing, or fewer directions (--along)"
                )
            if count <= MOST_TRIED:
                kept, none = self.sifted([p for each in lines for p in _on_lines(*each)])
                if grid.spacing or len(kept) <= grid.most:
                    return kept, none, spacing
            spacing *= COARSER

    def _lines(self, kind: LampKind, along: int, spacing: float) -> list[np.ndarray]:
        """Values of x, y and z (m) where the arcs of one kind along one axis may begin."""
        free = self.high[along] - self.low[along] - kind.before - kind.arc - kind.behind
        if free < -1e-9:
            return [np.zeros(0)] * 3
        lines = [_even(low, high, spacing) for low, high in self._across(kind)]
        lines[along] = self.low[along] + kind.before + _even(0.0, max(free, 0.0), spacing)
        return lines

    def _across(self, kind: LampKind) -> list[tuple[float, float]]:
        """How far the axis of a lamp may go in each direction, m."""
        off = np.full(3, kind.reach + self.clear.wall)
        low, high = self.low + off, self.high - off
        if self.inside is not None:
            low[1] = self.low[1] + kind.reach + max(self.clear.door, self.clear.wall)
        middle = 0.5 * (self.low + self.high)
        return [(min(a, m), max(b, m)) for a, b, m in zip(low, high, middle, strict=True)]


def _on_lines(kind: LampKind, along: int, lines: list[np.ndarray]) -> list[Place]:
    """Every place of a grid for one kind along one axis."""
    found = []
    for point in np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1).reshape(-1, 3):
        end = point.copy()
        end[along] += kind.arc
        found.append(Place(kind, _tidy(point), _tidy(end)))
    return found


def too_near(places: Sequence[Place], clear: float) -> np.ndarray:
    """Which pairs of places cannot both be taken, (places, places) bool.

    Source: distance from a point of one axis to the other axis is convex along the first; its
    least value by golden sections (Kiefer 1953).
    """
    ends = np.array([place.whole for place in places])
    reach = np.array([place.kind.reach for place in places])
    low, high = np.zeros((2, len(places), len(places)))
    high += 1.0
    golden = 0.5 * (np.sqrt(5.0) - 1.0)
    for _ in range(40):
        a, b = high - golden * (high - low), low + golden * (high - low)
        left = _off(ends, a) < _off(ends, b)
        low, high = np.where(left, low, a), np.where(left, b, high)
    gap = _off(ends, 0.5 * (low + high)) - reach - reach[:, None]
    near = np.minimum(gap, gap.T) < clear
    np.fill_diagonal(near, False)
    return near


def _off(ends: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Distance (a, b) from the point at `share` of axis a to axis b, m (definition)."""
    point = ends[:, None, 0] + share[..., None] * (ends[:, 1] - ends[:, 0])[:, None]
    way = ends[:, 1] - ends[:, 0]
    to = point - ends[None, :, 0]
    along = np.clip((to * way).sum(axis=2) / (way * way).sum(axis=1), 0.0, 1.0)
    return np.asarray(np.linalg.norm(to - along[..., None] * way, axis=2))


def _tree(triangles: SceneTriangles, chosen: np.ndarray) -> tuple[Any, float]:
    """Points of some faces to search among, None without any, and how much they may miss, m."""
    from scipy.spatial import cKDTree

    points, cover = surface_points(triangles, chosen)
    return (cKDTree(points) if len(points) else None), cover


def _even(low: float, high: float, spacing: float) -> np.ndarray:
    """Even values from low to high, the middle among them, about `spacing` apart."""
    if high - low < 0.5 * spacing:
        return np.array([0.5 * (low + high)])
    return np.linspace(low, high, 2 * max(round((high - low) / (2.0 * spacing)), 1) + 1)


def _tidy(point: np.ndarray) -> Axis:
    x, y, z = (round(float(value), DIGITS) for value in point)
    return x, y, z
