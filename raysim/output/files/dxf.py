"""A drawing as DXF (AutoCAD 2010), in mm or inches: what saws, mills and laser cutters read."""

from pathlib import Path
from typing import Any

from raysim.workshop.drawing import Circle, Drawing, Layer, Polyline, Words
from raysim.workshop.grid import Grid

# Colours of AutoCAD's index (1 red, 5 blue, 7 black or white, 4 cyan, 8 grey, 30 orange).
COLOURS = {Layer.HOLE: 1, Layer.INSIDE: 5, Layer.GAP: 30, Layer.MEASURE: 8, Layer.TUBE: 4}
NOTE_LAYER = "notes"
BELOW = 1.6  # heights of a letter from note to note


def write_dxf(drawing: Drawing, grid: Grid, path: Path) -> None:
    """Write a drawing as a DXF file; its unit is that of the grid, its notes stand below it."""
    from ezdxf import filemanagement, units

    document: Any = filemanagement.new("R2010")
    document.units = units.MM if grid.unit == "mm" else units.IN
    for layer in Layer:
        document.layers.add(layer.value, color=COLOURS.get(layer, 7))
    document.layers.add(NOTE_LAYER, color=7)
    space = document.modelspace()
    for shape in drawing.shapes:
        _add(space, shape, 1.0 / grid.per_unit)
    letter = max(drawing.size) / 60.0
    for row, words in enumerate(drawing.notes, 1):
        at = (drawing.low[0], drawing.low[1] - BELOW * letter * row)
        note = Words(Layer.WORDS, at, words, letter, "start")
        _words(space, note, 1.0 / grid.per_unit, NOTE_LAYER)
    document.saveas(path)


def _add(space: Any, shape: Any, size: float) -> None:
    """Add a shape; `size` is a step in units of the file, a power of two: nothing is rounded."""
    if isinstance(shape, Polyline):
        points = [(x * size, y * size) for x, y in shape.points]
        attributes = {"layer": shape.layer.value}
        space.add_lwpolyline(points, close=shape.closed, dxfattribs=attributes)
    elif isinstance(shape, Circle):
        x, y = shape.centre
        attributes = {"layer": shape.layer.value}
        space.add_circle((x * size, y * size), 0.5 * shape.diameter * size, dxfattribs=attributes)
    else:
        _words(space, shape, size, shape.layer.value)


def _words(space: Any, words: Words, size: float, layer: str) -> None:
    from ezdxf.enums import TextEntityAlignment as Align

    align = {"start": Align.LEFT, "middle": Align.CENTER, "end": Align.RIGHT}[words.anchor]
    text = space.add_text(
        plain(words.text),
        height=words.height * size,
        rotation=90.0 if words.upright else 0.0,
        dxfattribs={"layer": layer},
    )
    text.set_placement((words.at[0] * size, words.at[1] * size), align=align)


def plain(text: str) -> str:
    """Words without the codes that readers of DXF obey: "%%c" draws a sign, "^J" ends a line."""
    return text.replace("%%", "% %").replace("^", "^ ")
