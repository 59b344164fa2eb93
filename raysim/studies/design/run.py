"""The whole study: from a wish to designs traced in full, or to what stands in their way."""

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from raysim.base.progress import nobody_watching
from raysim.base.units import J_M2_PER_J_CM2
from raysim.dose.result import Result
from raysim.library.assumptions import assumptions
from raysim.scene.build import BuiltScene
from raysim.studies.asked import checked
from raysim.studies.design.boxes import size_words
from raysim.studies.design.finals import FULL, MOST_FULL, Finals, Judge
from raysim.studies.design.limits import KEPT, Limits
from raysim.studies.design.proposals import Proposal, excess, proposals
from raysim.studies.design.relax import Relaxing
from raysim.studies.design.result import DesignStudy
from raysim.studies.design.scenes import Workplace, workplace
from raysim.studies.design.search import EACH, FIRST, SURE, Search, Steps
from raysim.studies.design.shapes import hung_shapes, refuse_nameless
from raysim.studies.design.sums import sums_of
from raysim.studies.design.trial import Trial
from raysim.studies.design.wish import Wish, read_wish, refused
from raysim.transport.options import RunOptions

ROUNDS = 3  # of short traces; own choice, as all here
TRIES = 3  # full traces for each aim
NOTABLY = 1.1  # times the light of a cheaper one that makes a step of the front


def unjudged(scene: BuiltScene, result: Result) -> Result:
    """The result as it is: no verdict (definition)."""
    return result


def study(
    wish: str | Path, *, judge: Judge = unjudged, options: RunOptions | None = None
) -> DesignStudy:
    """Boxes for a wish: the cheapest, the quickest and the longest-lived, traced in full.

    Parameters
    ----------
    wish : path
        Of a TOML file, see `raysim start DIR --wish`.
    judge : callable
        Gives the result of a scene its verdict, which lies above this room: without it there is
        none. `raysim design` takes `with_verdict`.

    Raises
    ------
    RaysimError
        A wish with faults, or sizes that nothing fits.

    Examples
    --------
    The example wish, for one respirator:

    >>> import tempfile
    >>> from raysim.starter.scenes import wish_text
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     wish = Path(folder, "wish.toml")
    ...     _ = wish.write_text(wish_text().replace("number = 6", "number = 1"), encoding="utf-8")
    ...     found = study(wish)
    >>> found.cheapest.cost <= found.quickest.cost <= 420
    True
    """
    options, path = checked(options), Path(wish)
    asked = read_wish(path)
    hung = hung_shapes(asked, path)
    refuse_nameless(hung)
    pool = list(proposals(asked, hung))
    _refuse_if_nothing_fits(asked, path, pool)
    with tempfile.TemporaryDirectory() as folder:
        work = workplace(asked, hung, path, Path(folder))
        return _Study(work, path, pool, options, judge).found()


class _Study:
    """One study on its way."""

    def __init__(
        self,
        work: Workplace,
        path: Path,
        pool: Sequence[Proposal],
        options: RunOptions,
        judge: Judge,
    ) -> None:
        self.work, self.path = work, path
        self.options = replace(options, progress=nobody_watching)
        material = assumptions()["material_dose_J_cm2"].value * J_M2_PER_J_CM2
        sums = sums_of(work.wish, work.hung)
        self.limits = Limits(sums, work.wish.wear.material_dose or material)
        self.search = Search(work, sums, self.limits, pool)
        self.steps = Steps(options.progress, FIRST + ROUNDS * EACH + 1 + (MOST_FULL + 2) * FULL)
        self.finals = Finals(work, self.options, self.steps, judge)
        self.relaxing = Relaxing(self.search, self.finals, self.steps, self.options)

    def found(self) -> DesignStudy:
        """The study; broken off by Ctrl-C, with what is known by then."""
        interrupted = False
        try:
            self.steps.done("short traces", 0.0)
            self.search.run(self.options, self.steps, ROUNDS)
            self._finalists()
            if not self.finals.any_meets:
                self.relaxing.run()
        except KeyboardInterrupt:
            interrupted = True
        designs = self.finals.designs
        if interrupted and not designs and not self.search.trials:
            raise KeyboardInterrupt
        return DesignStudy(
            wish=self.work.wish,
            path=self.path,
            limits=self.limits,
            seed=self.options.seed,
            designs=tuple(sorted(designs, key=lambda one: (one.cost, one.time))),
            trials=tuple(self.search.trials),
            relaxations=tuple(sorted(self.relaxing.found, key=lambda one: one.factor)),
            proposals=len(self.search.pool),
            hopeless=self.search.hopeless,
            geometries=int(self.search.done.sum()),
            interrupted=interrupted,
        )

    def _finalists(self) -> None:
        """Full traces for each aim, and of some more of the front."""
        cheap = self._likely(_cost)
        if cheap:
            self.search.other_linings(cheap[0], self.options)
        self.steps.done("places for lamps")
        for trial in self._likely(_cost)[:1]:
            self.search.better_lamps(trial, self.options)
        self.steps.done("places for lamps", 2 * FULL)
        for aim in (_cost, _darkness, _spread):
            self._first_that_meets(self._likely(aim)[:TRIES])
        front: list[Trial] = []
        for trial in self._likely(_cost):
            if not front or trial.worst > NOTABLY * front[-1].worst:
                front.append(trial)
        step = max((len(front) - 1) // 3, 1)
        for trial in front[::step]:
            self.finals.trace(trial.proposal)

    def _likely(self, aim: Callable[[Trial], float]) -> list[Trial]:
        """Short traces that seem to meet the wish, the best by some aim first."""
        if not self.search.trials:
            return []
        keeps = (self.search.traced <= np.array([KEPT, KEPT, SURE, SURE])[:, None]).all(axis=0)
        likely = [self.search.trials[k] for k in np.flatnonzero(keeps)]
        return sorted(likely, key=lambda trial: (aim(trial), trial.proposal.cost))

    def _first_that_meets(self, trials: Sequence[Trial]) -> None:
        for trial in trials:
            design = self.finals.trace(trial.proposal)
            if design is not None and not design.broken:
                return


def _cost(trial: Trial) -> float:
    return trial.proposal.cost


def _darkness(trial: Trial) -> float:
    return -trial.worst


def _spread(trial: Trial) -> float:
    return trial.spread


def _refuse_if_nothing_fits(wish: Wish, path: Path, pool: Sequence[Proposal]) -> None:
    """Refuse a wish whose largest size holds none of the proposals."""

    def over(one: Proposal) -> float:
        return excess(one.box, wish.limits.outside, wish.sheet[one.sheet].thickness)

    if any(over(one) <= 1.0 + 1e-9 for one in pool):
        return
    what = "no box of this size holds the load with a lamp of the wish"
    mend = "allow a larger box, fewer respirators or shorter lamps"
    if pool:
        near = min(pool, key=over)
        size = size_words(near.box.outside(wish.sheet[near.sheet].thickness), near.box.grid)
        what += f"; the nearest is {size} outside, with {near.lamps.kind.name} lamps"
    raise refused(path, "limits.outside", what, mend)
