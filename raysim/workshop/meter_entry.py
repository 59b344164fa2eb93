"""Where the cable of the meter's head leaves a box: far from lamps, hooks and load."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import product

import numpy as np

from raysim.scene.file.written import SceneAsWritten
from raysim.workshop.fixings import Held, Mark
from raysim.workshop.frames import frames
from raysim.workshop.grid import Grid
from raysim.workshop.shapes import Shape

WALLS = ("right", "left")  # the back may come to stand against a wall
PARTS = (0.25, 0.5, 0.75)  # of a wall, across and up (own choice)


def meter_entry(
    scene: SceneAsWritten, marks: Sequence[Mark], shapes: Mapping[str, Shape], grid: Grid
) -> tuple[Mark, ...]:
    """The place of the entry, on the grid; none in a vessel, where only words say it.

    Of nine places on each side wall, the one farthest from lamps, fixings and load (own choice).
    """
    if scene.chamber.inside is None:
        return ()
    taken = [np.array(mark.at) for mark in marks]
    taken += [0.5 * np.add(shape.low, shape.high) for shape in shapes.values()]
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
