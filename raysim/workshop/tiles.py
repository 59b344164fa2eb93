"""A drawing cut into sheets of paper that are printed 1:1 and joined by crosses.

The tiles of a drawing lie in rows and columns a pitch apart and overlap by `OVERLAP`. A cross is
where four of them meet, in the middle of the overlap: on each it is the same point of the panel.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from raysim.workshop.drawing import Point
from raysim.workshop.panels import Panel

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # mm
OVERLAP = 0.010  # m
MARGIN = 0.010  # m: what a printer leaves blank at each edge of the paper
HEAD = 0.034  # m at the top of each tile: what it belongs to, and the scale


@dataclass(frozen=True)
class Tile:
    """A piece of a drawing in a column and a row from the lower left; lengths in steps."""

    column: int
    row: int
    low: Point
    size: Point
    crosses: tuple[Point, ...]

    @property
    def name(self) -> str:
        """Its column as a letter, its row as a number: B2 is right of A2 (definition)."""
        return f"{chr(ord('A') + self.column)}{self.row + 1}"


def panel_tiles(panel: Panel, step: float, paper: tuple[float, float]) -> tuple[Tile, ...]:
    """Tiles of what is fixed to a panel; what hangs before it is not drilled (definition)."""
    places = [panel.from_edges(place) for place in panel.places if place.mark.wall]
    return tiles(panel.outline, places, paper, step)


def tiles(
    size: Point, places: Iterable[Point], paper: tuple[float, float], step: float
) -> tuple[Tile, ...]:
    """Tiles of a panel that hold its places, and lead from each to its left and lower edge.

    Parameters
    ----------
    size : (float, float)
        Width and height of the panel, steps, with its lower left corner at the origin.
    places : iterable of (float, float)
        What is to be drilled or marked, steps.
    paper : (float, float)
        Width and height of a sheet of paper, m.
    step : float
        Length of a step, m.

    Source: definition.
    """
    across = (paper[0] - 2.0 * MARGIN) / step
    up = (paper[1] - 2.0 * MARGIN - HEAD) / step
    lap = OVERLAP / step
    pitch = (across - lap, up - lap)
    wanted = set()
    for x, y in places:
        column, row = (max(0, math.ceil(at / p) - 1) for at, p in zip((x, y), pitch, strict=True))
        wanted |= {(k, row) for k in range(column + 1)} | {(column, k) for k in range(row + 1)}
    found = []
    for column, row in sorted(wanted, key=lambda one: (one[1], one[0])):
        low = (column * pitch[0] - 0.5 * lap, row * pitch[1] - 0.5 * lap)
        crosses = tuple(
            ((column + i) * pitch[0], (row + j) * pitch[1]) for j in (0, 1) for i in (0, 1)
        )
        found.append(Tile(column, row, low, (across, up), crosses))
    return tuple(found)
