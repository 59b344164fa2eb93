"""What stands in the way of a wish, and the smallest change of one limit that helps, or of two.

Searched as the wish itself is, with all other limits held: sums rank all proposals by the change
that they need; the best of them get short traces, which teach the sums; the best of those are
traced in full until nothing seems to need less than what was shown to do. Since short traces err,
those that may need less all the same are looked at closer, the smallest first. Short traces are
kept: what was traced for one limit serves the others.
"""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from raysim.studies.design.finals import FULL, Finals
from raysim.studies.design.limits import KEPT, LIMITS, Limit
from raysim.studies.design.result import Relaxation
from raysim.studies.design.search import DOUBT, EACH, SURE, Search, Steps
from raysim.studies.design.trial import CLOSE, Trial
from raysim.transport.options import RunOptions

ROUNDS = 3  # of short traces for each limit; own choice, as all below
TRIES = 3  # full traces for each limit
TURNS, CLOSER = 3, 4  # of closer traces for each limit, and how many in each of them
NEARLY = 4.0  # power of what a sketch needs of a limit that is held: it errs, so no bar
SHOWN = np.full(4, np.inf)  # the same of what is known: a bar
SKETCHED = np.array([np.inf, np.inf, NEARLY, NEARLY])  # costs and sizes are exact
ERRS = np.array([0.0, 0.0, 1.0, 1.0])  # which needs are estimates
Ways = Sequence[tuple[Limit, ...]]  # limits let go together, one way or another


def change(needs: np.ndarray, ways: Ways, power: np.ndarray) -> np.ndarray:
    """The smallest change that does, as the product of what is needed of the limits let go.

    Times what is needed of the others to some `power` (4,). `needs` are (4, proposals), of
    `Limits.needs`.

    Source: definition.

    >>> float(change(np.array([1.2, 0.5, 1.0, 0.9]), [(Limit.BUDGET,)], SHOWN))
    1.2
    >>> float(change(np.array([1.2, 0.5, 1.0, 0.9]), [(Limit.SIZE,)], SHOWN))
    inf
    """
    beyond = np.where(needs > KEPT, needs, 1.0)
    found = np.full(needs.shape[1:], np.inf)
    for way in ways:
        freed = np.array([limit in way for limit in LIMITS])
        powers = np.where(freed, 1.0, power).reshape(-1, *[1] * (needs.ndim - 1))
        found = np.minimum(found, (beyond**powers).prod(axis=0))
    return found


class Relaxing:
    """A search for the smallest changes of a wish that nothing meets."""

    def __init__(self, search: Search, finals: Finals, steps: Steps, options: RunOptions) -> None:
        self.search, self.finals, self.steps, self.options = search, finals, steps, options
        self.found: list[Relaxation] = []

    def run(self) -> None:
        """Each limit by itself, then any two; it ends where a design comes up that breaks none."""
        self.steps.whole += len(LIMITS) * (ROUNDS * EACH + FULL)
        for limit in LIMITS:
            self._loosen([(limit,)])
        if not self.found:
            self.steps.whole += ROUNDS * EACH + FULL
            self._loosen([*combinations(LIMITS, 2)])

    def _loosen(self, ways: Ways) -> None:
        """The smallest change in one of these ways that a full trace shows to do."""
        for _ in range(ROUNDS):
            if self.finals.any_meets or not self._short(ways):
                break
        if (Limit.BUDGET,) in ways and (best := self._best(ways, SURE)) is not None:
            self.search.other_linings(best, self.options)
            self.search.better_lamps(self._best(ways, SURE) or best, self.options)
        for left in reversed(range(TRIES)):
            best = self._best(ways, SURE if left else 1.0)
            if best is None or best.proposal in self.finals.known or self.finals.any_meets:
                break
            self.finals.trace(best.proposal, beyond=True)
        for _ in range(TURNS):
            if self.finals.any_meets or not self._below(ways):
                break
        self._keep(ways)

    def _short(self, ways: Ways) -> bool:
        """A round of short traces; False where none is worth it."""
        places = self._worth_tracing(ways)
        if places:
            self.search.trace(places, self.options, self.steps, EACH)
        return bool(places)

    def _below(self, ways: Ways) -> bool:
        """Look closer at what may need less than what was shown, and trace the best of it in full.

        False where there is nothing that does.
        """
        self._short(ways)
        trials = self.search.trials
        full = np.array([trial.proposal in self.finals.known for trial in trials], bool)
        needed = change(self._known(np.inf), ways, SHOWN)
        shown = needed[full].min(initial=np.inf)
        rough = np.array([trial.precision > CLOSE for trial in trials], bool)
        order = np.argsort(np.where(rough & ~full, needed, np.inf), kind="stable")
        for place in order[: min(CLOSER, int((needed[rough & ~full] < shown).sum()))]:
            self.search.look_closer(int(place), self.options)
        best = self._best(ways, SURE)
        if best is None or best.proposal in self.finals.known:
            return False
        self.finals.trace(best.proposal, beyond=True)
        return True

    def _worth_tracing(self, ways: Ways) -> list[int]:
        """Proposals that seem to need less change than any known one, of unlike geometries."""
        known = change(self._known(SURE), ways, SHOWN).min(initial=np.inf)
        search, doubt = self.search, DOUBT ** ERRS[:, None]
        free = ~search.done[search.geometry] & (change(search.least, ways, SHOWN) < known)
        orders = []
        for needs in (search.sketched, search.sketched / doubt):
            seems = np.where(free, change(needs, ways, SKETCHED), np.inf)
            orders.append(iter(np.argsort(seems, kind="stable")[: int((seems < known).sum())]))
        found: dict[int, int] = {}
        while orders and len(found) < EACH:
            order = orders.pop(0)
            for place in map(int, order):
                if search.geometry[place] not in found:
                    found[int(search.geometry[place])] = place
                    orders.append(order)
                    break
        return list(found.values())

    def _known(self, sure: float) -> np.ndarray:
        """What each short trace needs, (4, trials): as shown in full, else if it errs by `sure`.

        At most by its own precision.
        """
        own = np.array([1.0 + trial.precision for trial in self.search.trials])
        needs = self.search.traced / np.minimum(sure, own) ** ERRS[:, None]
        for place, trial in enumerate(self.search.trials):
            if trial.proposal in self.finals.known:
                design = self.finals.known[trial.proposal]
                usable = design is not None and Limit.VERDICT not in design.broken
                shown = [*design.needs(self.search.work.wish).values()] if design else []
                needs[:, place] = shown if usable else np.inf
        return needs

    def _best(self, ways: Ways, sure: float) -> Trial | None:
        """The short trace that needs the smallest change, None where none will do."""
        needed = change(self._known(sure), ways, SHOWN)
        if not np.isfinite(needed).any():
            return None
        return self.search.trials[int(needed.argmin())]

    def _keep(self, ways: Ways) -> None:
        """Note the design that breaks the limits of one way, and no other, by least."""
        wish = self.search.work.wish
        own = [
            Relaxation(design.broken, design, float(change(needs, [design.broken], SHOWN)))
            for design in self.finals.designs
            for needs in [np.array([*design.needs(wish).values()])]
            if design.broken in ways
        ]
        if own and not self.finals.any_meets:
            self.found.append(min(own, key=lambda one: one.factor))
