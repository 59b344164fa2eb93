"""The invented respirators to choose from, by name: two kinds, two sizes, with and without straps.

Those that are folded shut or have a fallen strap are mistakes to look at, not shapes to plan with.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import NamedTuple

from raysim.starter.cup import cup_respirator
from raysim.starter.flat_fold import flat_fold
from raysim.starter.sheets import Parts

SMALL = 0.87  # factor from the large size to the small one, invented


class Shape(NamedTuple):
    """A respirator to choose: the name of its mesh file, and what makes its parts."""

    file: str
    make: Callable[[], Parts]


SHAPES = {
    "cup": Shape("cup.obj", cup_respirator),
    "small cup": Shape("cup_small.obj", partial(cup_respirator, SMALL)),
    "cup without straps": Shape("cup_bare.obj", partial(cup_respirator, 1.0, False)),
    "small cup without straps": Shape("cup_small_bare.obj", partial(cup_respirator, SMALL, False)),
    "flat fold": Shape("flat_fold_open.obj", partial(flat_fold, 1.0)),
    "small flat fold": Shape("flat_fold_small.obj", partial(flat_fold, 1.0, SMALL)),
    "flat fold without straps": Shape("flat_fold_bare.obj", partial(flat_fold, 1.0, 1.0, False)),
    "small flat fold without straps": Shape(
        "flat_fold_small_bare.obj", partial(flat_fold, 1.0, SMALL, False)
    ),
}
