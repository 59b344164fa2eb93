"""The drawing of one panel, seen from inside: outline, lining, holes, marks, gaps, all measured.

Every place has its distance from the left edge of the panel printed below it, and that from the
lower edge at its left, in line with it. The notes say the same in words, with what is fixed there.
Where the thickness t of the sheet is not known, distances are from the inside faces, and the edge
that is cut is drawn t outside of them, not to scale.
"""

from collections.abc import Iterable, Iterator, Sequence

from raysim.library.assumptions import assumptions
from raysim.workshop.drawing import (
    Circle,
    Drawing,
    Layer,
    Polyline,
    Shape,
    Words,
    cross,
    rectangle,
)
from raysim.workshop.fixings import Held, Mark
from raysim.workshop.grid import Grid
from raysim.workshop.labels import labels
from raysim.workshop.measures import LETTER_WIDTH, measured
from raysim.workshop.panels import GapLine, Panel, Place

LETTERS = 38.0  # heights of a letter along the longest side of all panels, which have one scale
OUT = 1.6  # heights of a letter that t is drawn as where nobody knows it
WHERE = (0.5, 0.3, 0.7, 0.15, 0.85, 0.4, 0.6)  # of an edge: where its neighbour's name may stand
WITH_HOLE = {
    Held.HOLE: "cable_hole_mm",
    Held.HOOK: "hook_hole_mm",
    Held.ENTRY: "meter_hole_mm",
}


def hole_diameter(place: Place, grid: Grid) -> int | None:
    """Diameter (steps) of the hole that a place gets, None where it gets none (definition)."""
    key = WITH_HOLE.get(place.mark.held)
    if key is None or not place.mark.wall:
        return None
    return grid.steps(0.001 * assumptions()[key].value)


def letter_of(panels: Sequence[Panel]) -> float:
    """Height of a letter (steps) on the drawings of panels, one for all (definition)."""
    return max((max(panel.outline) for panel in panels), default=0) / LETTERS


