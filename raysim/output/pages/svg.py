"""A drawing as SVG: inside a page, or as a file that is true to scale."""

from pathlib import Path
from typing import Any

from raysim.output.pages.environment import rendered
from raysim.workshop.drawing import Circle, Drawing, Layer, Polyline, Shape
from raysim.workshop.grid import Grid

LINE = 0.0002  # m: a thin line of what is true to scale
WIDE = 0.52  # width of a letter in heights, rather more than the mean
INK, DEEP, RED, ORANGE, GREY = "#1b1f24", "#17465a", "#8f1d1d", "#b36b00", "#7a828c"
BLUE = "#2b50b8"
# Colour of each layer, thickness of its lines in thin lines, and its dashes likewise.
LOOKS: dict[Layer, tuple[str, float, tuple[float, ...]]] = {
    Layer.OUTLINE: (INK, 3.0, ()),
    Layer.INSIDE: (DEEP, 1.0, (6.0,)),
    Layer.CUT: (INK, 1.6, (4.0, 4.0)),
    Layer.HOLE: (RED, 2.0, ()),
    Layer.MARK: (INK, 1.0, ()),
    Layer.GAP: (ORANGE, 1.2, (12.0, 5.0)),
    Layer.TUBE: (DEEP, 2.0, ()),
    Layer.THING: (GREY, 1.6, ()),
    Layer.MEASURE: (GREY, 0.7, ()),
}
BELOW = 1.6  # heights of a letter from note to note


def svg(drawing: Drawing, grid: Grid | None = None, line: float | None = None) -> Any:
    """A drawing as an SVG element, its coordinates in steps; true to scale where a grid is given.

    The names in it are escaped. In a page it is as wide as its place. `line` is how thick a thin
    line is, steps.
    """
    from markupsafe import Markup

    letter = max(drawing.size) / 60.0
    notes = drawing.notes if grid is not None else ()
    small = min([letter, *(drawing.size[0] / (WIDE * len(words)) for words in notes)])
    low = drawing.low[1] - BELOW * small * (len(notes) + 1) * bool(notes)
    width, height = drawing.size[0], drawing.high[1] - low
    text = rendered(
        "drawing.svg.j2",
        name=drawing.name,
        looks=LOOKS,
        title=drawing.title,
        box=f"{drawing.low[0]:.10g} {-drawing.high[1]:.10g} {width:.10g} {height:.10g}",
        real=None if grid is None else [f"{1000.0 * grid.step * x:.6g}mm" for x in (width, height)],
        shapes=[(_kind(shape), shape) for shape in drawing.shapes],
        stroke=letter / 14.0 if line is None else line,
        notes=[
            (drawing.low[1] - BELOW * small * (row + 1), words) for row, words in enumerate(notes)
        ],
        left=drawing.low[0],
        letter=small,
    )
    return Markup(text)  # noqa: S704 - the template escaped it


def _kind(shape: Shape) -> str:
    if isinstance(shape, Polyline):
        return "path"
    return "circle" if isinstance(shape, Circle) else "words"


def write_svg(drawing: Drawing, grid: Grid, path: Path) -> None:
    """Write a drawing as an SVG file, true to scale, with its notes below it."""
    drawn = svg(drawing, grid, LINE / grid.step)
    path.write_text(f'<?xml version="1.0" encoding="UTF-8"?>\n{drawn}', "utf-8")
