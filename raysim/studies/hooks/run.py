"""Where the hooks should go, and how many respirators: layouts ranked by their worst face."""

import math
from collections import Counter
from collections.abc import Sequence

from raysim.base.errors import RaysimError
from raysim.scene.build import BuiltScene, build_scene
from raysim.scene.check.contact import contact_faults
from raysim.studies.asked import checked, in_one_pose, within
from raysim.studies.hooks.clearances import Clearances, Room
from raysim.studies.hooks.load import Hang, Layout, Load, find_load, written_layout
from raysim.studies.hooks.points import Grid, grid_points
from raysim.studies.hooks.result import HookPoint, HookStudy
from raysim.studies.hooks.search import Search, best_of
from raysim.transport.options import RunOptions

EVERYWHERE, USUAL_CLEARANCES = Grid(), Clearances()
# Numbers tried unless told otherwise: each up to FINE, then so much more of them than before.
FINE, COARSER = 6, 1.25


def study(
    scene: BuiltScene,
    *,
    numbers: Sequence[int] | None = None,
    points: Grid | Sequence[Hang] = EVERYWHERE,
    hang: str | None = None,
    along: Sequence[str] = (),
    take_out: Sequence[str] = (),
    clearances: Clearances = USUAL_CLEARANCES,
    loading: float = 0.0,
    pose: str | None = None,
    precision: float = 0.05,
    options: RunOptions | None = None,
) -> HookStudy:
    """Rank layouts of some numbers of respirators over candidate hook points.

    Ctrl-C ends it early, with what is known by then; it is passed on where nothing is.

    Parameters
    ----------
    numbers : sequence of int, optional
        Of respirators; default 1 to as many as hang now, in steps beyond 6.
    points : Grid or sequence of Hang
        To try; those without room are left out.
    hang, along, take_out : str, sequences of str
        What hangs, what goes along with it and what to leave out, as in `find_load`.
    loading : float
        Seconds between two cycles, for respirators per hour.
    pose : str, optional
        Which one of several; default the first.
    precision : float
        (worst - bound) / worst to reach for the best layouts.

    Raises
    ------
    RaysimError
        No candidate has room, a name that is not there, or numbers out of range.

    >>> import raysim
    >>> from raysim.studies.hooks import Hang
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")
    >>> points = [Hang((0.2, 0.15, 0.38)), Hang((0.0, 0.0, 0.0))]
    >>> found = study(scene, numbers=[1], points=points, precision=0.9)  # coarse: quick and noisy
    >>> len(found.points), dict(found.no_room)
    (1, {'too near a wall': 1})
    """
    options = checked(options, precision)
    within("loading", loading, 0.0, math.inf)
    load = find_load(in_one_pose(scene, pose), hang, along, take_out)
    numbers = usual_numbers(len(load.now)) if numbers is None else sorted(set(numbers))
    if not numbers or numbers[0] < 1:
        raise RaysimError("no number of respirators. Mend: numbers=[1, 2]")
    candidates = grid_points(load, points) if isinstance(points, Grid) else points
    room = Room(load, clearances)
    hangs, no_room = room.sifted(list(dict.fromkeys(candidates)))
    if not hangs:
        raise RaysimError(_no_room_words(no_room))
    even = isinstance(points, Grid)
    search = Search(load, room, hangs, numbers, options=options, even=even)
    try:
        search.run(precision, loading)
    except KeyboardInterrupt:
        search.interrupted = True
        if not search.results(loading):
            raise
    return _found(search, no_room, loading)


def _found(search: Search, no_room: Counter[str], loading: float) -> HookStudy:
    results = search.results(loading)
    best, load = best_of(results), search.load
    singles = [one for one in search.races[1].everyone if not one.in_the_way]
    order = {hang: k for k, hang in enumerate(search.hangs)}  # the present hook may be no candidate
    singles.sort(key=lambda one: order.get(one.layout[0], len(order)))
    beyond = search.beyond
    return HookStudy(
        load=load,
        seed=search.options.seed,
        points=tuple(HookPoint(one.layout[0], search.time_of(one), one.fate) for one in singles),
        no_room=no_room,
        clearances=search.room.clear,
        numbers=tuple(results),
        best=best,
        beyond=None if beyond is None or beyond < results[-1].number else beyond,
        touching=_touching(load, best.best.layout),
        loading=loading,
        rays=sum(race.light.rays for race in search.races.values()),
        interrupted=search.interrupted,
    )


def usual_numbers(now: int) -> list[int]:
    """Numbers of respirators to try where `now` hang: all to FINE, then in steps of a quarter."""
    numbers = list(range(1, min(now, FINE) + 1))
    while numbers[-1] < now:
        numbers.append(min(math.ceil(COARSER * numbers[-1]), now))
    return numbers


def _no_room_words(no_room: Counter[str]) -> str:
    reasons = ", ".join(f"{count} {why}" for why, count in no_room.most_common())
    return (
        f"none of the {sum(no_room.values())} hook positions has room ({reasons}). Mend: other "
        "positions, or smaller --clear-wall, --clear-lamp, --clear-other"
    )


def _touching(load: Load, layout: Layout) -> tuple[str, ...]:
    built = build_scene(load.scene.path, written_layout(load, layout))
    return tuple(
        f"{fault.key.removesuffix('.at')}: {fault.what}" for fault in contact_faults(built)
    )
