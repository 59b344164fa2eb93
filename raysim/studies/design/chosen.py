"""Places for the lamps of a design, chosen by the study of lamps in place of a rule of thumb."""

from dataclasses import replace

from raysim.base.errors import RaysimError
from raysim.scene.build import BuiltScene
from raysim.studies.design.places import CHOSEN, Lamps
from raysim.studies.lamps import LampGrid
from raysim.studies.lamps import study as lamp_study
from raysim.transport.options import RunOptions

CANDIDATES = 100  # places that the study chooses among
MOST = 6  # lamps: more of them take the programme too long
PRECISION = 0.2


def chosen_lamps(scene: BuiltScene, lamps: Lamps, options: RunOptions) -> list[Lamps]:
    """As many lamps as there are, and one fewer, in the places that the study chooses.

    None where there are too many to choose, or where no place has room.

    Raises
    ------
    KeyboardInterrupt
        Broken off: the study by itself would hand on what it has.
    """
    count = len(lamps.arcs)
    if count > MOST:
        return []
    numbers = [one for one in (count - 1, count) if one]
    try:
        found = lamp_study(
            scene,
            numbers=numbers,
            places=LampGrid(most=CANDIDATES),
            precision=PRECISION,
            options=options,
        )
    except RaysimError:
        return []
    if found.interrupted:
        raise KeyboardInterrupt
    places = [[found.places[k] for k in one.choices[0]] for one in found.numbers]
    arcs = [tuple((place.start, place.end) for place in chosen) for chosen in places]
    return [replace(lamps, axis=CHOSEN, arcs=own) for own in arcs]
