"""The box from the front and from its right side, all that hangs in it drawn and measured.

Lengths are from the lowest corner of the inside: in a rectangular box these are the x, y and z of
the scene.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from raysim.scene.build import BuiltScene
from raysim.workshop.drawing import Drawing, Layer, Point, Polyline, Shape, Words, cross
from raysim.workshop.fixings import Mark
from raysim.workshop.grid import Grid
from raysim.workshop.labels import labels
from raysim.workshop.measures import Steps2, measured
from raysim.workshop.panels import tags
from raysim.workshop.shapes import outline

# Of each view: its axes across and up, and what each measures.
VIEWS = {
    "front_view": ("from the front", (0, 2), "x, from the left", "z, from the floor"),
    "side_view": (
        "from the right",
        (1, 2),
        "y, from the front",
        "z, from the floor",
    ),
}
LETTERS = (42.0, 47.0)  # heights of a letter up the box, and along both views side by side
BAR = {"mm": 100, "in": 4}  # length of the bar that shows the scale
ARROW = 0.05  # m: how far an arrow shows which way a meter faces


@dataclass(frozen=True)
class _View:
    """Where a view puts a place: `low` is the lowest corner of the inside, m."""

    axes: tuple[int, int]
    low: np.ndarray
    grid: Grid

    def exact(self, place: np.ndarray | Sequence[float]) -> Point:
        across, up = (np.asarray(place)[[*self.axes]] - self.low[[*self.axes]]) / self.grid.step
        return float(across), float(up)

    def steps(self, place: np.ndarray | Sequence[float]) -> Steps2:
        across, up = (self.grid.steps(x * self.grid.step) for x in self.exact(place))
        return across, up


def lowest(scene: BuiltScene) -> np.ndarray:
    """The lowest corner of the inside (3,), m, that lengths are told from (definition)."""
    return scene.triangles.box[0]


def views(scene: BuiltScene, marks: Sequence[Mark], grid: Grid) -> tuple[Drawing, ...]:
    """The box from the front and from the side, in steps (definition)."""
    low = lowest(scene)
    return tuple(
        _drawn(name, _View(axes, low, grid), scene, marks) for name, (_, axes, *_) in VIEWS.items()
    )


def _drawn(name: str, view: _View, scene: BuiltScene, marks: Sequence[Mark]) -> Drawing:
    title, _, *names = VIEWS[name]
    walls = scene.triangles.corners[scene.triangles.on_wall]
    w, h = size = view.steps(scene.triangles.box[1])
    x, y, z = (scene.triangles.box[1] - view.low) / view.grid.step
    letter = max(z / LETTERS[0], (x + y) / LETTERS[1])  # the same for both views
    shapes: list[Shape] = [*_outlined(walls, Layer.OUTLINE, view)]
    for number, body in enumerate(scene.triangles.bodies):
        if body.kind == "object":
            corners = scene.triangles.corners_of(number)
            shapes += _outlined(corners, Layer.THING, view)
    shapes += _lamps(scene, marks, view)
    points: dict[Steps2, list[str]] = {}
    for tag, mark in zip(tags(), marks, strict=False):
        points.setdefault(view.steps(mark.at), []).append(tag)
    for number, meter in enumerate(scene.triangles.meters, 1):
        points.setdefault(view.steps(meter.at), []).append(f"meter {number}")
        shapes += _arrow(view.exact(meter.at), view.exact(meter.at + ARROW * meter.facing))
    for at in points:
        shapes += cross(Layer.MARK, at, 0.6 * letter, slanting=True)
    told = {at: ", ".join(words) for at, words in points.items()}
    measures, room = measured(size, [*points], letter, view.grid)
    shapes += measures
    within = ((0.3 * letter, 0.3 * letter), (w + 6.0 * letter, h - 0.3 * letter))
    shapes += labels(told, letter, shapes, within)
    shapes += _scale((0.0, -room[1] - 1.6 * letter), names, (room[0], h), letter, view.grid)
    low, high = (-room[0] - 2.4 * letter, -room[1] - 5.4 * letter), (w + 6 * letter, h + 2 * letter)
    return Drawing(name, title, low, high, tuple(shapes))


def _arrow(start: Point, end: Point) -> Iterator[Shape]:
    """An arrow; none where one looks along it."""
    (a, b), (c, d) = start, end
    u, v = c - a, d - b
    if max(abs(u), abs(v)) > 1.0:
        one, other = ((c - 0.3 * (u + side * v), d - 0.3 * (v - side * u)) for side in (0.5, -0.5))
        yield Polyline(Layer.OUTLINE, (start, end))
        yield Polyline(Layer.OUTLINE, (one, end, other))


def _outlined(corners: np.ndarray, layer: Layer, view: _View) -> Iterator[Polyline]:
    for line in outline(corners - view.low, view.axes, view.grid.step):
        yield Polyline(layer, tuple(line), closed=True)


def _lamps(scene: BuiltScene, marks: Sequence[Mark], view: _View) -> Iterator[Shape]:
    """Each tube as its arc, and what of the lamp lies beyond the arc."""
    beyond = {(mark.thing, mark.end): mark.beyond or 0.0 for mark in marks}
    for tube in scene.triangles.tubes:
        name = scene.triangles.lamps[tube.lamp].name
        way = tube.axis
        yield _bar(tube.start, tube.end, tube.radius, Layer.TUBE, view)
        for at, end, out in ((tube.start, "from", -way), (tube.end, "to", way)):
            if reach := beyond.get((name, end), 0.0):
                yield _bar(at, at + reach * out, 0.8 * tube.radius, Layer.MARK, view)


def _bar(start: np.ndarray, end: np.ndarray, radius: float, layer: Layer, view: _View) -> Polyline:
    """The outline of a round bar in a view; of one that is seen on its end, the square about it."""
    (a, b), (c, d) = view.exact(start), view.exact(end)
    r, long = radius / view.grid.step, float(np.hypot(c - a, d - b))
    u, v = ((c - a) / long, (d - b) / long) if long > r else (1.0, 0.0)
    more = 0.0 if long > r else r
    ends = ((a - more * u, b - more * v), (c + more * u, d + more * v))
    (a, b), (c, d) = ends
    corners = ((a - r * v, b + r * u), (c - r * v, d + r * u), (c + r * v, d - r * u))
    return Polyline(layer, (*corners, (a + r * v, b - r * u)), closed=True)


def _scale(
    at: Point, names: Sequence[str], corner: Point, letter: float, grid: Grid
) -> Iterator[Shape]:
    """What the lengths are measured from, and a bar of a known length."""
    (x, y), (left, height) = at, corner
    yield Words(Layer.WORDS, (x, y), names[0], letter, "start")
    yield Words(Layer.WORDS, (-left - letter, 0.5 * height), names[1], letter, upright=True)
    long = BAR[grid.unit] * grid.per_unit
    y -= 2.4 * letter
    for end in (x, x + long):
        yield Polyline(Layer.OUTLINE, ((end, y - 0.4 * letter), (end, y + 0.4 * letter)))
    yield Polyline(Layer.OUTLINE, ((x, y), (x + long, y)))
    told = f"{BAR[grid.unit]} {grid.unit}"
    yield Words(Layer.WORDS, (x + long + letter, y - 0.35 * letter), told, letter, "start")
