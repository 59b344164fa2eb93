"""Lengths on a drawing: from its left edge below it, from its lower edge at its left."""

from collections.abc import Iterable, Sequence

from raysim.workshop.drawing import Layer, Point, Polyline, Shape, Words
from raysim.workshop.grid import Grid

LETTER_WIDTH = 0.62  # of a digit, in heights
Steps2 = tuple[int, int]


def measured(
    size: Steps2,
    places: Sequence[Steps2],
    letter: float,
    grid: Grid,
    *,
    clear: tuple[float, float] = (0.0, 0.0),
) -> tuple[list[Shape], Point]:
    """Numbers of all places and of the whole, with lines to them, and the room they take.

    Parameters
    ----------
    size : (int, int)
        Width and height of what is drawn, steps.
    places : sequence of (int, int)
        From its left and from its lower edge, steps.
    clear : (float, float)
        How far below it, and left of it, the first numbers stand, steps.
    letter : float
        Height of a letter, steps.

    Source: definition.
    """
    shapes: list[Shape] = []
    words: list[Shape] = []  # after all lines, so that none strikes through them
    room: list[float] = []
    for axis in (0, 1):
        ends: dict[int, float] = {size[axis]: 0.0}
        for place in places:
            ends[place[axis]] = max(ends.get(place[axis], 0.0), place[1 - axis])
        values = sorted(ends)
        wide = [letter * (LETTER_WIDTH * len(grid.text(v)) + 0.5) for v in values]
        rows = rows_of_labels(values, [1.3 * letter] * len(values) if axis else wide)
        deep = (max(wide) + 0.4 * letter) if axis else 1.4 * letter
        for value, row in zip(values, rows, strict=True):
            far = -(clear[axis] + 0.6 * letter + row * deep)
            line = (
                ((ends[value], value), (far, value))
                if axis
                else ((value, ends[value]), (value, far))
            )
            shapes.append(Polyline(Layer.MEASURE, line))
            at: Point = (value, far - letter)
            anchor = "middle"
            if axis:
                at, anchor = (far - 0.2 * letter, value - 0.35 * letter), "end"
            words.append(Words(Layer.MEASURE, at, grid.text(value), letter, anchor))
        room.append(clear[axis] + 0.6 * letter + (max(rows) + 1) * deep)
    return [*shapes, *words], (room[1], room[0])


def rows_of_labels(places: Sequence[float], widths: Iterable[float]) -> list[int]:
    """In which row each of some rising places is labelled, so that no two labels overlap.

    Row 0 is the nearest; a label takes the first row that is free at its place.
    """
    ends: list[float] = []
    rows = []
    for place, width in zip(places, widths, strict=True):
        row = next((k for k, end in enumerate(ends) if end <= place - 0.5 * width), len(ends))
        ends[row : row + 1] = [place + 0.5 * width]
        rows.append(row)
    return rows
