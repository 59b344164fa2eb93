"""The box unfolded like a carton: all panels on one drawing, where they meet in the box."""

from collections.abc import Sequence

from raysim.workshop.drawing import Circle, Drawing, Layer, Shape, Words, rectangle
from raysim.workshop.frames import Steps3, net
from raysim.workshop.grid import Grid
from raysim.workshop.panels import Panel


def net_drawing(panels: Sequence[Panel], inside: Steps3, grid: Grid) -> Drawing:
    """The insides of all panels of a box as one net, seen from inside, with their places; steps."""
    corners = net(inside)
    ends = [
        (x + panel.frame.size[0], y + panel.frame.size[1])
        for panel in panels
        for x, y in [corners[panel.wall]]
    ]
    w, h = max(x for x, _ in ends), max(y for _, y in ends)
    letter = max(w, h) / 60.0
    shapes: list[Shape] = []
    for panel in panels:
        (x, y), (a, b) = corners[panel.wall], panel.frame.size
        shapes.append(rectangle(Layer.OUTLINE, x, y, a, b))
        name = f"{panel.wall} (door)" if panel.opens else panel.wall
        told = f"{name}, {grid.text(a)} x {grid.text(b)}"
        small = min(letter, a / (0.58 * len(told)))
        at = (x + 0.5 * small, y + 0.5 * small)
        shapes.append(Words(Layer.WORDS, at, told, small, "start"))
        for place in panel.places:
            at = (x + place.u, y + place.v)
            shapes.append(Circle(Layer.MARK, at, 0.8 * letter, place.tag))
        for (u, v), words in panel.tags.items():
            at = (x + u - panel.margin[0], y + v - panel.margin[1])
            beside = (at[0] + 0.6 * letter, at[1] + 0.6 * letter)
            shapes.append(Words(Layer.WORDS, beside, words, 0.8 * letter, "start"))
    high = (w + letter, h + letter)
    return Drawing(
        "net", "the box unfolded, seen from inside", (-letter, -letter), high, tuple(shapes)
    )
