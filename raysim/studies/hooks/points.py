"""Hook points to try: a grid on level planes, or a list, each with some turns."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raysim.base.errors import RaysimError
from raysim.studies.hooks.load import DIGITS, Hang, Load

SPACING = 0.030  # m
MOST_POINTS = 2000
Range = tuple[float, float]


def listed_points(
    points: Sequence[tuple[float, float, float]], turns: Sequence[float]
) -> list[Hang]:
    """Every point (m) with every turn (degrees)."""
    return [Hang(tidy(point), turn) for point in points for turn in turns]


@dataclass(frozen=True)
class Grid:
    """Hook points on level planes, about the middle of the box.

    Attributes
    ----------
    heights : sequence of float
        Of the planes, m; none for the heights of the present hooks.
    spacing : float
        m, along x and along y.
    across, deep : (float, float), optional
        From and to along x and y, m; default the whole box.
    turns : sequence of float
        Degrees about the vertical.
    """

    heights: Sequence[float] = ()
    spacing: float = SPACING
    across: Range | None = None
    deep: Range | None = None
    turns: Sequence[float] = (0.0,)


def grid_points(load: Load, grid: Grid) -> list[Hang]:
    """Points of a grid, and the hooks of the scene as they are.

    Raises
    ------
    RaysimError
        More than MOST_POINTS points.
    """
    low, high = load.scene.triangles.box
    planes = list(grid.heights) or sorted({hang.at[2] for hang in load.now}, reverse=True)
    ranges = (grid.across or (low[0], high[0]), grid.deep or (low[1], high[1]))
    lines = [_line(0.5 * (low[axis] + high[axis]), grid.spacing, *ranges[axis]) for axis in (0, 1)]
    count = len(planes) * len(lines[0]) * len(lines[1]) * len(grid.turns)
    if count > MOST_POINTS:
        raise RaysimError(
            f"{count:,} hook positions are more than {MOST_POINTS:,}. Mend: a larger --spacing, or "
            "--x and --y to look at part of the box"
        )
    points = [(x, y, z) for z in planes for y in lines[1] for x in lines[0]]
    now = [hang for hang in load.now if _is_within(hang, planes, ranges)]
    return list(dict.fromkeys([*listed_points(points, grid.turns), *now]))


def _line(middle: float, spacing: float, low: float, high: float) -> list[float]:
    """Values `spacing` apart from low to high, one of them in the middle."""
    first = int(np.ceil((low - middle) / spacing - 1e-9))
    last = int(np.floor((high - middle) / spacing + 1e-9))
    return [middle + k * spacing for k in range(first, last + 1)]


def _is_within(hang: Hang, planes: Sequence[float], ranges: tuple[Range, Range]) -> bool:
    inside = all(low <= hang.at[k] <= high for k, (low, high) in enumerate(ranges))
    return inside and any(abs(hang.at[2] - z) < 1e-6 for z in planes)


def tidy(point: Sequence[float]) -> tuple[float, float, float]:
    """A point (m) without meaningless digits."""
    x, y, z = (round(float(value), DIGITS + 3) for value in point)
    return x, y, z
