"""Boxes for a load: rows of hooks with clearances, and the inside that they need."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from raysim.starter.hooks import RAIL_RADIUS_MM, hook
from raysim.studies.design.shapes import Hung
from raysim.studies.design.wish import Wish
from raysim.workshop.grid import Grid, grid_of

Size = tuple[float, float, float]
# Insides are whole steps of these, m, and places whole steps of the grid of the workshop.
STEPS = {"mm": 0.005, "in": 0.25 * 0.0254}
DIGITS = 9  # decimals of a m
# What is kept free is our own choice, throughout.
GAPS = (0.02, 0.05, 0.09)  # m between neighbours in a row
LEVEL_GAP = 0.03  # m between what hangs above and what hangs below
FLOOR_GAP, CEILING_GAP = 0.04, 0.045  # m below the lowest point, and above the hook points
NARROW, WIDE = 0.035, 0.09  # m from the load to a wall, without and with lamps before it
MARGINS = ((NARROW, WIDE), (WIDE, NARROW), (WIDE, WIDE))  # at the sides; before and behind
BEHIND = 0.054  # m from a hook point to its rail, as its mesh is drawn
RAIL = 0.001 * RAIL_RADIUS_MM
HOOK_REAR = 0.001 * float(hook().bounds[1, 1])
MOST_DEEP = 6  # rows behind each other


@dataclass(frozen=True)
class Hooks:
    """A row of hooks along x: the first hook point, m, and how many."""

    first: Size
    count: int


@dataclass(frozen=True)
class Box:
    """An inside (m), and rows of hooks in it.

    `margins` (m) are what is free between load and walls: at the sides; before and behind. All is
    on a `grid` that a workshop can measure.
    """

    inside: Size
    rows: tuple[Hooks, ...]
    spacing: float
    gap: float
    margins: tuple[float, float]
    grid: Grid

    def outside(self, thickness: float) -> Size:
        """Outer size, m (definition)."""
        w, d, h = (side + 2.0 * thickness for side in self.inside)
        return w, d, h


def boxes(wish: Wish, hung: tuple[Hung, ...]) -> Iterator[Box]:
    """Boxes for the load of a wish, whatever its limits say of their size."""
    low, high = (np.array([getattr(one, end) for one in hung]) for end in ("low", "high"))
    ends, grid = (low.min(axis=0), high.max(axis=0)), grid_of(wish.units)
    for arrangement, gap, margins in product(_arrangements(wish.load.number), GAPS, MARGINS):
        if gap == GAPS[0] or arrangement[:2] != (1, 1):  # a column has no neighbours
            yield _box(wish.load.number, ends, arrangement, gap=gap, margins=margins, grid=grid)


def _arrangements(number: int) -> Iterator[tuple[int, int, int]]:
    """How many hooks across, rows behind each other, and levels: none can do with less."""
    for across, deep in product(range(1, number + 1), range(1, MOST_DEEP + 1)):
        levels = math.ceil(number / (across * deep))
        fewer = math.ceil(number / (max(across - 1, 1) * deep)) == levels and across > 1
        shallower = math.ceil(number / (across * max(deep - 1, 1))) == levels and deep > 1
        if not fewer and not shallower:
            yield across, deep, levels


def _box(
    number: int,
    ends: tuple[np.ndarray, np.ndarray],
    arrangement: tuple[int, int, int],
    *,
    gap: float,
    margins: tuple[float, float],
    grid: Grid,
) -> Box:
    """The box of an arrangement; `ends` (3,), m, hold whatever hangs on a hook."""
    across, deep, levels = arrangement
    low, high = ends
    side, fore = margins
    rear = max(float(high[1]), HOOK_REAR, BEHIND + RAIL)
    wide, high_up = float(high[0] - low[0]), float(high[2] - low[2])
    spacing, level = up(wide + gap, grid), up(high_up + LEVEL_GAP, grid)
    pitch = up(rear - float(low[1]) + gap, grid)
    inside = (
        up((across - 1) * spacing + wide + 2.0 * side, grid),
        up((deep - 1) * pitch + rear - float(low[1]) + 2.0 * fore, grid),
        up((levels - 1) * level - float(low[2]) + FLOOR_GAP + CEILING_GAP, grid),
    )
    left = 0.5 * (inside[0] - (across - 1) * spacing - float(high[0] + low[0]))
    front = 0.5 * (inside[1] - (deep - 1) * pitch - rear - float(low[1]))
    rows, rest = [], number
    for down, back in product(range(levels), range(deep)):
        count = min(across, rest)
        rest -= count
        if count:
            x = left + 0.5 * (across - count) * spacing
            at = (x, front + back * pitch, inside[2] - CEILING_GAP - down * level)
            rows.append(Hooks(measurable(at, grid), count))
    return Box(inside, tuple(rows), spacing, gap, margins, grid)


def up(length: float, grid: Grid) -> float:
    """A length rounded up to whole steps of a box, m (definition)."""
    step = STEPS[grid.unit]
    return round(math.ceil(length / step - 1e-9) * step, DIGITS)


def size_words(size: Size, grid: Grid) -> str:
    """Width, depth and height as printed (definition)."""
    sides = (grid.told(side).replace(" ", "\u00a0") for side in size)
    return f"{' x '.join(sides)} {grid.unit}"


def measurable(at: Size, grid: Grid) -> Size:
    """A place on the grid, m (definition)."""
    x, y, z = (round(round(value / grid.step) * grid.step, DIGITS) for value in at)
    return x, y, z
