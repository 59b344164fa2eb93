"""The box unfolded like a carton: all panels on one drawing, where they meet in the box."""

from collections.abc import Sequence

from raysim.workshop.drawing import Circle, Drawing, Layer, Point, Shape, Words, rectangle
from raysim.workshop.frames import Steps3, net
from raysim.workshop.grid import Grid
from raysim.workshop.panel_drawing import hole_diameter
from raysim.workshop.panels import Panel


def net_drawing(panels: Sequence[Panel], inside: Steps3, grid: Grid) -> Drawing:
    """The insides of all panels of a box as one net, seen from inside, with their holes; steps."""
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
        told = f"{grid.text(a)} x {grid.text(b)}"
        small = min(letter, a / (0.58 * max(map(len, (name, told)))))
        drilled: dict[Point, list[str]] = {}
        for place in panel.places:
            if hole_diameter(place, grid) is not None:
                drilled.setdefault((x + place.u, y + place.v), []).append(place.tag)
        free = [y + part * b for part in (0.5, 0.3, 0.7, 0.4, 0.6)]
        clear = [up for up in free if all(abs(at[1] - up) > 2.5 * letter for at in drilled)]
        for row, words in enumerate((name, told)):
            middle = (x + 0.5 * a, [*clear, free[0]][0] + (0.2 - 1.3 * row) * small)
            shapes.append(Words(Layer.WORDS, middle, words, small))
        for at, found in drilled.items():
            shapes.append(Circle(Layer.HOLE, at, 0.7 * letter, found[0]))
            across = -0.6 if at[0] > x + 0.5 * a else 0.6
            beside = (at[0] + across * letter, at[1] + 0.5 * letter)
            anchor = "start" if across > 0 else "end"
            shapes.append(Words(Layer.WORDS, beside, ", ".join(found), 0.8 * letter, anchor))
    high = (w + letter, h + letter)
    return Drawing(
        "net", "the box unfolded, seen from inside", (-letter, -letter), high, tuple(shapes)
    )
