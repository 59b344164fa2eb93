"""Places for the lamps of a design, chosen by the study of lamps in place of a rule of thumb."""

from dataclasses import replace

import numpy as np

from raysim.base.errors import RaysimError
from raysim.scene.build import BuiltScene
from raysim.studies.design.boxes import Size, measurable
from raysim.studies.design.places import CHOSEN, Lamps, arc
from raysim.studies.lamps import LampGrid
from raysim.studies.lamps.places import Place
from raysim.studies.lamps.run import best_places
from raysim.transport.options import RunOptions
from raysim.workshop.grid import Grid

CANDIDATES = 100  # places that the study chooses among; own choice, as all here
MOST = 6  # lamps: more of them take the programme too long
PRECISION = 0.2


def chosen_lamps(scene: BuiltScene, lamps: Lamps, grid: Grid, options: RunOptions) -> list[Lamps]:
    """As many lamps as there are, and one fewer, in the places that the study chooses.

    None where there are too many to choose, or where no place has room.
    """
    count = len(lamps.arcs)
    if count > MOST:
        return []
    numbers = [one for one in (count - 1, count) if one]
    try:
        places = LampGrid(most=CANDIDATES)
        found = best_places(scene, numbers, places, precision=PRECISION, options=options)
    except RaysimError:
        return []
    arcs = [tuple(_arc(place, lamps, grid) for place in chosen) for chosen in found.values()]
    return [replace(lamps, axis=CHOSEN, arcs=own) for own in arcs]


def _arc(place: Place, lamps: Lamps, grid: Grid) -> tuple[Size, Size]:
    """A place on the grid of the box (definition)."""
    ends = np.array([place.start, place.end])
    along = int(np.abs(ends[1] - ends[0]).argmax())
    return arc(lamps.kind, along, measurable(ends.mean(axis=0), grid), grid)
