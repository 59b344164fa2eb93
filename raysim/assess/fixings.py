"""Where a builder drills and fixes: lamp ends, hooks and whatever hangs, in any box."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum, unique
from typing import Any

import numpy as np

from raysim.base.units import to_mm
from raysim.library.assumptions import assumptions
from raysim.scene.file.written import Lamp, SceneAsWritten
from raysim.scene.place import BOX_WALLS, box_vertices
from raysim.scene.triangles import SceneTriangles

Point = Sequence[float] | np.ndarray  # (3,)
REACH = 0.1  # m: what is farther than that off every wall hangs on something else
SAME_PLACE = 1e-6  # m
DOOR = "front"
ENDS = ("from", "to")  # of a lamp, as in the scene
LEVEL = 0.7  # cosine to the vertical beyond which a wall of a mesh is its floor or its ceiling


@unique
class Held(StrEnum):
    """How a thing is held."""

    HOLE = "holder or hole"  # the wall ahead holds it
    BRACKET = "bracket"  # on the wall, without a hole
    HOOK = "on the wall"
    FREE = "rail or rod"


@dataclass(frozen=True)
class Mark:
    """A place to drill or fix, measured on the inside (m); what hangs free has no wall."""

    what: str
    held: Held
    wall: str
    measures: tuple[tuple[str, float], ...]
    off_wall: float | None


@dataclass(frozen=True)
class Walls:
    """The inside of a chamber as triangles (n, 3, 3), m, which face into it, with their names.

    `is_box` says that it is rectangular, with the origin in its lower left front corner.
    """

    corners: np.ndarray
    names: tuple[str, ...]
    is_box: bool

    @property
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
    bodies = triangles.bodies
    faces = np.flatnonzero(np.array([body.kind == "wall" for body in bodies])[triangles.face_body])
    names = tuple(bodies[body].wall for body in triangles.face_body[faces])
    return Walls(triangles.corners[faces], names, False)


def marks(scene: SceneAsWritten, walls: Walls) -> tuple[Mark, ...]:
    """Lamp ends, hooks, and what is judged and hangs from nothing that was drawn.

    A lamp end is held by the wall ahead of it if that is near enough for its cap and its holder,
    else by a bracket on the nearest wall. A lamp of several tubes has one cap. A hook is whatever
    is not judged, in whatever language it is named. The door carries nothing, it opens.

    Source: geometry of the scene.
    """
    ends = [mark for lamp in scene.lamp for mark in _lamp_marks(lamp, walls)]
    return (*ends, *(_fixed(what, Held.HOOK, at, walls) for what, at in _hung(scene)))


def _lamp_marks(lamp: Lamp, walls: Walls) -> list[Mark]:
    ends = np.array([lamp.start, lamp.end])
    ways = np.array([ends[0] - ends[1], ends[1] - ends[0]]) / np.linalg.norm(ends[0] - ends[1])
    ahead = [_ahead(end, way, walls) for end, way in zip(ends, ways, strict=True)]
    if lamp.tubes > 1:
        cap = int(np.argmin([distance for _, distance in ahead]))
        which = {cap: f'{lamp.name}, its one cap, at "{ENDS[cap]}"'}
    else:
        which = {k: f'{lamp.name}, at "{name}"' for k, name in enumerate(ENDS)}
    return [_end_mark(f"lamp {what}", ends[k], *ahead[k], walls) for k, what in which.items()]


def _end_mark(what: str, end: np.ndarray, face: int, distance: float, walls: Walls) -> Mark:
    reach = round(to_mm(distance), 3) <= assumptions()["lamp_end_reach_mm"].value
    if reach and not walls.opens(face):
        return Mark(what, Held.HOLE, walls.name(face), _measures(end, face, walls), distance)
    return _fixed(what, Held.BRACKET, end, walls)


def _fixed(what: str, held: Held, at: np.ndarray, walls: Walls) -> Mark:
    """A mark on the nearest wall, or free where none is near enough."""
    face, distance = _nearest(at, walls)
    if distance > REACH:
        return Mark(what, Held.FREE, "", _measures(at, None, walls), None)
    return Mark(what, held, walls.name(face), _measures(at, face, walls), distance)


def _hung(scene: SceneAsWritten) -> list[tuple[str, np.ndarray]]:
    """What is fixed in the box and where (m): hooks, rails, and where the judged hang from none."""
    fixed = [np.array(entry.at) for entry in scene.object if not entry.judged]
    hung = []
    for entry in scene.object:
        at = np.array(entry.at)
        if not entry.judged:
            hung.append((entry.name, at))
        elif all(np.abs(at - other).max() > SAME_PLACE for other in fixed):
            hung.append((f"{entry.name}, where it hangs", at))
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


def _ahead(start: np.ndarray, way: np.ndarray, walls: Walls) -> tuple[int, float]:
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


def _measures(at: np.ndarray, face: int | None, walls: Walls) -> tuple[tuple[str, float], ...]:
    """Distances of a point (3,), m, each with its words; on the wall itself where it is a box."""
    low = walls.corners.min(axis=(0, 1))
    names = ("from the left wall", "from the door", "from the floor")
    if not walls.is_box:
        names = ("from the left end", "from the front end", "from the lowest point")
    across = None
    if walls.is_box and face is not None:
        across = int(np.abs(walls.normals[face]).argmax())
    return tuple((names[k], float(at[k] - low[k])) for k in range(3) if k != across)
