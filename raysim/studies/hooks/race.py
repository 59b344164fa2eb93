"""Many layouts on trial: the hopeless are dropped early, the rays go to the close calls.

After each round a layout is dropped if its upper bound lies below the lower bound of another one:
then it is worse, with the stated confidence. If more than half are left, the darker half is set
aside all the same, so that each round costs about as much as the one before (sequential halving);
those are *not* shown to be worse, but their upper bounds are kept, and say how much better than
the winner they could be at the most.

All verdicts of a race follow from its bounds, and hold at once but for the error probability
1 - CONFIDENCE (union bound), for each number of respirators by itself. It is spent in three parts:

- UPPER on upper bounds while the race goes on. They have to hold for two fixed layouts, the best
  one of those that entered together and the present one (FIXED), and for each entry: half at the
  first look, which most layouts get no more than, a tenth at each close look at faces that seem too
  dark, the rest in equal parts at the other rounds.
- LOWER on the lower bounds of layouts of which all faces are looked at, in parts (LOWER_PARTS).
- SHOWN on the last upper bounds, of the layouts that are shown (MOST_SHOWN).

What enters later, and what is shown, is chosen by what was seen before, and is looked at with
fresh random numbers.

Sources: successive elimination, Paulson, "A sequential procedure for selecting the population with
the largest mean from k normal populations", Ann. Math. Stat. 35 (1964); Even-Dar, Mannor and
Mansour, "Action elimination and stopping conditions", JMLR 7 (2006); halving, Karnin, Koren and
Somekh, "Almost optimal exploration in multi-armed bandits", ICML (2013) [all from memory].
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from raysim.base.progress import Progress, nobody_watching, stretch
from raysim.estimate.bounds import CONFIDENCE
from raysim.studies.hooks.contestant import Contestant, Fate
from raysim.studies.hooks.light import PILOTS, Light
from raysim.studies.hooks.load import Layout

UPPER, LOWER, SHOWN = 0.4, 0.5, 0.1  # shares of the error probability
ERROR = 1.0 - CONFIDENCE
FIXED = 2
LOWER_PARTS = (0.4, 0.3, 0.1, 0.1, 0.1)  # few races need more than two
MOST_ROUNDS = 8
FIRST_LOOK, DARK_LOOK = 0.5, 0.1  # of UPPER, the latter on entering and after all faces were seen
LATER_LOOK = (1.0 - FIRST_LOOK - 2 * DARK_LOOK) / (MOST_ROUNDS - 1)
FIRST_PATHS = 16  # per batch and face
FOLLOWED_PATHS, MOST_FOLLOWED = 192, 32  # the same of layouts set aside, and how many of them
FINALISTS = 3
MOST_SHOWN = FINALISTS + 1
HELD_FROM = 40  # layouts: with fewer, dropping early saves less than its lower bound costs
ROUGH = 0.1  # precision of the lower bound that the hopeless are held against
STEP, ENTRY = 1000, 100_000  # between seeds of unlike purpose, and of unlike entries
DARK, LAST = 500, 700  # seeds: of the rounds at what seems too dark, of the last upper bounds


@dataclass
class Race:
    """Layouts of one number of respirators, with what each was found to give.

    `lower` is a lower bound (W/m2) that the worst face of some layout is known to reach; `entries`
    is how often layouts may enter; `present` the layout of the scene as it is, if it takes part.
    """

    light: Light
    seed: int
    entries: int = 1
    progress: Progress = nobody_watching
    everyone: list[Contestant] = field(default_factory=list)
    present: Contestant | None = None
    lower: float = 0.0
    rounds: int = 0
    looked_all_over: int = 0
    entered: int = 0

    @property
    def upper_error(self) -> float:
        """Error probability of the upper bounds of one layout from one entry (definition)."""
        return UPPER * ERROR / (FIXED * self.entries)

    @property
    def finalists(self) -> list[Contestant]:
        """Layouts that can still win, the brightest worst face first (definition)."""
        return sorted(
            (
                one
                for one in self.everyone
                if one.fate in (Fate.RACING, Fate.FINALIST) and not one.in_the_way
            ),
            key=lambda one: -one.estimate,
        )

    def enter(
        self, layouts: Sequence[Layout], present: Layout | None = None, in_the_way: str = ""
    ) -> None:
        """Put further layouts on trial, at most `entries` times.

        The `present` one with them, if it takes part; with something `in_the_way` it is compared,
        but cannot win.
        """
        assert self.entered < self.entries
        seed = (self.seed + ENTRY * self.entered) % 2**64
        self.entered += 1
        known = {frozenset(one.layout) for one in self.everyone}
        unlike = {frozenset(one): one for one in [*([present] if present else []), *layouts]}
        fresh = [layout for key, layout in unlike.items() if key not in known]
        before, places = list(self.everyone), {}
        for k, one in self._tried(fresh, seed):
            if present is not None and set(fresh[k]) == set(present):
                self.present, one.in_the_way = one, in_the_way
            places[k] = one
            self.everyone = before + [places[k] for k in sorted(places)]
            self.progress("trying layouts", len(places), len(fresh))

    def _tried(self, fresh: Sequence[Layout], seed: int) -> Iterator[tuple[int, Contestant]]:
        """Layouts as they are tried out, each with its place: the pilots first."""
        order, pilots = _spread(len(fresh)), self.light.pilots
        for places in (order[:pilots], order[pilots:]):
            calls = [(fresh[k], seed, self.upper_error) for k in places]
            for k, one in zip(places, self.light.each(_tried_out, calls), strict=True):
                if self.light.pilots:
                    self.light.flown(one)
                yield k, one

    def look_all_over(self, some: Sequence[Contestant], precision: float, what: str) -> None:
        """All faces of some layouts: a lower bound on each, as often as LOWER_PARTS has one."""
        self.progress(what, 0.0, 1.0)
        calls: list[tuple[Contestant, float, int, float]] = []
        for one in some[: len(LOWER_PARTS) - self.looked_all_over]:
            part = LOWER_PARTS[self.looked_all_over]
            self.looked_all_over += 1
            seed = (self.seed + STEP * (MOST_ROUNDS + 1 + self.looked_all_over)) % 2**64
            calls.append((one, precision, seed, part * LOWER * ERROR))
        quiet = self.light.options
        looks = self.light.each(_looked_all_over, calls)
        for number, (one, _, seed, _) in enumerate(calls):
            told = stretch(self.progress, number, len(calls))
            watched = partial(_under_one_name, told, what)
            self.light.options = replace(quiet, progress=watched)
            one.take(next(looks))
            self.light.options = quiet
            if one.found is not None and one.found.dark[0].any():
                site = np.array([one.found.worst_site(0)])
                error = DARK_LOOK * self.upper_error
                self.light.look_for_too_dark(one, seed + DARK, error, site)
            if not one.in_the_way:
                self.lower = max(self.lower, one.lower)

    @property
    def can_look_all_over(self) -> bool:
        """Whether there is error probability left for one more lower bound (definition)."""
        return self.looked_all_over < len(LOWER_PARTS)

    def run(self, keep: int = FINALISTS) -> None:
        """Looks with ever more paths until `keep` layouts are left."""
        paths = FIRST_PATHS
        self.rounds = 1
        if len(self.finalists) >= max(HELD_FROM, keep + 1):
            self._hold_against(self.finalists[0])
        while True:
            self._drop()
            left = self.finalists
            if len(left) <= keep or self.rounds >= MOST_ROUNDS:
                break
            for one in left[max(keep, len(left) // 2) :]:
                one.leave(Fate.ASIDE)
            paths, self.rounds = 2 * paths, self.rounds + 1
            self._look_at(self.finalists, paths, self.seed + STEP * self.rounds, "the close calls")
        left = self.finalists
        for one in left[:keep]:
            one.fate = Fate.FINALIST
        for one in left[keep:]:
            one.leave(Fate.ASIDE)

    def _hold_against(self, leader: Contestant) -> None:
        """Lower bound of the layout that looks best; its dark faces are looked at from then on."""
        self.look_all_over([leader], ROUGH, "every face of the brightest")
        if leader.fate is not Fate.RACING:
            return
        leader.sites = np.union1d(leader.sites, self.light.faces_of(leader, len(leader.sites)))
        leader.worst = None  # of a rough run, for the bound only
        seed = self.seed + STEP * (2 * MOST_ROUNDS)
        leader.upper = np.inf  # this round takes the place of its first one
        self.light.look(leader, FIRST_PATHS, seed, FIRST_LOOK * self.upper_error)

    def _drop(self) -> None:
        for one in self.everyone:
            if one.fate in (Fate.RACING, Fate.ASIDE) and one.upper < self.lower:
                one.leave(Fate.WORSE)

    def finish(self, precision: float) -> None:
        """Look all over the finalists until the one that looks best has been."""
        while self.can_look_all_over:
            left = self.finalists
            if not left or left[0].worst is not None:
                break
            self.look_all_over(left[:1], precision, "every face of the best")
        self._drop()

    def show(self, precision: float) -> list[Contestant]:
        """Look all over what is shown, the best first, and bring its upper bounds down."""
        self.finish(precision)
        blank = [one for one in self._shown() if one.worst is None]
        self.look_all_over(blank, precision, "every face of what is shown")
        shown = self._shown()
        for number, one in enumerate(shown[:MOST_SHOWN]):
            if one.found is not None and one.fate is not Fate.TOO_DARK:
                seed = (self.seed + STEP * (3 * MOST_ROUNDS) + LAST + 2 * number) % 2**64
                self.light.look_at_worst(one, seed, SHOWN * ERROR / MOST_SHOWN)
        self._follow_up()
        return shown

    def _follow_up(self) -> None:
        """One more round for what was set aside early and leaves most open: then it is known."""
        if self.rounds >= MOST_ROUNDS:
            return  # no error probability is left for one
        left = [one for one in self.everyone if one.fate is Fate.ASIDE and one.worst is None]
        left.sort(key=lambda one: -one.upper)
        open_yet = [one for one in left[:MOST_FOLLOWED] if one.upper >= self.lower]
        seed = (self.seed + STEP * (4 * MOST_ROUNDS)) % 2**64
        self._look_at(open_yet, FOLLOWED_PATHS, seed, "what was set aside")
        for one in open_yet:
            one.leave(Fate.ASIDE)
        self._drop()

    def _look_at(self, some: Sequence[Contestant], paths: int, seed: int, what: str) -> None:
        """One more round for some layouts."""
        calls = [(one, paths, seed, LATER_LOOK * self.upper_error) for one in some]
        for number, found in enumerate(self.light.each(_looked_at, calls)):
            some[number].take(found)
            self.progress(what, number + 1, len(some))

    @property
    def ranking(self) -> list[Contestant]:
        """Finalists, the brightest first; of layouts that are all out the brightest.

        Once no more may be looked at all over, those that were come first.
        """
        clear = [one for one in self.everyone if not one.in_the_way]
        left = self.finalists or sorted(clear, key=lambda one: -one.estimate)[:1]
        return left if self.can_look_all_over else sorted(left, key=lambda one: one.worst is None)

    def _shown(self) -> list[Contestant]:
        """The ranking, and the present layout with it; what cannot win comes last."""
        ranking, present = self.ranking, self.present
        shown = ranking if present is None or present in ranking else [*ranking, present]
        return sorted(shown, key=lambda one: (one.in_the_way, one.worst is None, -one.estimate))


def _under_one_name(told: Progress, what: str, _: str, done: float, whole: float) -> None:
    """Progress of parts with names of their own."""
    told(what, done, whole)


def _tried_out(light: Light, layout: Layout, seed: int, error: float) -> Contestant:
    """A layout with its dark faces, after a first look at them and a close one if too dark.

    `error` is the probability that any of its upper bounds fails.
    """
    one = light.contestant(layout, seed)
    light.look(one, FIRST_PATHS, seed + STEP, FIRST_LOOK * error)
    light.look_for_too_dark(one, seed + DARK, DARK_LOOK * error)
    return one


def _looked_at(light: Light, one: Contestant, paths: int, seed: int, error: float) -> Contestant:
    """The same layout after a further look at its dark faces."""
    light.look(one, paths, seed, error)
    return one


def _looked_all_over(
    light: Light, one: Contestant, precision: float, seed: int, error: float
) -> Contestant:
    """The same layout after a look at all its faces."""
    light.look_all_over(one, precision, seed, error)
    return one


def _spread(count: int) -> list[int]:
    """All numbers below `count`, first some that lie evenly among them: the pilots."""
    first = [round(k) for k in np.linspace(0, count - 1, min(PILOTS, count))]
    return list(dict.fromkeys([*first, *range(count)]))
