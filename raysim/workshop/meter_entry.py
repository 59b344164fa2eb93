"""Where the cable of the meter's head leaves a box: far from lamps, hooks and edges."""

from collections.abc import Iterator, Sequence
from itertools import product

import numpy as np

from raysim.scene.file.written import SceneAsWritten
from raysim.workshop.fixings import Held, Mark
from raysim.workshop.frames import frames
from raysim.workshop.grid import Grid

WALLS = ("right", "left", "back")
PARTS = (0.25, 0.5, 0.75)  # of a wall, across and up (own choice)


def meter_entry(scene: SceneAsWritten, marks: Sequence[Mark], grid: Grid) -> tuple[Mark, ...]:
    """The place of the entry, on the grid; none in a vessel, where only words say it.

    Of nine places on each wall, the one farthest from all lamps and fixings (own choice).
    """
    if scene.chamber.inside is None:
        return ()
    taken = [np.array(mark.at) for mark in marks]
    taken += [x for lamp in scene.lamp for x in np.linspace(lamp.start, lamp.end, 9)]
    best, wall = max(
        _places(scene.chamber.inside, grid),
        key=lambda one: round(min((_away(one[0], x) for x in taken), default=0.0), 6),
    )
    told = "cable of the meter's head"
    return (Mark("meter", "entry", best, told, Held.ENTRY, wall, 0.0),)


def _places(
    inside: tuple[float, float, float], grid: Grid
) -> Iterator[tuple[tuple[float, float, float], str]]:
    w, d, h = map(grid.steps, inside)
    walls = frames((w, d, h), grid)
    for wall, right, up in product(WALLS, PARTS, PARTS):
        across, high = walls[wall].size
        yield walls[wall].at(round(right * across), round(up * high), 0), wall


def _away(at: tuple[float, float, float], other: np.ndarray) -> float:
    return float(np.linalg.norm(np.array(at) - other))
