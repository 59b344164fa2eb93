"""Where a builder drills and fixes: lamp ends, hooks and whatever hangs, in any box."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum, unique
from functools import cached_property
from types import MappingProxyType
from typing import Any

import numpy as np

from raysim.base.units import to_mm
from raysim.library.assumptions import assumptions
from raysim.scene.file.written import Lamp, SceneAsWritten
from raysim.scene.place import BOX_WALLS, box_vertices
from raysim.scene.triangles import SceneTriangles

Point = Sequence[float] | np.ndarray  # (3,)
Rod = tuple[tuple[float, float, float], tuple[float, float, float]]
Told = tuple[str, str, str]  # name of a thing, which end of it, and both in words
REACH = 0.1  # m: what is farther than that off every wall hangs on something else
SAME_PLACE = 1e-6  # m
DOOR = "front"
ENDS = ("from", "to")  # of a lamp, as in the scene
OF_ROD = (("left", "right"), ("front", "back"), ("lower", "upper"))  # ends of a rod by its axis
LEVEL = 0.7  # cosine to the vertical beyond which a wall of a mesh is its floor or its ceiling


@unique
class Held(StrEnum):
    """How a thing is held."""

    HOLE = "holder or hole"  # the wall ahead holds it
    BRACKET = "bracket"  # on the wall, without a hole
    HOOK = "on the wall"
    FREE = "rail or rod"
    ON_THING = "another thing"  # hangs on it
    SUPPORT = "support, no cap"  # of a lamp whose cap is at its other end
    ENDS = "its two ends"  # of a rod
    ENTRY = "entry of the meter"  # for the cable of its head


@dataclass(frozen=True)
class Mark:
    """A place to drill or fix, measured on the inside (m); what hangs free has no wall.

    `at` is the place (3,), m, that the scene calls `end` ("from", "to" or "at") of the thing; of a
    rod, which is held at both ends, also the middle of an end ("left", "right", ...).
    """

    thing: str
    end: str
    at: tuple[float, float, float]
    what: str
    held: Held
    wall: str
    off_wall: float | None
    carries: tuple[str, ...] = ()  # what is judged and hangs there
    rests_on: tuple[str, ...] = ()  # things that carry it, or walls that it touches
    turned: tuple[str, ...] = ()  # what of all that hangs there is turned, and how far
    beyond: float | None = None  # m from the end of an arc to that of its lamp, None if not known

    @property
    def is_of_scene(self) -> bool:
        """Whether the scene gives this place, and not the mesh of a rod (definition)."""
        return self.end in (*ENDS, "at")

    @property
    def room(self) -> float | None:
        """From the end of a lamp to the wall that holds it, m; None if not known (definition)."""
        if self.held is not Held.HOLE or self.off_wall is None or self.beyond is None:
            return None
        return self.off_wall - self.beyond

    @property
    def is_too_long(self) -> bool:
        """Whether the wall leaves no room for so much as the pins of the cap (definition)."""
        return self.room is not None and to_mm(self.room) < assumptions()["lamp_pins_mm"].value


@dataclass(frozen=True)
class Walls:
    """The inside of a chamber as triangles (n, 3, 3), m, which face into it, with their names.

    `is_box` says that it is rectangular, with the origin in its lower left front corner.
    """

    corners: np.ndarray
    names: tuple[str, ...]
    is_box: bool

    @cached_property
    def normals(self) -> np.ndarray:
        """Unit vectors (n, 3) into the chamber (definition)."""
        edges = np.diff(self.corners, axis=1)
        across = np.cross(edges[:, 0], edges[:, 1])
        return np.asarray(across / np.linalg.norm(across, axis=1, keepdims=True))

    def opens(self, face: int) -> bool:
        """Whether a face is part of the door, which carries nothing (definition)."""
        return self.is_box and self.names[face] == DOOR

    def name(self, face: int) -> str:
        """Name of the wall of a face, or which way it lies where the mesh has no names."""
        up = float(self.normals[face, 2])
        lies = "floor" if up > LEVEL else "ceiling" if up < -LEVEL else "side wall"
        return self.names[face] or lies


def box_walls(inside: tuple[float, float, float]) -> Walls:
    """Walls of a rectangular box of this width, depth and height, m (definition)."""
    points = box_vertices(inside)
    corners = np.concatenate([points[np.array(faces)] for faces in BOX_WALLS.values()])
    return Walls(corners, tuple(name for name in BOX_WALLS for _ in (0, 1)), True)


def walls_of(scene: SceneAsWritten, triangles: SceneTriangles) -> Walls:
    """Walls of the chamber of a scene, m (definition)."""
    if scene.chamber.inside is not None:
        return box_walls(scene.chamber.inside)
    faces = np.flatnonzero(triangles.on_wall)
    names = tuple(triangles.bodies[body].wall for body in triangles.face_body[faces])
    return Walls(triangles.corners[faces], names, False)


def marks(
    scene: SceneAsWritten,
    walls: Walls,
    rests: Mapping[str, tuple[str, ...]] = MappingProxyType({}),
    rods: Mapping[str, Rod] = MappingProxyType({}),
) -> tuple[Mark, ...]:
    """Lamp ends, hooks, and what is judged and hangs from nothing that was drawn.

    A lamp end is held by the wall ahead of it if that is near enough for its cap and its holder,
    else by a bracket on the nearest wall. A lamp of several tubes has one cap; its other end hangs
    free and gets a support. A hook is whatever is not judged, in whatever language it is named.
    The door carries nothing, it opens. `rests` says what each thing touches (`resting.resting`),
    `rods` the ends (m) of those that are rods: on one bolt in its middle a rod would turn and tip.

    Source: geometry of the scene.
    """
    ends = [mark for lamp in scene.lamp for mark in _lamp_marks(lamp, walls)]
    hung = [_fixed(told, Held.HOOK, at, walls) for told, at in _hung(scene)]
    carried = [_turned(scene, replace(mark, carries=_carried(scene, mark))) for mark in hung]
    for mark in carried:
        on = rests.get(mark.thing, ())
        if mark.thing in rods and set(on) <= set(walls.names):
            ends += [replace(mark, held=Held.ENDS, wall="", off_wall=None)]
            ends += _rod_ends(mark.thing, rods[mark.thing], walls)
        else:
            ends.append(_resting(mark, on, walls))
    return tuple(ends)


def _rod_ends(thing: str, rod: Rod, walls: Walls) -> list[Mark]:
    """Both ends of a rod, on the walls ahead of them if these are near, else on the nearest."""
    axis = int(np.abs(np.subtract(*rod)).argmax())
    low, high = sorted(map(np.array, rod), key=lambda end: float(end[axis]))
    way = (high - low) / np.linalg.norm(high - low)
    found = []
    for word, end, out in zip(OF_ROD[axis], (low, high), (-way, way), strict=True):
        face, distance = ahead(end, out, walls)
        told = (thing, word, f"{thing}, {word} end")
        if distance <= REACH and not walls.opens(face):
            found.append(_mark(told, Held.HOOK, end, walls, (face, distance)))
        else:
            found.append(_fixed(told, Held.HOOK, end, walls))
    return found


def _turned(scene: SceneAsWritten, mark: Mark) -> Mark:
    """A mark that also says how what hangs there is turned, as the scene has it."""
    names = {mark.thing, *mark.carries}
    turns = [(e.name, e.turn) for e in scene.object if e.name in names and any(e.turn)]
    words = (
        f"{name} turned {a:g}, {b:g}, {c:g} degrees about x (right), y (back), z (up)"
        for name, (a, b, c) in turns
    )
    return replace(mark, turned=tuple(words))


def _resting(mark: Mark, rests_on: tuple[str, ...], walls: Walls) -> Mark:
    """A mark of a thing that rests on others, or on walls: then it needs no hole of its own."""
    if not rests_on or mark.wall in rests_on:
        return replace(mark, rests_on=rests_on)
    held = Held.HOOK if set(rests_on) & set(walls.names) else Held.ON_THING
    return replace(mark, held=held, wall="", off_wall=None, rests_on=rests_on)


def _carried(scene: SceneAsWritten, mark: Mark) -> tuple[str, ...]:
    """Names of what is judged and hangs from something else at a place."""
    at = np.array(mark.at)
    judged = [entry for entry in scene.object if entry.judged and entry.name != mark.thing]
    return tuple(e.name for e in judged if np.abs(np.array(e.at) - at).max() <= SAME_PLACE)


def _lamp_marks(lamp: Lamp, walls: Walls) -> list[Mark]:
    ends = np.array([lamp.start, lamp.end])
    ways = np.array([ends[0] - ends[1], ends[1] - ends[0]]) / np.linalg.norm(ends[0] - ends[1])
    ahead_of = [ahead(end, way, walls) for end, way in zip(ends, ways, strict=True)]
    cap = int(np.argmin([distance for _, distance in ahead_of]))
    found = []
    for k, name in enumerate(ENDS):
        what = f'lamp {lamp.name}, at "{name}"'
        if lamp.tubes == 1:
            mark = _end_mark((lamp.name, name, what), ends[k], *ahead_of[k], walls)
        elif k == cap:
            what = f'lamp {lamp.name}, its one cap, at "{name}"'
            mark = _end_mark((lamp.name, name, what), ends[k], *ahead_of[k], walls)
        else:
            told = (lamp.name, name, f"{what}, without a cap")
            mark = _fixed(told, Held.SUPPORT, ends[k], walls)
        beyond = 0.0 if lamp.kind and mark.held is Held.SUPPORT else lamp.beyond
        found.append(replace(mark, beyond=beyond))
    return found


def _end_mark(told: Told, end: np.ndarray, face: int, distance: float, walls: Walls) -> Mark:
    reach = round(to_mm(distance), 3) <= assumptions()["lamp_end_reach_mm"].value
    if reach and not walls.opens(face):
        return _mark(told, Held.HOLE, end, walls, (face, distance))
    return _fixed(told, Held.BRACKET, end, walls)


def _fixed(told: Told, held: Held, at: np.ndarray, walls: Walls) -> Mark:
    """A mark on the nearest wall, or free where none is near enough."""
    face, distance = _nearest(at, walls)
    if distance > REACH:
        return _mark(told, Held.FREE, at, walls, (None, None))
    return _mark(told, held, at, walls, (face, distance))


def _mark(
    told: Told, held: Held, at: np.ndarray, walls: Walls, on: tuple[int | None, float | None]
) -> Mark:
    """A mark on a face, and how far off it (m), or on none."""
    (thing, end, what), (face, off) = told, on
    x, y, z = map(float, at)
    wall = "" if face is None else walls.name(face)
    return Mark(thing, end, (x, y, z), what, held, wall, off)


def _hung(scene: SceneAsWritten) -> list[tuple[Told, np.ndarray]]:
    """What is fixed in the box and where (m): hooks, rails, and where the judged hang from none."""
    fixed = [np.array(entry.at) for entry in scene.object if not entry.judged]
    hung: list[tuple[Told, np.ndarray]] = []
    for entry in scene.object:
        at = np.array(entry.at)
        if not entry.judged:
            hung.append(((entry.name, "at", entry.name), at))
        elif all(np.abs(at - other).max() > SAME_PLACE for other in fixed):
            hung.append(((entry.name, "at", f"{entry.name}, where it hangs"), at))
    return hung


def nearest_wall(at: Point, inside: tuple[float, float, float]) -> tuple[str, float]:
    """Wall of a box that a point is nearest to and that carries hooks, and how far off, m."""
    walls = box_walls(inside)
    face, distance = _nearest(np.asarray(at, float), walls)
    return walls.name(face), distance


def _nearest(at: np.ndarray, walls: Walls) -> tuple[int, float]:
    """Face of a wall that carries something nearest to a point (3,), and how far off, m."""
    from trimesh import triangles

    closest_point: Any = triangles.closest_point
    near = closest_point(walls.corners, np.broadcast_to(at, (len(walls.corners), 3)))
    away = np.linalg.norm(near - at, axis=1)
    away[[walls.opens(face) for face in range(len(away))]] = np.inf
    face = int(np.round(away, 6).argmin())  # of walls as near as each other the first
    return face, float(away[face])


def ahead(start: np.ndarray, way: np.ndarray, walls: Walls) -> tuple[int, float]:
    """Face that a line from `start` (3,) along `way` (3,) meets first, and how far ahead, m.

    Source: Moller and Trumbore, "Fast, minimum storage ray-triangle intersection" (1997).
    """
    first, second = (walls.corners[:, k] - walls.corners[:, 0] for k in (1, 2))
    across = np.cross(way, second)
    size = np.einsum("ij,ij->i", first, across)
    scale = 1.0 / np.where(np.abs(size) < 1e-15, np.inf, size)
    off = start - walls.corners[:, 0]
    other = np.cross(off, first)
    u, v = np.einsum("ij,ij->i", off, across) * scale, other @ way * scale
    t = np.einsum("ij,ij->i", second, other) * scale
    slack = 1e-9  # a line along the seam of two faces meets one of them
    met = (scale != 0.0) & (u >= -slack) & (v >= -slack) & (u + v <= 1.0 + slack) & (t > 0.0)
    reach = np.where(met, t, np.inf)
    return int(reach.argmin()), float(reach.min())
