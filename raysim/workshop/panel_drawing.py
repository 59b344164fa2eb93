"""The drawing of one panel, seen from inside: outline, lining, holes, marks, gaps, all measured.

Every place has its distance from the left edge of the panel printed below it, and that from the
lower edge at its left, in line with it. The notes say the same in words, with what is fixed there.
"""

from collections.abc import Iterator

from raysim.library.assumptions import assumptions
from raysim.workshop.drawing import (
    Circle,
    Drawing,
    Layer,
    Point,
    Polyline,
    Shape,
    Words,
    cross,
    rectangle,
    rows_of_labels,
)
from raysim.workshop.fixings import Held
from raysim.workshop.grid import Grid
from raysim.workshop.panels import GapLine, Panel, Place

LETTERS = 45.0  # heights of a letter along the longer side of a panel
LETTER_WIDTH = 0.62  # of a digit, in heights
WITH_HOLE = {Held.HOLE: "cable_hole_mm", Held.HOOK: "hook_hole_mm"}


def hole_diameter(place: Place, grid: Grid) -> int | None:
    """Diameter (steps) of the hole that a place gets, None where it gets none (definition)."""
    key = WITH_HOLE.get(place.mark.held)
    if key is None or not place.mark.wall:
        return None
    return grid.steps(0.001 * assumptions()[key].value)


def panel_drawing(panel: Panel, grid: Grid) -> Drawing:
    """The drawing of a panel, in steps."""
    w, h = panel.outline
    letter = max(w, h) / LETTERS
    shapes = panel_lines(panel)
    for place in panel.places:
        shapes += _place(panel, place, letter, grid)
    for (x, y), words in panel.tags.items():
        beside = (x + 0.8 * letter, y + 0.8 * letter)
        shapes.append(Words(Layer.WORDS, beside, words, letter, "start"))
    shapes += _edges(panel, letter)
    measures, room = _measures(panel, letter, grid)
    low = (-room[0] - letter, -room[1] - letter)
    return Drawing(
        panel.wall,
        f"{panel.wall}{', the door' if panel.opens else ''}, seen from inside",
        low,
        (w + 2.2 * letter, h + 2.2 * letter),
        tuple(shapes + measures),
        (
            *(place_words(panel, place, grid) for place in panel.places),
            *(gap_words(panel, line, grid) for line in panel.gaps),
        ),
    )


def panel_lines(panel: Panel) -> list[Shape]:
    """The edge of a panel, a circle for the end of a drum; where its inside begins; its gaps."""
    (w, h), (left, below) = panel.outline, panel.margin
    shapes: list[Shape] = [rectangle(Layer.OUTLINE, 0, 0, w, h)]
    if panel.frame.is_disc:
        shapes = [Circle(Layer.OUTLINE, (0.5 * w, 0.5 * h), w)]
    if panel.margin != (0, 0):
        shapes.append(rectangle(Layer.INSIDE, left, below, *panel.frame.size))
    for line in panel.gaps:
        shapes.append(Polyline(Layer.GAP, tuple((u + left, v + below) for u, v in line.points)))
    return shapes


def _place(panel: Panel, place: Place, letter: float, grid: Grid) -> Iterator[Shape]:
    at = panel.from_edges(place)
    diameter = hole_diameter(place, grid)
    if diameter is not None:
        yield Circle(Layer.HOLE, at, diameter, place.tag)
        yield from cross(Layer.MARK, at, 0.5 * diameter + 0.5 * letter)
    else:
        yield Circle(Layer.MARK, at, 1.2 * letter, place.tag)
        yield from cross(Layer.MARK, at, 0.9 * letter)


def _edges(panel: Panel, letter: float) -> Iterator[Shape]:
    """Names of the walls that the edges meet, and a mark in the lower left corner."""
    w, h = panel.outline
    beside = panel.frame.edges
    yield Words(Layer.WORDS, (0.5 * w, h + 0.7 * letter), edge_words(beside["upper"]), letter)
    yield Words(Layer.WORDS, (0.5 * w, 0.7 * letter), edge_words(beside["lower"]), letter)
    for edge, x in (("left", 1.5 * letter), ("right", w - 0.7 * letter)):
        yield Words(Layer.WORDS, (x, 0.5 * h), edge_words(beside[edge]), letter, upright=True)


