"""The box unfolded like a carton: all panels on one drawing, where they meet in the box."""

from collections.abc import Iterator, Sequence

import numpy as np

from raysim.scene.file.written import Lamp
from raysim.workshop.drawing import Circle, Drawing, Layer, Polyline, Shape, Words, rectangle
from raysim.workshop.fixings import REACH
from raysim.workshop.frames import Frame, Steps3, net
from raysim.workshop.grid import Grid
from raysim.workshop.panels import Panel, Place

LETTERS = 60.0  # heights of a letter along the longer side of the net


def net_drawing(
    panels: Sequence[Panel], inside: Steps3, grid: Grid, lamps: Sequence[Lamp] = ()
) -> Drawing:
    """The insides of all panels of a box as one net, seen from inside, with their places; steps.

    Tubes of `lamps` are drawn on every wall that they pass.
    """
    corners = net(inside)
    w, h = net_size(inside)
    letter = max(w, h) / LETTERS
    shapes: list[Shape] = []
    for panel in panels:
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
