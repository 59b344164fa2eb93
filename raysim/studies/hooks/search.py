"""The way through a study of hooks: one respirator everywhere, then a race for every number.

It may be broken off anywhere; what is known by then is told.
"""

from collections import Counter
from collections.abc import Sequence
from itertools import combinations

import numpy as np

from raysim.base.errors import RaysimError
from raysim.base.progress import Progress
from raysim.dose.lamp_output import requirement_of
from raysim.studies.hooks.clearances import Room
from raysim.studies.hooks.contestant import Contestant, Fate
from raysim.studies.hooks.layouts import Sketch
from raysim.studies.hooks.light import Light
from raysim.studies.hooks.load import Hang, Layout, Load
from raysim.studies.hooks.race import FINALISTS, Race
from raysim.studies.hooks.result import NumberResult, Ranked
from raysim.transport.options import RunOptions

POOL, EVEN, FIRST_EVEN = 7, 4, 2  # layouts tried first: found by search, even rows
MOVES, ROUNDS = 6, 2  # moves of the darkest in each of the rounds
SCOUTS = 2
NUMBER_SEED, SCOUT_SEED = 1_000_003, 555_555


class Search:
    """Races of layouts, by number of respirators.

    `numbers` rise. With `even` rows off the given hook points are tried as well.
    """

    def __init__(
        self,
        load: Load,
        room: Room,
        hangs: Sequence[Hang],
        numbers: Sequence[int],
        *,
        options: RunOptions,
        even: bool,
    ) -> None:
        self.load, self.room, self.hangs, self.options = load, room, hangs, options
        self.numbers, self.even = numbers, even
        self.time = requirement_of(load.scene.written).time
        self.races: dict[int, Race] = {}
        self.shown: dict[int, list[Contestant]] = {}
        self.suspects = np.zeros((0, 2), np.int64)
        self.beyond: int | None = None  # the first number of which no layout keeps clear
        self.interrupted = False

    def run(self, precision: float, loading: float) -> None:
        """All races, and a careful look at the best.

        That of as many as hang now begins and is the first to be finished.
        """
        now = len(self.load.now)
        sketch = Sketch(self.hangs, self.room, self.options.seed)
        self._scout()
        if now > 1 and now in self.numbers:
            self._begin(now, self._even(sketch, now, FIRST_EVEN))
        self._enter(self.races[1], [(hang,) for hang in self.hangs])
        self.races[1].run()
        if self.races[1].finalists:
            sketch.know(self._alone())
            for number in sorted(self.numbers, key=lambda number: (number != now, number)):
                if self.beyond is not None and number > self.beyond:
                    continue
                if number > 1 and not self._several(number, sketch):
                    self.beyond = number
                    continue
                self.races[number].finish(precision)
        if self.beyond == self.numbers[0]:
            raise RaysimError(
                f"no layout of {self.beyond} respirators keeps clear. Mend: fewer, or more "
                "positions"
            )
        best = best_of(self.results(loading))
        self.shown[best.number] = self.races[best.number].show(precision)

    def _even(self, sketch: Sketch, number: int, most: int) -> list[Layout]:
        low, high = self.load.scene.triangles.box
        return sketch.rows(number, most, 0.5 * (low + high)[:2]) if self.even else []

    def _begin(self, number: int, layouts: list[Layout]) -> None:
        """Begin the race of several with what can be tried before hook points are known."""
        now = self.load.now
        clear = len(now) == number and not self._in_the_way(now)
        if layouts or clear:
            self._enter(self._race(number, entries=2 + ROUNDS), layouts)

    def _race(self, number: int, entries: int = 1) -> Race:
        light = Light(self.load, number, self.options)
        light.suspect(self.suspects)
        seed = (self.options.seed + NUMBER_SEED * number) % 2**63
        self.races[number] = Race(light, seed, entries, self._progress(number))
        return self.races[number]

    def _progress(self, number: int) -> Progress:
        """Progress told with the number of respirators."""
        who = f"{number} respirator{'s' if number > 1 else ''}"

        def told(what: str, done: float, whole: float) -> None:
            self.options.progress(f"{who}: {what}", done, whole)

        return told

    def _scout(self) -> None:
        """The spots of a respirator that are dark, from one alone on a few of many hook points."""
        race = self._race(1)
        scouted = np.linspace(0, len(self.hangs) - 1, SCOUTS + 2)[1:-1]
        calls = [
            ((self.hangs[round(k)],), self.options.seed + SCOUT_SEED * number)
            for number, k in enumerate(scouted if len(self.hangs) > FINALISTS else [], 1)
        ]
        race.progress("finding its dark spots", 0, SCOUTS)
        for number, (one, found) in enumerate(race.light.each(Light.scout, calls), 1):
            race.light.flown(one)
            self.suspects = np.unique(np.concatenate([self.suspects, found]), axis=0)
            race.progress("finding its dark spots", number, SCOUTS)
        race.light.suspect(self.suspects)

    def _enter(self, race: Race, layouts: list[Layout]) -> None:
        """Put layouts on trial, and the present one with them if it is of as many."""
        now = self.load.now
        if len(now) == len(race.light.stage.groups):
            race.enter(layouts, now, self._in_the_way(now))
        else:
            race.enter(layouts)

    def _in_the_way(self, layout: Layout) -> str:
        """What of a layout comes nearer than asked; "" for nothing."""
        for number, hang in enumerate(layout, 1):
            if trouble := self.room.trouble(hang):
                return f"hook {number} {trouble}"
        for (i, one), (j, other) in combinations(enumerate(layout, 1), 2):
            if not self.room.apart(one, other):
                return f"hooks {i} and {j} too near each other"
        return ""

    def _alone(self) -> np.ndarray:
        """Irradiance (W/m2) of the worst face of one respirator alone on each hook point."""
        found = {one.layout[0]: one.estimate for one in self.races[1].everyone}
        return np.array([found[hang] for hang in self.hangs])

    def _several(self, number: int, sketch: Sketch) -> bool:
        """Race layouts of a number of respirators, all in place; returns whether any was found."""
        layouts = [*sketch.layouts(number, POOL), *self._even(sketch, number, EVEN)]
        if number not in self.races:
            if not layouts:
                return False
            self._race(number, entries=1 + ROUNDS)
        race = self.races[number]
        race.light.know_dark_cells(self.races[1].light)
        self._enter(race, layouts)
        for _ in range(ROUNDS):
            if not race.finalists:
                break  # all too dark
            leader = race.finalists[0]
            race.enter(sketch.moved(leader.layout, _darkest_member(race.light, leader), MOVES))
        race.run()
        return True

    def results(self, loading: float) -> list[NumberResult]:
        """What is known by now of each number, by rising number.

        Where one alone is too dark on every hook point, or nothing else is known, of that.
        """
        known = sorted(number for number, race in self.races.items() if race.ranking)
        asked = [number for number in known if number in self.numbers] or known
        return [self._result(number, loading) for number in asked]

    def _result(self, number: int, loading: float) -> NumberResult:
        race = self.races[number]
        shown = _as_it_hangs_first(self.shown.get(number) or race.ranking[:FINALISTS], race.present)
        layouts = [self._ranked(race.light, one) for one in shown if not one.in_the_way]
        best, others = shown[0], [one for one in race.everyone if one is not shown[0]]
        fates = Counter(
            Fate.WORSE if one.fate is not Fate.TOO_DARK and one.upper < best.lower else one.fate
            for one in others
        )
        return NumberResult(
            number=number,
            layouts=tuple(layouts),
            tried=len(race.everyone),
            worse=fates[Fate.WORSE],
            aside=fates[Fate.ASIDE] + fates[Fate.RACING],
            dark=fates[Fate.TOO_DARK] + (best.fate is Fate.TOO_DARK),
            now=None if race.present is None else self._ranked(race.light, race.present),
            per_hour=3600.0 * number / (layouts[0].time + loading),
            upper_of_others=max((one.upper for one in others if not one.in_the_way), default=0.0),
        )

    def time_of(self, one: Contestant) -> float:
        """Exposure time (s) from the estimate of a layout; none of what is too dark."""
        return self.time(0.0 if one.fate is Fate.TOO_DARK else one.estimate)

    def _ranked(self, light: Light, one: Contestant) -> Ranked:
        """A layout as it is reported."""
        triangles = light.stage.placed(one.layout)
        field = np.zeros(triangles.judged.shape)
        if one.found is not None:
            field[light.sites.faces, light.sites.sides] = light.cells.over_cells(
                one.found.state.mean[0]
            )
        bound = None if one.worst is None else one.lower
        return Ranked(
            layout=one.layout,
            triangles=triangles,
            worst=one.worst,
            estimate=one.estimate,
            error=one.estimate_error,
            lower=bound or 0.0,
            upper=one.upper,
            time=self.time_of(one) if bound is None else self.time(bound),
            field=field,
            dark=one.fate is Fate.TOO_DARK,
            in_the_way=one.in_the_way,
        )


def _as_it_hangs_first(shown: list[Contestant], now: Contestant | None) -> list[Contestant]:
    """The present layout before all, where none is shown to be better: nobody drills for noise."""
    if now not in shown or now.in_the_way or now.worst is None:
        return shown
    if any(one.lower > now.upper for one in shown):
        return shown
    return [now, *(one for one in shown if one is not now)]


def best_of(results: Sequence[NumberResult]) -> NumberResult:
    """The number with the most respirators per hour, of those whose times rest on a bound if any.

    Where none has a time, the first.
    """
    return max(results, key=lambda one: (one.per_hour > 0.0 and one.best.has_bound, one.per_hour))


def _darkest_member(light: Light, one: Contestant) -> int:
    """Which respirator of a layout holds its worst face."""
    face = light.sites.faces[one.sites[one.mean.argmin()]]
    return next(k for k, group in enumerate(light.stage.groups) if face in group)