def edge_words(name: str) -> str:
    """What stands at an edge (definition)."""
    return name if name.endswith("line") else f"{name} side"


def _measures(panel: Panel, letter: float, grid: Grid) -> tuple[list[Shape], tuple[float, float]]:
    """Numbers below and at the left of all that is measured, with lines, and the room they take."""
    w, h = panel.outline
    places = [panel.from_edges(place) for place in panel.places]
    shapes: list[Shape] = []
    room = []
    for axis, whole in ((1, h), (0, w)):
        ends: dict[int, float] = {whole: 0.0}
        for place in places:
            ends[place[axis]] = max(ends.get(place[axis], 0.0), place[1 - axis])
        values = sorted(ends)
        wide = [letter * (LETTER_WIDTH * len(grid.text(v)) + 0.5) for v in values]
        rows = rows_of_labels(values, [1.3 * letter] * len(values) if axis else wide)
        deep = (max(wide) + 0.4 * letter) if axis else 1.4 * letter
        for value, row in zip(values, rows, strict=True):
            far = -(0.6 * letter + row * deep)
            line: tuple[Point, Point] = ((ends[value], value), (far, value))
            if axis == 0:
                line = ((value, ends[value]), (value, far))
            shapes.append(Polyline(Layer.MEASURE, line))
            text = grid.text(value)
            if axis:
                at = (far - 0.2 * letter, value - 0.35 * letter)
                shapes.append(Words(Layer.MEASURE, at, text, letter, "end"))
            else:
                shapes.append(Words(Layer.MEASURE, (value, far - letter), text, letter))
        room.append(0.6 * letter + (max(rows) + 1) * deep)
    return shapes, (room[0], room[1])


def place_words(panel: Panel, place: Place, grid: Grid) -> str:
    """What is at a place and where, in one line: the drawing in words."""
    mark, (x, y) = place.mark, panel.from_edges(place)
    where = (
        f"{grid.text(x)} {grid.unit} from the left edge, {grid.text(y)} {grid.unit} from the lower "
        f"edge, {grid.text(place.off)} {grid.unit} off the wall"
    )
    hangs = f" (carries {', '.join(mark.carries)})" if mark.carries else ""
    told = f"{place.tag}: {mark.what}{hangs}: {where}"
    return "; ".join((told, held_words(place, grid), *mark.turned))


def gap_words(panel: Panel, line: GapLine, grid: Grid) -> str:
    """The middle line of a seam in words: width, depth, step, and its points from the edges."""
    gap, text = line.gap, grid.text
    width, depth = (text(grid.steps(length)) for length in (gap.width, gap.depth))
    kind = "straight through"
    if gap.step is not None:
        kind = f"a rebate with a step of {text(grid.steps(gap.step))} {grid.unit} at half its depth"
    left, below = panel.margin
    points = "; ".join(f"{text(u + left)}, {text(v + below)}" for u, v in line.points)
    return (
        f'Seam "{gap.name}", {width} {grid.unit} wide, {depth} {grid.unit} deep, {kind}; its '
        f"middle line goes through (from the left, from the lower edge): {points}"
    )


def held_words(place: Place, grid: Grid) -> str:
    """How a thing is held at its place, with the diameter of its hole if it gets one."""
    mark, diameter = place.mark, hole_diameter(place, grid)
    hole = "" if diameter is None else f", hole of {grid.text(diameter)} {grid.unit}"
    if mark.held is Held.HOLE:
        return f"lamp holder on this wall{hole} for its cable, which bends on its way out"
    if mark.held is Held.HOOK and mark.wall:
        return f"fixed to this wall{hole}, filled by its bolt"
    if mark.rests_on:
        return f"no hole here: it is held by {' and '.join(mark.rests_on)}"
    if mark.held is Held.FREE:
        return "no hole here: it hangs free, from a rail or rod"
    if mark.held is Held.SUPPORT:
        return "a clip for the end without a cap, bracketed from this wall; bolts fill their holes"
    return "a bracket from this wall; bolts fill their holes"
