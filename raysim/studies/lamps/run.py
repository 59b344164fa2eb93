"""Where the lamps should go, and how many: the study as a whole."""

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from raysim.base.errors import RaysimError
from raysim.scene.build import BuiltScene
from raysim.scene.check.touching import set_aside
from raysim.studies.asked import checked, in_one_pose, within
from raysim.studies.lamps.kinds import kinds_of
from raysim.studies.lamps.places import (
    Axis,
    LampClearances,
    LampGrid,
    LampRoom,
    Place,
    listed_places,
    too_near,
)
from raysim.studies.lamps.result import LampCount, LampStudy
from raysim.studies.lamps.search import Search
from raysim.transport.options import RunOptions
from raysim.workshop.bill import Bill, lamp_lines
from raysim.workshop.prices import priced

NUMBERS = tuple(range(1, 7))
MOST_LAMPS = 24
GRID, CLEAR = LampGrid(), LampClearances()
MOST_PLACES = 600


def study(
    scene: BuiltScene,
    *,
    numbers: Sequence[int] = NUMBERS,
    lamps: Sequence[str] = (),
    places: LampGrid | Sequence[tuple[Axis, Axis]] | Sequence[Place] = GRID,
    clearances: LampClearances = CLEAR,
    prices: Path | None = None,
    pose: str | None = None,
    precision: float = 0.05,
    options: RunOptions | None = None,
) -> LampStudy:
    """Choose places for some numbers of lamps, and prove how much better any choice could be.

    Ctrl-C ends it early, with what is known by then; KeyboardInterrupt where nothing is. The scene
    need not be read from a file: what is used of it is `scene.written` and its triangles.

    Parameters
    ----------
    numbers : sequence of int
        Of lamps; the answer tells of as many as the scene has, if they are among them.
    lamps : sequence of str
        Types of the library; default the kinds of lamps in the scene.
    places : LampGrid, or lines (from, to) in m, or Place
        Candidates: those without room are left out. A line takes every kind of lamp, the middle of
        its arc in the middle of the line; a `Place` is taken as it is, its kind one of `kinds_of`.
    prices : path, optional
        File of prices as `raysim guide --prices` takes it.
    pose : str, optional
        Which one of several; default the first.
    precision : float
        (worst - bound) / worst to reach for what is traced.

    Raises
    ------
    RaysimError
        No candidate has room, no choice of so many keeps clear, or numbers out of range.

    Examples
    --------
    >>> import raysim
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")
    >>> upright = [((0.06, y, 0.06), (0.06, y, 0.42)) for y in (0.001, 0.06, 0.38)]
    >>> found = study(scene, numbers=[1], places=upright, precision=0.9)  # coarse: quick and noisy
    >>> len(found.places), dict(found.no_room), found.numbers[0].number
    (2, {'too near a wall': 1}, 1)
    """
    options = checked(options, precision)
    alone = set_aside(in_one_pose(scene, pose))
    search, no_room, spacing = _begun(alone, numbers, lamps, places, clearances, options=options)
    bills = {place.kind.name: _bill(place, prices) for place in search.places}
    numbers, present = search.numbers, len(alone.written.lamp)
    interrupted = False
    try:
        search.choose(precision, present if present in numbers else numbers[-1])
        search.prove()
    except KeyboardInterrupt:
        interrupted = True
        if not search.traced:
            raise
    found = tuple(_count(search, number, bills) for number in sorted(search.traced))
    told = [one.number for one in found]
    return LampStudy(
        scene=alone,
        seed=search.options.seed,
        places=tuple(search.places),
        no_room=no_room,
        clearances=clearances,
        spacing=spacing,
        numbers=found,
        number=present if present in told else told[-1],
        now=search.now,
        respirators=sum(entry.judged for entry in alone.written.object),
        currency=next((bill.currency for bill in bills.values() if bill.currency), ""),
        photons=search.sources.photons,
        rays=search.sources.rays + search.tracer.rays,
        interrupted=interrupted,
        other_poses=max(len(scene.written.pose) - 1, 0),
    )


