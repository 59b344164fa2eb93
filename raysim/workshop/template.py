"""What a drilling template shows of a panel: edges, holes, marks and their letters; no measures.

Where the thickness of the sheet is not known its lines are the inside faces, and say so.
"""

from collections.abc import Iterator

from raysim.workshop.drawing import Circle, Drawing, Layer, Words, cross
from raysim.workshop.grid import Grid
from raysim.workshop.panel_drawing import beside_places, hole_diameter, panel_lines
from raysim.workshop.panels import Panel

LETTER = 0.006  # m
EVERY = 0.16  # m: from words to words along an edge, less than a sheet of paper
REACH = 0.012  # m: half of the cross over each place


def template_drawing(panel: Panel, grid: Grid) -> Drawing:
    """The template of a panel, in steps, with its lower left corner at the origin."""
    w, h = panel.outline
    letter, reach = LETTER / grid.step, REACH / grid.step
    shapes = panel_lines(panel)
    for place in panel.places:
        at = panel.from_edges(place)
        diameter = hole_diameter(place, grid)
        shapes += cross(Layer.MARK, at, reach)
        if diameter is not None:
            shapes.append(Circle(Layer.HOLE, at, diameter, place.tag))
    if panel.measured_from != "edge":
        shapes += _told_edges(panel, grid)
    for (x, y), told in beside_places(panel, grid).items():
        beside = (x + 0.7 * letter, y + 0.7 * letter)
        shapes.append(Words(Layer.WORDS, beside, told, letter, "start"))
    return Drawing(panel.wall, f"template: {panel.wall}", (0, 0), (w, h), tuple(shapes))


def _told_edges(panel: Panel, grid: Grid) -> Iterator[Words]:
    """What the lower and the left line are, often enough for every sheet of paper to say it."""
    letter, (w, h) = LETTER / grid.step, panel.outline
    every = EVERY / grid.step
    for axis, side in enumerate((w, h)):
        words = "inside face: t in from the edge of the panel"
        if not panel.open_edges[1 - axis]:
            words = "edge of the panel"
        for k in range(max(1, int(side / every))):
            along = min((k + 0.5) * every, 0.5 * side if k == 0 else side)
            at = (along, 0.4 * letter) if axis == 0 else (1.2 * letter, along)
            yield Words(Layer.WORDS, at, words, 0.5 * letter, upright=axis == 1)
