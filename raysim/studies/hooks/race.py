"""Many layouts on trial: the hopeless are dropped early, the rays go to the close calls.

After each round a layout is dropped if its upper bound lies below the lower bound of another one:
then it is worse, with the stated confidence. If more than half are left, the darker half is set
aside all the same, so that each round costs about as much as the one before (sequential halving);
those are *not* shown to be worse, but their upper bounds are kept, and say how much better than
the winner they could be at the most.

Error probability, 1 - CONFIDENCE in all for each number of respirators: the best layout of those
that entered together is one fixed layout, so its upper bound has to hold, at each of MOST_ROUNDS
rounds and for each entry (UPPER_ERROR, in equal parts), and so have the lower bounds of the
MOST_LOWER layouts that were held against others (LOWER_ERROR, in equal parts). Union bound. What
enters later is chosen by what was seen before, and is looked at with fresh random numbers.

Sources: successive elimination, Paulson, "A sequential procedure for selecting the population with
the largest mean from k normal populations", Ann. Math. Stat. 35 (1964); Even-Dar, Mannor and
Mansour, "Action elimination and stopping conditions", JMLR 7 (2006); halving, Karnin, Koren and
Somekh, "Almost optimal exploration in multi-armed bandits", ICML (2013) [all from memory].
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raysim.estimate.bounds import CONFIDENCE
from raysim.studies.hooks.light import PILOTS, Contestant, Fate, Light
from raysim.studies.hooks.load import Layout

UPPER_ERROR = 0.02
LOWER_ERROR = 1.0 - CONFIDENCE - UPPER_ERROR
MOST_ROUNDS, MOST_LOWER = 8, 4
FIRST_PATHS = 16  # per batch and face
FINALISTS = 3
HELD_FROM = 40  # layouts: with fewer, dropping early saves less than its lower bound costs
ROUGH = 0.1  # precision of the lower bound that the hopeless are held against
STEP, ENTRY = 1000, 100_000  # between seeds of unlike purpose, and of unlike entries
DARK = 500  # seed of the round at what seems too dark


@dataclass
class Race:
    """Layouts of one number of respirators, with what each was found to give.

    `lower` is a lower bound (W/m2) that the worst face of some layout is known to reach;
    `lower_left` how many more of them the error probability allows; `entries` how often layouts
    may enter.
    """

    light: Light
    seed: int
    everyone: list[Contestant]
    lower: float = 0.0
    rounds: int = 0
    lower_left: int = MOST_LOWER
    entries: int = 1
    entered: int = 0

    @property
    def round_error(self) -> float:
        """Error probability of the upper bound of one layout at one round (definition)."""
        return UPPER_ERROR / (MOST_ROUNDS * self.entries)

    @property
    def finalists(self) -> list[Contestant]:
        """Layouts still in the race, the brightest worst face first (definition)."""
        left = [one for one in self.everyone if one.fate in (Fate.RACING, Fate.FINALIST)]
        return sorted(left, key=lambda one: -one.estimate)

    def enter(self, layouts: Sequence[Layout]) -> None:
        """Put further layouts on trial, at most `entries` times."""
        assert self.entered < self.entries
        seed = (self.seed + ENTRY * self.entered) % 2**64
        self.entered += 1
        known = {frozenset(one.layout) for one in self.everyone}
        fresh = [layout for layout in layouts if frozenset(layout) not in known]
        found: dict[int, Contestant] = {}
        for k in _spread(len(fresh)):
            found[k] = one = self.light.contestant(fresh[k], seed)
            self.light.look(one, FIRST_PATHS, seed + STEP, self.round_error)
            self.light.look_for_too_dark(one, seed + DARK)
            self.light.options.progress(_title(fresh[k]), len(found), len(fresh))
        self.everyone += [found[k] for k in range(len(fresh))]

    def look_all_over(self, one: Contestant, precision: float) -> None:
        """All faces of one layout, which gives it a lower bound; not more than MOST_LOWER times."""
        if self.lower_left > 0:
            self.lower_left -= 1
            number = MOST_LOWER - self.lower_left
            seed = (self.seed + STEP * (MOST_ROUNDS + 1 + number)) % 2**64
            self.light.look_all_over(one, precision, seed, LOWER_ERROR / MOST_LOWER)
            self.lower = max(self.lower, one.lower)

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
            left = self.finalists
            for number, one in enumerate(left):
                seed = self.seed + STEP * (self.rounds)
                self.light.look(one, paths, seed, self.round_error)
                self.light.options.progress("tracing the close calls", number + 1, len(left))
        left = self.finalists
        for one in left[:keep]:
            one.fate = Fate.FINALIST
        for one in left[keep:]:
            one.leave(Fate.ASIDE)

    def _hold_against(self, leader: Contestant) -> None:
        """Lower bound of the layout that looks best; its dark faces are looked at from then on."""
        self.look_all_over(leader, ROUGH)
        if leader.fate is Fate.TOO_DARK:
            return
        leader.sites = np.union1d(leader.sites, self.light.faces_of(leader, len(leader.sites)))
        leader.worst = None  # of a rough run, for the bound only
        seed = self.seed + STEP * (2 * MOST_ROUNDS)
        leader.upper = np.inf  # this round takes the place of its first one
        self.light.look(leader, FIRST_PATHS, seed, self.round_error)

    def _drop(self) -> None:
        for one in self.everyone:
            if one.fate in (Fate.RACING, Fate.ASIDE) and one.upper < self.lower:
                one.leave(Fate.WORSE)

    def finish(self, precision: float, all_of_them: bool) -> list[Contestant]:
        """Look all over finalists until the one that looks best has been, or all; best first.

        Of layouts that are all too dark the least dark: never none.
        """
        while self.lower_left > 0:
            left = self.finalists
            if all_of_them:
                left = [one for one in left if one.worst is None]
            if not left or left[0].worst is not None:
                break
            self.look_all_over(left[0], precision)
        self._drop()
        left = self.finalists or [max(self.everyone, key=lambda one: one.estimate)]
        return sorted(left, key=lambda one: one.worst is None)


def _spread(count: int) -> list[int]:
    """All numbers below `count`, first some that lie evenly among them: the pilots."""
    first = [round(k) for k in np.linspace(0, count - 1, min(PILOTS, count))]
    return list(dict.fromkeys([*first, *range(count)]))


def _title(layout: Layout) -> str:
    return f"trying layouts of {len(layout)}" if len(layout) > 1 else "trying hook positions"