def best_places(
    scene: BuiltScene,
    numbers: Sequence[int],
    places: LampGrid,
    *,
    precision: float,
    options: RunOptions,
) -> dict[int, list[Place]]:
    """The places that seem best for each number of lamps: no proof, and no second choice.

    Raises
    ------
    RaysimError
        As `study` does.
    """
    search, *_ = _begun(set_aside(scene), numbers, (), places, CLEAR, options=options)
    search.choose(precision, max(search.numbers), 1)
    return {n: [search.places[k] for k in search.traced[n][0][0]] for n in sorted(search.traced)}


def _begun(
    scene: BuiltScene,
    numbers: Sequence[int],
    lamps: Sequence[str],
    places: LampGrid | Sequence[tuple[Axis, Axis]] | Sequence[Place],
    clearances: LampClearances,
    *,
    options: RunOptions,
) -> tuple[Search, Counter[str], float | None]:
    """A search among the places with room, how many have none, and the spacing of a grid."""
    numbers = sorted(set(numbers))
    if not numbers:
        raise RaysimError("no number of lamps. Mend: numbers=[1, 2]")
    within("number of lamps", numbers[0], 1, MOST_LAMPS)
    within("number of lamps", numbers[-1], 1, MOST_LAMPS)
    room = LampRoom(scene.triangles, scene.written.chamber.inside, clearances)
    kept, no_room, spacing = _with_room(room, scene, lamps, places)
    if len(kept) < numbers[0]:
        raise RaysimError(_no_room_words(len(kept), no_room, numbers[0]))
    apart = ~too_near(kept, clearances.lamps)
    return Search(scene, kept, apart, numbers, options), no_room, spacing


def _with_room(
    room: LampRoom,
    scene: BuiltScene,
    lamps: Sequence[str],
    places: LampGrid | Sequence[tuple[Axis, Axis]] | Sequence[Place],
) -> tuple[list[Place], Counter[str], float | None]:
    """Candidates with room, the others by reason, and the spacing of a grid."""
    kinds = kinds_of(scene.written, lamps)
    if isinstance(places, LampGrid):
        return room.grid(kinds, places)
    given = [one for one in places if isinstance(one, Place)]
    lines = [one for one in places if not isinstance(one, Place)]
    wanted = list(dict.fromkeys([*given, *listed_places(kinds, lines)]))
    within("number of places", len(wanted), 1, MOST_PLACES)
    return *room.sifted(wanted), None


def _bill(place: Place, prices: Path | None) -> Bill:
    """What one lamp of a kind takes, with its prices."""
    return priced(lamp_lines([place.lamp("one")]), prices, others=True)


def _count(search: Search, number: int, bills: dict[str, Bill]) -> LampCount:
    pairs = search.traced[number]
    used = [bills[search.places[k].kind.name] for k in pairs[0][0]]
    is_priced = any(line.price is not None for bill in used for line in bill.lines)
    return LampCount(
        number=number,
        choices=tuple(choice for choice, _ in pairs),
        traced=tuple(traced for _, traced in pairs),
        most=search.most.get(number, np.inf),
        alone=search.alone.get(number, np.inf),
        swaps=search.swaps(pairs[0][0]),
        cost=round(sum(bill.cost for bill in used), 2) if is_priced else None,
        unpriced=sum(bill.unpriced for bill in used),
    )


def _no_room_words(kept: int, no_room: Counter[str], number: int) -> str:
    reasons = ", ".join(f"{count} {why}" for why, count in no_room.most_common())
    places = kept + sum(no_room.values())
    what = f"{kept} of {places} places for lamps have room, {number} are needed ({reasons})"
    if not places:
        what = "the lamp is longer than the box"
    return (
        f"{what}. Mend: shorter lamps (--lamp), other places (--at), or smaller clearances "
        "(--clear-wall, --clear-load)"
    )