def panel_drawing(panel: Panel, grid: Grid, letter: float) -> Drawing:
    """The drawing of a panel, in steps, with letters of this height (steps)."""
    w, h = panel.outline
    shapes = [*panel_lines(panel), *_cut_edge(panel, letter)]
    for place in panel.places:
        shapes += _place(panel, place, letter, grid)
    left, below = panel.margin
    places = [panel.from_edges(place) for place in panel.places]
    corners = [(u + left, v + below) for line in panel.gaps for u, v in line.points]
    across, up = (OUT * letter * beyond for beyond in panel.open_edges)
    points = [*places, *corners]
    measures, room = measured(panel.outline, points, letter, grid, clear=(up, across))
    shapes += measures
    shapes += _edges(panel, letter, points)
    inside = ((0.3 * letter, 0.3 * letter), (w - 0.3 * letter, h - 0.3 * letter))
    shapes += labels(beside_places(panel, grid), letter, _clear(shapes), inside)
    low = (-room[0] - letter, -room[1] - letter)
    return Drawing(
        panel.wall,
        f"{panel.wall}{', the door' if panel.opens else ''}, seen from inside",
        low,
        (w + 1.6 * letter, h + max(up, 0.4 * letter) + 0.4 * letter),
        tuple(shapes),
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


def _cut_edge(panel: Panel, letter: float) -> Iterator[Shape]:
    """The edge that is cut where t is not known: t outside the inside faces, not to scale."""
    across, up = (OUT * letter * beyond for beyond in panel.open_edges)
    if across:
        w, h = panel.outline
        yield rectangle(Layer.CUT, -across, -up, w + 2.0 * across, h + 2.0 * up)
        yield Words(Layer.MEASURE, (w + 0.5 * across, 0.5 * h), "t", letter)
        if up:
            yield Words(Layer.MEASURE, (0.85 * w, h + 0.3 * up), "t", letter)


def _clear(shapes: Sequence[Shape]) -> list[Shape]:
    """Shapes with the room of their words as rectangles, which other words keep clear of."""
    found = list(shapes)
    for shape in shapes:
        if isinstance(shape, Words) and shape.layer is Layer.WORDS:
            (x, y), long = shape.at, LETTER_WIDTH * len(shape.text) * shape.height
            a, b = (shape.height, long) if shape.upright else (long, shape.height)
            low = (x - a, y - 0.5 * b) if shape.upright else (x - 0.5 * a, y)
            found.append(rectangle(Layer.WORDS, *low, a, b))
    return found


def _place(panel: Panel, place: Place, letter: float, grid: Grid) -> Iterator[Shape]:
    at = panel.from_edges(place)
    diameter = hole_diameter(place, grid)
    if diameter is not None:
        yield Circle(Layer.HOLE, at, diameter, place.tag)
    else:
        yield from cross(Layer.MARK, at, 0.6 * letter, slanting=True)


def beside_places(panel: Panel, grid: Grid) -> dict[tuple[int, int], str]:
    """What stands beside each point of a panel: letters, and diameter or how far off the wall."""
    found: dict[tuple[int, int], list[str]] = {}
    for place in panel.places:
        diameter = hole_diameter(place, grid)
        more = f"+{grid.text(place.off)}" if diameter is None else f"\u2300{grid.text(diameter)}"
        found.setdefault(panel.from_edges(place), []).append(f"{place.tag} {more}")
    return {at: ", ".join(words) for at, words in found.items()}


def _edges(panel: Panel, letter: float, points: Sequence[tuple[int, int]]) -> Iterator[Shape]:
    """Names of the walls that the edges meet, where no line to a measure crosses them."""
    w, h = panel.outline
    names = {edge: edge_words(name) for edge, name in panel.frame.edges.items()}
    if panel.frame.is_disc:  # within the circle, near its edge
        yield Words(Layer.WORDS, (0.5 * w, 0.86 * h), names["upper"], letter)
        yield Words(Layer.WORDS, (0.5 * w, 0.1 * h), names["lower"], letter)
        yield Words(Layer.WORDS, (0.12 * w, 0.5 * h), names["left"], letter, upright=True)
        yield Words(Layer.WORDS, (0.93 * w, 0.5 * h), names["right"], letter, upright=True)
        return
    x, y = (_free(side, (point[axis] for point in points)) for axis, side in ((0, w), (1, h)))
    yield Words(Layer.WORDS, (0.5 * w, h - 1.5 * letter), names["upper"], letter)
    yield Words(Layer.WORDS, (x, 0.6 * letter), names["lower"], letter)
    yield Words(Layer.WORDS, (1.5 * letter, y), names["left"], letter, upright=True)
    yield Words(Layer.WORDS, (w - 0.6 * letter, 0.5 * h), names["right"], letter, upright=True)


def _free(side: int, taken: Iterable[int]) -> float:
    """The place along a side that is farthest from those that are taken (definition)."""
    ends = (0, *taken, side)
    return max((part * side for part in WHERE), key=lambda at: min(abs(at - end) for end in ends))


def edge_words(name: str) -> str:
    """What stands at an edge (definition)."""
    return name if name.endswith("line") else f"{name} side"


def place_words(panel: Panel, place: Place, grid: Grid) -> str:
    """What is at a place and where, in one line: the drawing in words."""
    mark, (x, y) = place.mark, panel.from_edges(place)
    unit, edge = grid.unit, panel.measured_from
    where = (
        f"{grid.text(x)} {unit} from the left {edge}, {grid.text(y)} {unit} from the lower {edge}, "
        f"{grid.text(place.off)} {unit} off the wall"
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
        kind = f"a rabbet with a step of {text(grid.steps(gap.step))} {grid.unit} at half its depth"
    left, below = panel.margin
    points = "; ".join(f"{text(u + left)}, {text(v + below)}" for u, v in line.points)
    return (
        f'Seam "{gap.name}", {width} {grid.unit} wide, {depth} {grid.unit} deep, {kind}; its '
        f"middle line goes through (from the left, from the lower {panel.measured_from}): {points}"
    )


def held_alike(panel: Panel, grid: Grid) -> list[str]:
    """How things are held, those that are held alike in one line with their letters."""
    found: dict[str, list[str]] = {}
    for place in panel.places:
        found.setdefault(held_words(place, grid), []).append(place.tag)
    turned = [f"{p.tag}: {'; '.join(p.mark.turned)}" for p in panel.places if p.mark.turned]
    return [*(f"{', '.join(tags)}: {words}" for words, tags in found.items()), *turned]


def held_words(place: Place, grid: Grid) -> str:
    """How a thing is held at its place, with the diameter of its hole if it gets one."""
    mark, diameter = place.mark, hole_diameter(place, grid)
    hole = "" if diameter is None else f"hole of {grid.text(diameter)} {grid.unit}"
    if mark.held is Held.HOLE:
        return f"lamp holder on this wall, {hole} for its cable{holder_words(mark, grid)}"
    if mark.held is Held.HOOK and mark.wall:
        piece = f" by a distance piece of {grid.text(place.off)} {grid.unit}" if place.off else ""
        return f"fixed to this wall{piece}, {hole}, filled by its bolt"
    if mark.held is Held.ENTRY:
        return f"{hole}, or as its plug needs, under an entry with two bends; capped when unused"
    if mark.held is Held.ENDS:
        return "no hole here: it is held at its two ends"
    if mark.rests_on:
        return f"no hole here: it is held by {' and '.join(mark.rests_on)}"
    if mark.held is Held.FREE:
        return "no hole here: nothing that carries it is drawn"
    if mark.held is Held.SUPPORT:
        return "a clip for the end without a cap, bracketed from this wall; bolts fill their holes"
    return "a bracket from this wall; bolts fill their holes"


def holder_words(mark: Mark, grid: Grid) -> str:
    """How far the end of the lamp is off the wall: what its holder must bridge."""
    if mark.room is None:
        return ""
    if mark.room < 0.0:
        return "; a lamp of this type is too long for this place: it would go through the wall"
    room = grid.told(mark.room)
    return f"; its holder keeps the end of the lamp {room} {grid.unit} off the wall"
