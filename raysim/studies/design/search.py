"""The search from coarse to fine: which proposals get a short trace, round by round.

All that is counted is counted in traces, never in seconds, so that results repeat.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from raysim.base.progress import Progress
from raysim.library.surfaces import find_surface
from raysim.scene.check.check import WEAK_LINING
from raysim.studies.design.chosen import chosen_lamps
from raysim.studies.design.limits import KEPT, Limits
from raysim.studies.design.proposals import WALLS, Proposal, cost_of, excess
from raysim.studies.design.scenes import Workplace
from raysim.studies.design.sums import Sketch, Sums
from raysim.studies.design.trial import (
    CLOSE,
    Trial,
    fitting_scene,
    of_one_geometry,
    relined,
    trials,
)
from raysim.studies.linings.columns import Variant, glossy_and_bright
from raysim.transport.options import RunOptions
from raysim.transport.pieces import Shared, each

FIRST = 6  # geometries traced before anything is learned; own choice, as all here
SOME_WALLS = (("front",), ("floor",), ("front", "floor"))  # where a cheaper lining may do
EACH = 5  # geometries traced in each round after that
LEVELS = (0.25, 0.5, 0.75)  # of the way from the least cost to the budget, for the front
DOUBT = 1.25  # times the longest cycle: what is sketched to take longer is left out
SURE = 1.1  # how far a short trace may miss a limit and still be followed


class Steps:
    """Counts pieces of work, so that the share done is known; options that trace tell nothing."""

    def __init__(self, progress: Progress, whole: float) -> None:
        self.progress, self.whole, self.reached = progress, whole, 0.0

    def done(self, what: str, pieces: float = 1.0) -> None:
        """So many pieces more are done; `what` is going on."""
        self.reached = min(self.reached + pieces, self.whole)
        self.progress(what, self.reached, self.whole)


class Search:
    """Proposals, what the sums say of them, and the short traces so far."""

    def __init__(
        self, work: Workplace, sums: Sums, limits: Limits, pool: Sequence[Proposal]
    ) -> None:
        self.work, self.sums, self.limits, self.pool = work, sums, limits, pool
        self.sketch = Sketch(sums, pool)
        self.cost = np.array([one.cost for one in pool])
        self.size = self._excess(pool)
        self.most = np.array([sums.most(one) for one in pool])
        numbers: dict[object, int] = {}
        self.geometry = np.array([numbers.setdefault(p.geometry, len(numbers)) for p in pool])
        self.done = np.zeros(len(numbers), bool)
        self.trials: list[Trial] = []
        self.hopeless = int((self.most < limits.irradiance).sum())

    def run(self, options: RunOptions, steps: Steps, rounds: int) -> None:
        """Trace in rounds what seems to keep the wish."""
        self.trace(self._first(), options, steps, FIRST)
        for _ in range(rounds):
            self.trace(self._next(), options, steps, EACH)

    @property
    def least(self) -> np.ndarray:
        """What proposals need of each limit at the least, as is known for sure, (4, proposals)."""
        return self.limits.needs(self.cost, self.size, self.most, np.zeros(len(self.pool)))

    @property
    def sketched(self) -> np.ndarray:
        """The same as it is sketched (definition)."""
        return self.limits.needs(self.cost, self.size, self.sketch.worst, self.sketch.spread)

    @property
    def traced(self) -> np.ndarray:
        """The same of all short traces, (4, trials) (definition)."""
        own = [t.proposal for t in self.trials]
        cost, worst = np.array([p.cost for p in own]), np.array([t.worst for t in self.trials])
        spread = np.array([t.spread for t in self.trials])
        return self.limits.needs(cost, self._excess(own), worst, spread)

    def _excess(self, those: Sequence[Proposal]) -> np.ndarray:
        wish = self.work.wish
        thick = [wish.sheet[one.sheet].thickness for one in those]
        pairs = zip(those, thick, strict=True)
        return np.array([excess(one.box, wish.limits.outside, t) for one, t in pairs])

    def _allowed(self) -> np.ndarray:
        """Proposals that are not traced yet, and inside all limits that are known exactly."""
        return ~self.done[self.geometry] & (self.least <= KEPT).all(axis=0)

    def _first(self) -> list[int]:
        """Unlike geometries that seem bright: of every pattern and gap the brightest."""
        allowed = self._allowed()
        found: dict[tuple[object, ...], int] = {}
        for place in map(int, np.argsort(-self.sketch.worst, kind="stable")):
            one = self.pool[place]
            if allowed[place]:
                found.setdefault((one.lamps.axis, one.box.gap), place)
        return list(found.values())[:FIRST]

    def _next(self) -> list[int]:
        """What to trace next, one for each aim: cheap, quick, even, and steps of the front."""
        allowed, worst = self._allowed(), self.sketch.worst
        bright = worst * DOUBT >= self.limits.irradiance
        even = self.sketch.spread <= DOUBT * self.limits.spread
        fits = allowed & bright & even
        least = self.cost[allowed].min(initial=self.limits.budget)
        aims = [(fits, self.cost), (fits, -worst), (fits, self.sketch.spread)]
        aims += [
            (fits & (self.cost <= least + level * (self.limits.budget - least)), -worst)
            for level in LEVELS
        ]
        aims += [(allowed, -worst), (allowed, self.sketch.spread)]  # where nothing seems to fit
        found: list[int] = []
        for which, value in aims:
            taken = np.isin(self.geometry, self.geometry[found]) if found else ~which & which
            free = np.flatnonzero(which & ~taken)
            if len(free) and len(found) < EACH:
                found.append(int(free[value[free].argmin()]))
        return found

    def trace(self, places: Sequence[int], options: RunOptions, steps: Steps, planned: int) -> None:
        """Short traces of the geometries of some proposals, each under several linings."""
        pieces = []
        for place in places:
            self.done[self.geometry[place]] = True
            scene = fitting_scene(self.work, self.pool[place])
            if scene is not None:
                pieces.append((scene, self._linings(place)))
        for found in each(of_one_geometry, Shared(options), pieces, options.executor):
            self.trials += found
            steps.done("short traces")
        steps.done("short traces", len(places) - len(pieces))
        steps.done("short traces", planned - len(places))
        if self.trials:
            self.sketch.learn(
                [(t.proposal, self.sums.even(t.proposal), t.worst, t.best) for t in self.trials]
            )

    def _linings(self, place: int) -> list[Proposal]:
        """A proposal, and the same box under other linings that may share its light paths."""
        own = self.pool[place]
        same = np.flatnonzero(self.geometry == self.geometry[place])
        near = [
            self.pool[k] for k in map(int, same) if k != place and self.pool[k].sheet == own.sheet
        ]
        return [own, *(one for one in near if _kind(one) == _kind(own))]

    def other_linings(self, trial: Trial, options: RunOptions) -> None:
        """Short traces of a box under all linings, and with a cheaper one on door, floor or both.

        So those that look bright and are dark come out as what they are.
        """
        own, wish = trial.proposal, self.work.wish
        scene = fitting_scene(self.work, own)
        prices = {lining.surface.name: wish.money(lining.price) for lining in wish.lining}
        known = {t.proposal.linings for t in self.trials if t.proposal.geometry == own.geometry}
        ways = [(name,) * len(WALLS) for name in prices]
        for name in (name for name in prices if prices[name] < prices[own.lining]):
            if find_surface(name).reflectance >= WEAK_LINING:
                ways += [_with(own.linings, walls, name) for walls in SOME_WALLS]
        tried = [
            relined(
                own,
                way,
                cost_of(wish, own.box, own.lamps, offer=own.offer, sheet=own.sheet, linings=way),
            )
            for way in ways
            if way not in known
        ]
        if scene is not None and tried:
            self.trials += trials(scene, tried, options)

    def look_closer(self, place: int, options: RunOptions) -> None:
        """One of the short traces once more, closer."""
        own = self.trials[place].proposal
        scene = fitting_scene(self.work, own)
        if scene is not None:
            self.trials[place] = trials(scene, [own], options, CLOSE)[0]

    def better_lamps(self, trial: Trial, options: RunOptions) -> None:
        """Short traces of a box with its lamps, and with one fewer, where the study puts them."""
        own, wish = trial.proposal, self.work.wish
        scene = fitting_scene(self.work, own)
        for lamps in () if scene is None else chosen_lamps(scene, own.lamps, own.box.grid, options):
            cost = cost_of(
                wish, own.box, lamps, offer=own.offer, sheet=own.sheet, linings=own.linings
            )
            moved = replace(own, lamps=lamps, cost=cost)
            there = fitting_scene(self.work, moved)
            if there is not None:
                self.trials += trials(there, [moved], options)


def _with(linings: tuple[str, ...], walls: Sequence[str], name: str) -> tuple[str, ...]:
    """Linings with another one on some walls."""
    pairs = zip(WALLS, linings, strict=True)
    return tuple(name if wall in walls else old for wall, old in pairs)


def _kind(proposal: Proposal) -> tuple[object, ...]:
    return glossy_and_bright(Variant("", tuple(map(find_surface, proposal.linings))))
