"""What a builder cuts and drills: panels, linings, lamp ends and hooks of a rectangular box."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from raysim.scene.file.written import Chamber, SceneAsWritten
from raysim.scene.place import BOX_WALLS

Point = Sequence[float] | np.ndarray  # (3,)
REACH = 0.1  # m: what is farther than that off every wall hangs on something else
SAME_PLACE = 1e-6  # m
FREE, DOOR = "none: on a rail or rod", "front"
# Outward direction of each wall as (axis, end): end 0 at zero, 1 at the inside size.
SIDES_OF_BOX = {
    "front": (1, 0),
    "back": (1, 1),
    "left": (0, 0),
    "right": (0, 1),
    "floor": (2, 0),
    "ceiling": (2, 1),
}
assert set(SIDES_OF_BOX) == set(BOX_WALLS)


@dataclass(frozen=True)
class Panel:
    """A wall: its sheet as cut (width, height), and the lining that covers its inside; m."""

    wall: str
    sheet: tuple[float, float] | None
    lining: tuple[float, float]
    surface: str


@dataclass(frozen=True)
class Mark:
    """A place to drill or fix: on which wall, measured on its inside (m), and how far off it.

    What hangs free of the walls has `wall` FREE, all three measures, and None for `off_wall`.
    """

    what: str
    wall: str
    measures: tuple[tuple[str, float], ...]
    off_wall: float | None


def panels(chamber: Chamber) -> tuple[Panel, ...]:
    """Cut list of a box; empty for a chamber from a mesh.

    Butt joints: left and right stand between floor and ceiling, which are as deep as the inside;
    front and back cover all edges. Their volumes add up to that of the shell.

    Source: definition of the joints.
    """
    if chamber.inside is None:
        return ()
    w, d, h = chamber.inside
    t = chamber.sheet
    cut = {}
    if t is not None:
        outer_w, outer_h = w + 2.0 * t, h + 2.0 * t
        cut = {
            "front": (outer_w, outer_h),
            "back": (outer_w, outer_h),
            "left": (d, h),
            "right": (d, h),
            "floor": (outer_w, d),
            "ceiling": (outer_w, d),
        }
    faces = {"front": (w, h), "back": (w, h), "left": (d, h), "right": (d, h)}
    faces |= {"floor": (w, d), "ceiling": (w, d)}
    return tuple(
        Panel(wall, cut.get(wall), size, _surface_name(chamber, wall))
        for wall, size in faces.items()
    )


def _surface_name(chamber: Chamber, wall: str) -> str:
    choice = chamber.walls.get(wall, chamber.lining)
    return choice if isinstance(choice, str) else choice.name or "as given in the scene"


def marks(scene: SceneAsWritten) -> tuple[Mark, ...]:
    """Lamp ends on the wall that their axis meets, and hooks on the wall they are nearest to.

    A hook is whatever is not judged, in whatever language it is named; and the place (`at`) of
    what is judged, where nothing else has the same. Hooks out of reach of every wall hang on a
    rail or rod; the door carries none, it opens. Empty for a chamber from a mesh.

    Source: geometry of the scene.
    """
    inside = scene.chamber.inside
    if inside is None:
        return ()
    size = np.array(inside)
    found = []
    for lamp in scene.lamp:
        ends = np.array([lamp.start, lamp.end])
        for this, other, name in ((0, 1, "first end"), (1, 0, "second end")):
            way = ends[this] - ends[other]
            wall = _wall_ahead(ends[this], way, size)
            found.append(_mark(f"lamp {lamp.name}, {name} of the arc", wall, ends[this], size))
    for what, at in _hung(scene):
        wall, distance = nearest_wall(at, size)
        if distance <= REACH:
            found.append(_mark(what, wall, at, size))
        else:
            found.append(Mark(what, FREE, _places(at, range(3)), None))
    return tuple(found)


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


def nearest_wall(at: Point, size: Point) -> tuple[str, float]:
    """Wall that a point is nearest to and that carries hooks, and how far; the door opens."""
    point, whole = np.asarray(at), np.asarray(size)
    fixed = [name for name in SIDES_OF_BOX if name != DOOR]
    wall = min(fixed, key=lambda name: _distance(name, point, whole))
    return wall, _distance(wall, point, whole)


def _distance(wall: str, at: np.ndarray, size: np.ndarray) -> float:
    axis, end = SIDES_OF_BOX[wall]
    return float(size[axis] - at[axis] if end else at[axis])


def _wall_ahead(start: np.ndarray, way: np.ndarray, size: np.ndarray) -> str:
    """Wall of the box that a line from `start` meets."""
    reach = {}
    for wall, (axis, end) in SIDES_OF_BOX.items():
        speed = way[axis] if end else -way[axis]
        if speed > 0.0:
            reach[wall] = _distance(wall, start, size) / speed
    return min(reach, key=lambda wall: reach[wall])


def _mark(what: str, wall: str, at: np.ndarray, size: np.ndarray) -> Mark:
    axis, _ = SIDES_OF_BOX[wall]
    others = [k for k in range(3) if k != axis]
    return Mark(what, wall, _places(at, others), _distance(wall, at, size))


def _places(at: np.ndarray, axes: Iterable[int]) -> tuple[tuple[str, float], ...]:
    """Distances (m) along some axes, each with its words."""
    names = ("from the left wall", "from the door", "from the floor")
    return tuple((names[k], float(at[k])) for k in axes)
