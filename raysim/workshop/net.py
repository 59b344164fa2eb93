"""The box unfolded like a carton: all panels on one drawing, where they meet in the box."""

from collections.abc import Iterator, Sequence

import numpy as np

from raysim.scene.file.written import Lamp
from raysim.workshop.drawing import Circle, Drawing, Layer, Point, Polyline, Shape, Words, rectangle
from raysim.workshop.fixings import REACH
from raysim.workshop.frames import Frame, Steps3, net
from raysim.workshop.grid import Grid
from raysim.workshop.panel_drawing import hole_diameter
from raysim.workshop.panels import Panel, Place

LETTERS, BOLD = 60.0, 30.0  # heights of a letter along the longer side: to place on, to build from


def net_drawing(
    panels: Sequence[Panel], inside: Steps3, grid: Grid, lamps: Sequence[Lamp] | None = None
) -> Drawing:
    """The insides of all panels of a box as one net, seen from inside; steps.

    With what is drilled, to build from. Where `lamps` are given, to place things on: with all
    places and gaps, and the tubes of those lamps on every wall that they pass.
    """
    corners = net(inside)
    w, h = net_size(inside)
    letter = max(w, h) / (BOLD if lamps is None else LETTERS)
    shapes: list[Shape] = []
    for panel in panels:
        if lamps is None:
            shapes += _drilled(panel, corners[panel.wall], letter, grid)
            continue
        shapes += _panel(panel, corners[panel.wall], letter, grid)
        if isinstance(panel.frame, Frame):
            for lamp in lamps:
                shapes += _tube(lamp, panel.frame, corners[panel.wall])
        shapes += _places(panel, corners[panel.wall], letter)
    high = (w + letter, h + letter)
    return Drawing(
        "net", "the box unfolded, seen from inside", (-letter, -letter), high, tuple(shapes)
    )


def net_size(inside: Steps3) -> tuple[int, int]:
    """Width and height of the net of a box, steps (definition)."""
    w, d, h = inside
    return 2 * d + 2 * w, 2 * d + h


def whose(place: Place) -> str:
    """What the shapes of a place are marked by: the end of the thing, and its name."""
    return f"{place.mark.end}:{place.mark.thing}"


def _drilled(panel: Panel, corner: tuple[int, int], letter: float, grid: Grid) -> Iterator[Shape]:
    """A panel with the letters of its holes, and its name where none is in the way."""
    (x, y), (a, b) = corner, panel.frame.size
    yield rectangle(Layer.OUTLINE, x, y, a, b)
    name = f"{panel.wall} (door)" if panel.opens else panel.wall
    told = f"{grid.text(a)} x {grid.text(b)}"
    small = min(letter, a / (0.58 * max(map(len, (name, told)))))
    drilled: dict[Point, list[str]] = {}
    for place in panel.places:
        if hole_diameter(place, grid) is not None:
            drilled.setdefault((x + place.u, y + place.v), []).append(place.tag)
    free = [y + part * b for part in (0.5, 0.3, 0.7, 0.4, 0.6)]
    clear = max(free, key=lambda up: min((abs(at[1] - up) for at in drilled), default=0.0))
    for row, words in enumerate((name, told)):
        middle = (x + 0.5 * a, clear + (0.2 - 1.3 * row) * small)
        yield Words(Layer.WORDS, middle, words, small)
    for at, found in drilled.items():
        yield Circle(Layer.HOLE, at, 0.7 * letter, found[0])
        across = -0.6 if at[0] > x + 0.5 * a else 0.6
        beside = (at[0] + across * letter, at[1] + 0.5 * letter)
        anchor = "start" if across > 0 else "end"
        yield Words(Layer.WORDS, beside, ", ".join(found), 0.8 * letter, anchor)


def _panel(panel: Panel, corner: tuple[int, int], letter: float, grid: Grid) -> Iterator[Shape]:
    (x, y), (a, b) = corner, panel.frame.size
    yield rectangle(Layer.OUTLINE, x, y, a, b)
    name = f"{panel.wall} (door)" if panel.opens else panel.wall
    told = f"{name}, {grid.text(a)} x {grid.text(b)}"
    small = min(letter, a / (0.58 * len(told)))
    yield Words(Layer.WORDS, (x + 0.5 * small, y + 0.5 * small), told, small, "start")
    for line in panel.gaps:
        on = tuple((x + u, y + v) for u, v in line.points)
        yield Polyline(Layer.GAP, on, of=f"gap:{line.gap.name}")


def _tube(lamp: Lamp, frame: Frame, corner: tuple[int, int]) -> Iterator[Shape]:
    """The outline of a lamp on a wall that both its ends are near, as seen straight on it."""
    ends = np.array([frame.measured(lamp.start), frame.measured(lamp.end)], float)
    if (ends[:, 2] * frame.grid.step > REACH).any():
        return
    along = ends[1, :2] - ends[0, :2]
    length = float(np.hypot(*along))
    half = 0.5 * (lamp.diameter + (lamp.spacing or 0.0) * (lamp.tubes - 1)) / frame.grid.step
    if length < 2.0 * half:
        return  # it stands on this wall: its holder says all
    side = half / length * np.array([-along[1], along[0]])
    first, last = ends[:, :2] + np.array(corner)
    around = (first + side, last + side, last - side, first - side)
    points = tuple((float(x), float(y)) for x, y in around)
    yield Polyline(Layer.TUBE, points, closed=True, of=f"tube:{lamp.name}")


def _places(panel: Panel, corner: tuple[int, int], letter: float) -> Iterator[Shape]:
    x, y = corner
    for place in panel.places:
        at = (x + place.u, y + place.v)
        yield Circle(Layer.MARK, at, 0.8 * letter, place.tag, whose(place))
    for (u, v), words in panel.tags.items():
        if not words:
            continue
        of = next(whose(p) for p in panel.places if panel.from_edges(p) == (u, v))
        at = (x + u - panel.margin[0], y + v - panel.margin[1])
        beside = (at[0] + 0.6 * letter, at[1] + 0.6 * letter)
        yield Words(Layer.WORDS, beside, words, 0.8 * letter, "start", of=of)
