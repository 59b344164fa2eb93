"""Where the hooks should go, and how many respirators: layouts ranked by their worst face."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from raysim.base.errors import RaysimError
from raysim.dose.lamp_output import requirement_of
from raysim.scene.build import BuiltScene, build_scene
from raysim.scene.check.contact import contact_faults
from raysim.studies.asked import checked, in_one_pose, within
from raysim.studies.hooks.clearances import Clearances, Room
from raysim.studies.hooks.layouts import Sketch
from raysim.studies.hooks.light import Contestant, Fate, Light
from raysim.studies.hooks.load import Hang, Layout, Load, find_load, written_layout
from raysim.studies.hooks.points import Grid, grid_points
from raysim.studies.hooks.race import FINALISTS, Race
from raysim.studies.hooks.result import HookPoint, HookStudy, NumberResult, Ranked
from raysim.studies.pairs import Pair, contenders, pair_of, paths_each
from raysim.transport.options import RunOptions

POOL, MOVES, ROUNDS = 10, 6, 2  # layouts tried first, moves of the darkest in each of the rounds
MOST_SPOTS = 128  # face-sides of one comparison
SCOUTS = 2
EVERYWHERE, USUAL_CLEARANCES = Grid(), Clearances()
PAIR_SEED, NUMBER_SEED, SCOUT_SEED = 777_000, 1_000_003, 555_555


class _Run:
    """The run of a study: what all numbers of respirators have in common."""

    def __init__(self, load: Load, loading: float, options: RunOptions) -> None:
        self.load, self.loading, self.options = load, loading, options
        self.time = requirement_of(load.scene.written).time
        self.races: dict[int, Race] = {}
        self.suspects = np.zeros((0, 2), np.int64)

    def race(self, number: int, entries: int = 1) -> Race:
        """A race of layouts of a number of respirators, nobody in it yet."""
        light = Light(self.load, number, self.options)
        light.suspect(self.suspects)
        seed = (self.options.seed + NUMBER_SEED * number) % 2**63
        self.races[number] = Race(light, seed, [], entries=entries)
        return self.races[number]

    def scout(self, race: Race, hangs: Sequence[Hang]) -> None:
        """Find out, on a few hook points, which spots of the respirator are dark."""
        for number, k in enumerate(np.linspace(0, len(hangs) - 1, SCOUTS + 2)[1:-1]):
            seed = self.options.seed + SCOUT_SEED * (number + 1)
            found = race.light.scout((hangs[round(k)],), seed)
            self.suspects = np.unique(np.concatenate([self.suspects, found]), axis=0)
        race.light.suspect(self.suspects)

    def time_of(self, one: Contestant) -> float:
        """Exposure time (s) from the estimate of a layout; none of what is too dark."""
        return self.time(0.0 if one.fate is Fate.TOO_DARK else one.estimate)

    def ranked(self, light: Light, one: Contestant) -> Ranked:
        """A layout as it is reported."""
        field = np.zeros(one.triangles.judged.shape)
        if one.found is not None:
            field[light.sites.faces, light.sites.sides] = light.over_cells(one.found.state.mean[0])
        bound = None if one.worst is None else one.lower
        return Ranked(
            layout=one.layout,
            triangles=one.triangles,
            worst=one.worst,
            estimate=one.estimate,
            error=one.estimate_error,
            lower=bound or 0.0,
            upper=one.upper,
            time=self.time_of(one) if bound is None else self.time(bound),
            field=field,
            dark=one.fate is Fate.TOO_DARK,
        )

    def result(self, number: int, precision: float, all_of_them: bool) -> NumberResult:
        """Finish a race that has run and report it; with `all_of_them` all that is shown."""
        race = self.races[number]
        done = race.finish(precision, all_of_them)
        layouts = tuple(self.ranked(race.light, one) for one in done)
        rivals = done[1:] if all_of_them and done[0].found is not None else []
        pairs = tuple(
            _compared(race.light, done[0], other, k + 2, race.seed + PAIR_SEED)
            for k, other in enumerate(rivals)
        )
        here = frozenset(self.load.now)
        now = next((one for one in race.everyone if frozenset(one.layout) == here), None)
        fates = Counter(one.fate for one in race.everyone)
        return NumberResult(
            number=number,
            layouts=layouts,
            pairs=pairs,
            tried=len(race.everyone),
            worse=fates[Fate.WORSE],
            aside=fates[Fate.ASIDE],
            dark=fates[Fate.TOO_DARK],
            now=None if now is None else self.ranked(race.light, now),
            now_tied=now is not None and now.upper >= done[0].lower,
            per_hour=3600.0 * number / (layouts[0].time + self.loading),
            upper_of_others=max(
                (one.upper for one in race.everyone if one is not done[0]), default=0.0
            ),
        )


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

    Parameters
    ----------
    numbers : sequence of int, optional
        Of respirators, rising; default 1 to as many as hang now.
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
    numbers = range(1, len(load.now) + 1) if numbers is None else sorted(numbers)
    if not numbers or numbers[0] < 1:
        raise RaysimError("no number of respirators. Mend: numbers=[1, 2]")
    candidates = grid_points(load, points) if isinstance(points, Grid) else points
    room = Room(load, clearances)
    hangs, no_room = room.sifted(list(dict.fromkeys(candidates)))
    if not hangs:
        raise RaysimError(_no_room_words(no_room))
    run = _Run(load, loading, options)
    single = run.race(1)
    run.scout(single, hangs)
    single.enter([(hang,) for hang in hangs])
    alone = np.array([one.estimate for one in single.everyone])
    sketch = Sketch(hangs, alone, room, options.seed) if max(numbers) > 1 else None
    single.run()
    results = _by_number(run, sketch, numbers, precision)
    best = max(results, key=lambda one: one.per_hour)
    best = run.result(best.number, precision, all_of_them=True)
    dark = results[0].number == 1 and results[0].all_dark
    missing = [number for number in numbers if number > results[-1].number and not dark]
    return HookStudy(
        load=load,
        seed=options.seed,
        points=tuple(
            HookPoint(one.layout[0], run.time_of(one), one.fate) for one in single.everyone
        ),
        no_room=no_room,
        clearances=clearances,
        numbers=tuple(best if one.number == best.number else one for one in results),
        best=best,
        beyond=missing[0] if missing else None,
        touching=_touching(load, best.best.layout),
        loading=loading,
        rays=sum(race.light.rays for race in run.races.values()),
    )


def _no_room_words(no_room: Counter[str]) -> str:
    reasons = ", ".join(f"{count} {why}" for why, count in no_room.most_common())
    return (
        f"none of the {sum(no_room.values())} hook positions has room ({reasons}). Mend: other "
        "positions, or smaller --clear-wall, --clear-lamp, --clear-other"
    )


def _by_number(
    run: _Run, sketch: Sketch | None, numbers: Sequence[int], precision: float
) -> list[NumberResult]:
    """The best layouts of every number, up to the first of which no layout keeps clear.

    Where one alone is too dark on every hook point, that alone: others before it bring no light.
    """
    if all(one.fate is Fate.TOO_DARK for one in run.races[1].everyone):
        return [run.result(1, precision, all_of_them=False)]
    results = []
    for number in numbers:
        if number > 1 and sketch is not None and not _searched(run, sketch, number):
            break
        results.append(run.result(number, precision, all_of_them=False))
    if not results:
        raise RaysimError(
            f"no layout of {numbers[0]} respirators keeps clear. Mend: fewer, or more positions"
        )
    return results


def _touching(load: Load, layout: Layout) -> tuple[str, ...]:
    built = build_scene(load.scene.path, written_layout(load, layout))
    return tuple(
        f"{fault.key.removesuffix('.at')}: {fault.what}" for fault in contact_faults(built)
    )


def _searched(run: _Run, sketch: Sketch, number: int) -> bool:
    """Race layouts of a number of respirators, all in place; returns whether any was found."""
    layouts = sketch.layouts(number, POOL)
    if not layouts:
        return False
    race = run.race(number, entries=1 + ROUNDS)
    if len(run.load.now) == number and set(run.load.now) <= set(sketch.hangs):
        layouts = [run.load.now, *layouts]
    race.enter(layouts)
    for _ in range(ROUNDS):
        if not race.finalists:
            break  # all too dark
        leader = race.finalists[0]
        race.enter(sketch.moved(leader.layout, _darkest_member(race.light, leader), MOVES))
    race.run(FINALISTS)
    return True


def _darkest_member(light: Light, one: Contestant) -> int:
    """Which respirator of a layout holds its worst face."""
    face = light.sites.faces[one.sites[one.mean.argmin()]]
    return next(k for k, group in enumerate(light.stage.groups) if face in group)


def _compared(light: Light, best: Contestant, other: Contestant, place: int, seed: int) -> Pair:
    """The best layout against another one, told by fresh paths.

    The worst face of the other gets no more than any of its faces, so the best is better if each
    face that could be its worst gets more than one dark face of the other, chosen before; or if
    the bounds of the race keep them apart.
    """
    assert best.found is not None  # it was looked at all over, and is not dark
    could = contenders(best.found, 0)
    shown = could[:MOST_SPOTS]
    dark = light.faces_of(other, 1) if other.found else other.sites[[int(other.mean.argmin())]]
    ours = light.batches_of(best, shown, paths_each(2 * len(shown)), seed)
    theirs = np.broadcast_to(light.batches_of(other, dark, paths_each(2), seed), ours.shape)
    names = ("layout 1", f"layout {place}")
    pair = pair_of(names, ours, theirs, doubtful=len(could))
    return replace(pair, told_apart=pair.told_apart or other.upper < best.lower)
