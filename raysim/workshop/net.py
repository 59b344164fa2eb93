"""The box unfolded like a carton: all panels on one drawing, where they meet in the box.

A drum is unfolded like a can: the mantle unrolled, the ends where they touch its back line.
"""

from collections.abc import Iterator, Sequence

import numpy as np

from raysim.scene.file.written import Lamp
from raysim.workshop.drawing import Circle, Drawing, Layer, Point, Polyline, Shape, Words, rectangle
from raysim.workshop.drum import BOTTOM, MANTLE, TOP, DrumSide
from raysim.workshop.fixings import REACH
from raysim.workshop.frames import Frame, net
from raysim.workshop.grid import Grid
from raysim.workshop.panel_drawing import hole_diameter
from raysim.workshop.panels import Panel, Place

LETTERS, BOLD = 60.0, 30.0  # heights of a letter along the longer side: to place on, to build from


def net_drawing(
    panels: Sequence[Panel], grid: Grid, lamps: Sequence[Lamp] | None = None
) -> Drawing:
    """The insides of all panels of a box or a drum as one net, seen from inside; steps.

    With what is drilled, to build from. Where `lamps` are given, to place things on: with all
    places and gaps, and the tubes of those lamps on every wall that they pass.
    """
    corners = net_corners(panels)
    ends = [np.add(corners[panel.wall], panel.frame.size) for panel in panels]
    w, h = map(int, np.max(ends, axis=0))
    letter = max(w, h) / (BOLD if lamps is None else LETTERS)
    shapes: list[Shape] = []
    for panel in panels:
        if lamps is None:
            shapes += _drilled(panel, corners[panel.wall], letter, grid)
            continue
        shapes += _panel(panel, corners[panel.wall], letter, grid)
        for lamp in lamps:
            shapes += _tube(lamp, panel.frame, corners[panel.wall])
        shapes += _places(panel, corners[panel.wall], letter)
    high = (w + letter, h + letter)
    return Drawing(
        "net", "the box unfolded, seen from inside", (-letter, -letter), high, tuple(shapes)
    )


def net_corners(panels: Sequence[Panel]) -> dict[str, tuple[int, int]]:
    """Lower left corner of each panel on the net, steps (definition)."""
    first = panels[0].frame
    if isinstance(first, Frame):
        return net(first.inside)
    sizes = {panel.wall: panel.frame.size for panel in panels}
    (long, high), (wide, _) = sizes[MANTLE], sizes[BOTTOM]
    left = (long - wide) // 2  # the back line is in the middle of the mantle
    return {MANTLE: (0, wide), BOTTOM: (left, 0), TOP: (left, wide + high)}


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
    name = f"{panel.wall} (door)" if panel.opens else panel.wall
    told = f"{name}, {grid.text(a)} {'across' if panel.frame.is_disc else f'x {grid.text(b)}'}"
    small = min(letter, a / (0.58 * len(told)))
    if panel.frame.is_disc:
        yield Circle(Layer.OUTLINE, (x + 0.5 * a, y + 0.5 * b), a)
        yield Words(Layer.WORDS, (x + 0.5 * a, y + 0.12 * b), told, small)
    else:
        yield rectangle(Layer.OUTLINE, x, y, a, b)
        yield Words(Layer.WORDS, (x + 0.5 * small, y + 0.5 * small), told, small, "start")
    if isinstance(panel.frame, DrumSide) and not panel.frame.is_disc:
        yield from _lines_up(panel.frame, corner, small)
    for line in panel.gaps:
        on = tuple((x + u, y + v) for u, v in line.points)
        yield Polyline(Layer.GAP, on, of=f"gap:{line.gap.name}")


def _lines_up(mantle: DrumSide, corner: tuple[int, int], small: float) -> Iterator[Shape]:
    """Where on a mantle one looks to the left, to the back and to the right of an upright drum."""
    (x, y), (a, _) = corner, mantle.size
    words = ("left", "back", "right") if mantle.drum.axis == 2 else ()
    for quarter, word in enumerate(words, 1):
        middle = x + 0.25 * quarter * a
        yield Polyline(Layer.MEASURE, ((middle, y), (middle, y + 2.0 * small)))
        yield Words(Layer.MEASURE, (middle, y + 2.4 * small), word, small)


def _tube(lamp: Lamp, frame: Frame | DrumSide, corner: tuple[int, int]) -> Iterator[Shape]:
    """The outline of a lamp on a wall that all of it is near, as seen straight on it."""
    x, y, z = (0.5 * (p + q) for p, q in zip(lamp.start, lamp.end, strict=True))
    ends = np.array([frame.measured(at) for at in (lamp.start, (x, y, z), lamp.end)], float)
    if (ends[:, 2] * frame.grid.step > REACH).any():
        return
    along = ends[2, :2] - ends[0, :2]
    if isinstance(frame, DrumSide) and not frame.is_disc and abs(along[0]) > 0.5 * frame.size[0]:
        along[0] -= np.copysign(frame.size[0], along[0])  # across the line that it is cut open at
    length = float(np.hypot(*along))
    half = 0.5 * (lamp.diameter + (lamp.spacing or 0.0) * (lamp.tubes - 1)) / frame.grid.step
    if length < 2.0 * half:
        return  # it stands on this wall: its holder says all
    side = half / length * np.array([-along[1], along[0]])
    first = ends[0, :2] + np.array(corner)
    last = first + along
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
