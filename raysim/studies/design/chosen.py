"""Places for the lamps of a design, chosen by the study of lamps in place of a rule of thumb."""

from dataclasses import replace

from raysim.base.errors import RaysimError
from raysim.scene.build import BuiltScene
from raysim.studies.design.places import CHOSEN, Lamps
from raysim.studies.lamps import LampGrid
from raysim.studies.lamps.run import best_places
from raysim.transport.options import RunOptions

CANDIDATES = 100  # places that the study chooses among; own choice, as all here
MOST = 6  # lamps: more of them take the programme too long
PRECISION = 0.2


def chosen_lamps(scene: BuiltScene, lamps: Lamps, options: RunOptions) -> list[Lamps]:
    """As many lamps as there are, and one fewer, in the places that the study chooses.

    None where there are too many to choose, or where no place has room.
    """
    count = len(lamps.arcs)
    if count > MOST:
        return []
    numbers = [one for one in (count - 1, count) if one]
    try:
        grid = LampGrid(most=CANDIDATES)
        found = best_places(scene, numbers, grid, precision=PRECISION, options=options)
    except RaysimError:
        return []
    arcs = [tuple((place.start, place.end) for place in chosen) for chosen in found.values()]
    return [replace(lamps, axis=CHOSEN, arcs=own) for own in arcs]
