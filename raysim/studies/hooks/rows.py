"""Layouts that a builder would think of first: even rows about the middle, one or more storeys.

A grid seldom holds them, and a greedy search seldom finds them. In a drum, rings as well.
"""

from collections.abc import Callable, Iterator, Sequence
from functools import cache
from itertools import combinations, pairwise, product

import numpy as np

from raysim.studies.hooks.clearances import Room
from raysim.studies.hooks.load import Hang, Layout
from raysim.studies.hooks.points import tidy

SPREADS = (1.0, 0.75, 0.5)  # how far a row of several reaches, as shares of what has room
SHIFTS = (0.0, 0.5, -0.5)  # where a single one hangs, likewise
MOST_DEEP, MOST_STOREYS = 4, 6
Plan = list[tuple[float, float]]  # (x, y) of one storey, m


def rows(number: int, hangs: Sequence[Hang], room: Room, middle: np.ndarray) -> list[Layout]:
    """Even layouts of a number of respirators that keep clear.

    Parameters
    ----------
    hangs : sequence of Hang
        Points of a grid with room: they say at which heights, with which turns and how far out.
    middle : (2,) float64, m
        Of the box, seen from above.
    """

    @cache
    def clear(hang: Hang) -> bool:
        return not room.trouble(hang)

    found: dict[frozenset[Hang], Layout] = {}
    for turn in dict.fromkeys(hang.turn for hang in hangs):
        there = np.array([hang.at for hang in hangs if hang.turn == turn])
        low, high = there.min(axis=0) - 1e-9, there.max(axis=0) + 1e-9
        reach = np.minimum(high[:2] - middle, middle - low[:2])
        if (reach < 0.0).any():
            continue  # only one half of the box is asked for
        heights = sorted(set(there[:, 2].tolist()), reverse=True)[:MOST_STOREYS]
        for storeys, plan in _storeys(number, heights, middle, reach, room.inside is None):
            layout = tuple(Hang(tidy((*at, z)), turn) for z in storeys for at in plan)
            if _fits(layout, clear, room):
                found.setdefault(frozenset(layout), layout)
    return list(found.values())


def _fits(layout: Layout, clear: Callable[[Hang], bool], room: Room) -> bool:
    """Whether all have room and keep clear of each other; neighbours first, who seldom do."""
    return (
        len(set(layout)) == len(layout)
        and all(clear(hang) for hang in layout)
        and all(room.apart(a, b) for a, b in pairwise(layout))
        and all(room.apart(a, b) for a, b in combinations(layout, 2))
    )


def _storeys(
    number: int, heights: Sequence[float], middle: np.ndarray, reach: np.ndarray, is_round: bool
) -> Iterator[tuple[tuple[float, ...], Plan]]:
    """Heights, and the plan that repeats at each of them."""
    for count in range(1, len(heights) + 1):
        if number % count == 0:
            each = number // count
            plans = [
                *_rows(each, middle, reach),
                *(_rings(each, middle, reach) if is_round else []),
            ]
            yield from product(combinations(heights, count), plans)


def _rows(each: int, middle: np.ndarray, reach: np.ndarray) -> list[Plan]:
    plans = []
    for deep in range(1, MOST_DEEP + 1):
        if each % deep == 0:
            lines = [_line(each // deep), _line(deep)]
            for along, across in product(*lines):
                x, y = middle[0] + reach[0] * along, middle[1] + reach[1] * across
                plans.append([(float(a), float(b)) for b in y for a in x])
    return plans


def _line(count: int) -> list[np.ndarray]:
    """Even places from -1 to 1 at the most."""
    if count == 1:
        return [np.array([shift]) for shift in SHIFTS]
    return [spread * np.linspace(-1.0, 1.0, count) for spread in SPREADS]


def _rings(each: int, middle: np.ndarray, reach: np.ndarray) -> list[Plan]:
    if each < 3:
        return []
    plans = []
    for spread, phase in product(SPREADS, (0.0, 0.5)):
        angle = 2.0 * np.pi * (np.arange(each) + phase) / each
        out = spread * float(reach.min())
        x, y = middle[0] + out * np.cos(angle), middle[1] + out * np.sin(angle)
        plans.append(list(zip(x.tolist(), y.tolist(), strict=True)))
    return plans
