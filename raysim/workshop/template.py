"""What a drilling template shows of a panel: edges, holes, marks and their letters; no measures.

Where the thickness of the sheet is not known its lines are the inside faces, and say so.
"""

from raysim.workshop.drawing import Circle, Drawing, Layer, Words, cross
from raysim.workshop.grid import Grid
from raysim.workshop.panel_drawing import beside_places, hole_diameter, panel_lines
from raysim.workshop.panels import Panel

LETTER = 0.006  # m
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
        for spot, turned in (((0.5 * w, 0.4 * letter), False), ((1.2 * letter, 0.5 * h), True)):
            wide = panel.open_edges[0 if turned else 1]
            words = "inside face: t in from the edge of the panel" if wide else "edge of the panel"
            small = 0.5 * letter
            shapes.append(Words(Layer.WORDS, spot, words, small, upright=turned))
    for (x, y), told in beside_places(panel, grid).items():
        beside = (x + 0.7 * letter, y + 0.7 * letter)
        shapes.append(Words(Layer.WORDS, beside, told, letter, "start"))
    return Drawing(panel.wall, f"template: {panel.wall}", (0, 0), (w, h), tuple(shapes))
