"""The whole study: from a wish to designs traced in full, or to what stands in their way."""

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from raysim.assess.reuse import reuse
from raysim.base.errors import Level
from raysim.base.progress import nobody_watching
from raysim.base.units import J_M2_PER_J_CM2
from raysim.dose.result import Result
from raysim.dose.simulate import simulate
from raysim.library.assumptions import assumptions
from raysim.scene.build import BuiltScene
from raysim.scene.check.check import check_scene
from raysim.studies.asked import checked
from raysim.studies.design.boxes import size_words
from raysim.studies.design.limits import Limits
from raysim.studies.design.proposals import Proposal, excess, proposals
from raysim.studies.design.result import Design, DesignStudy, Limit, Relaxation
from raysim.studies.design.scenes import Workplace, scene_files, workplace
from raysim.studies.design.search import EACH, FIRST, Search, Steps
from raysim.studies.design.shapes import hung_shapes, refuse_nameless
from raysim.studies.design.sums import sums_of
from raysim.studies.design.trial import Trial
from raysim.studies.design.wish import Wish, read_wish, refused
from raysim.transport.options import RunOptions

Judge = Callable[[BuiltScene, Result], Result]
ROUNDS, MORE_ROUNDS = 3, 1  # of short traces; where a limit is loosened
TRIES = 3  # full traces for each aim
MOST_FULL = 6  # in all
SMALLER, NOTABLY = 3, 0.95  # times a smaller change is asked for, and how much; own choice
FULL = 4.0  # pieces of work that a full trace counts for
SURE = 1.1  # how far a short trace may miss a limit and still be followed; own choice


def unjudged(scene: BuiltScene, result: Result) -> Result:
    """The result as it is: no verdict (definition)."""
    return result


def study(
    wish: str | Path, options: RunOptions | None = None, *, judge: Judge = unjudged
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
        self.work, self.path, self.judge = work, path, judge
        self.options = replace(options, progress=nobody_watching)
        material = assumptions()["material_dose_J_cm2"].value * J_M2_PER_J_CM2
        sums = sums_of(work.wish, work.hung)
        self.limits = Limits(sums, work.wish.wear.material_dose or material)
        self.search = Search(work, sums, self.limits, pool)
        self.steps = Steps(options.progress, FIRST + ROUNDS * EACH + 1 + (MOST_FULL + 2) * FULL)
        self.full: dict[Proposal, Design | None] = {}
        self.relaxations: list[Relaxation] = []

    def found(self) -> DesignStudy:
        """The study; broken off by Ctrl-C, with what is known by then."""
        interrupted = False
        try:
            self.steps.done("short traces", 0.0)
            self.search.run(self.options, self.steps, ROUNDS)
            self._finalists()
            if not any(one and not one.broken for one in self.full.values()):
                self._relax()
        except KeyboardInterrupt:
            interrupted = True
        designs = [one for one in self.full.values() if one is not None]
        if interrupted and not designs and not self.search.trials:
            raise KeyboardInterrupt
        return DesignStudy(
            wish=self.work.wish,
            path=self.path,
            limits=self.limits,
            seed=self.options.seed,
            designs=tuple(sorted(designs, key=lambda one: (one.cost, one.time))),
            trials=tuple(self.search.trials),
            relaxations=tuple(sorted(self.relaxations, key=lambda one: one.factor)),
            proposals=len(self.search.pool),
            hopeless=self.search.hopeless,
            geometries=int(self.search.done.sum()),
            interrupted=interrupted,
        )

    def _finalists(self) -> None:
        """Full traces for each aim, and of some more of the front."""
        cheap = self._likely(lambda trial: trial.proposal.cost)
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
            if not front or trial.worst > 1.1 * front[-1].worst:
                front.append(trial)
        step = max((len(front) - 1) // 3, 1)
        for trial in front[::step]:
            self._trace(trial.proposal)

    def _likely(self, aim: Callable[[Trial], float], loosened: Sequence[Limit] = ()) -> list[Trial]:
        """Short traces that seem to meet the wish, the best by some aim first."""
        likely = [t for t in self.search.trials if not set(self._missed(t)) - {*loosened}]
        return sorted(likely, key=lambda trial: (aim(trial), trial.proposal.cost))

    def _missed(self, trial: Trial) -> list[Limit]:
        """Limits that a short trace seems to miss."""
        limits, own = self.limits, trial.proposal
        missed = []
        if own.cost > limits.budget:
            missed.append(Limit.BUDGET)
        if self._excess(own) > limits.size + 1e-9:
            missed.append(Limit.SIZE)
        if trial.worst * SURE < limits.irradiance:
            missed.append(Limit.TIME)
        if trial.spread > SURE * limits.spread:
            missed.append(Limit.WEAR)
        return missed

    def _excess(self, proposal: Proposal) -> float:
        wish = self.work.wish
        return excess(proposal.box, wish.limits.outside, wish.sheet[proposal.sheet].thickness)

    def _first_that_meets(self, trials: Sequence[Trial]) -> None:
        for trial in trials:
            design = self._trace(trial.proposal)
            if design is not None and not design.broken:
                return

    def _trace(self, proposal: Proposal, beyond: bool = False) -> Design | None:
        """A proposal traced in full, once; None where it cannot be built, or enough were traced."""
        if proposal in self.full:
            return self.full[proposal]
        if len(self.full) >= MOST_FULL and not beyond:
            return None
        name = f"design {len(self.full) + 1}"
        scene = self.work.scene(proposal, f"{name.replace(' ', '_')}.toml")
        faults = check_scene(scene)
        design = None
        if not any(fault.level is Level.ERROR for fault in faults):
            result = simulate(
                scene,
                seed=self.options.seed,
                threads=self.options.threads,
                warnings=tuple(faults),
            )
            if result.interrupted:
                raise KeyboardInterrupt
            design = self._design(name, proposal, self.judge(scene, result))
        self.full[proposal] = design
        self.steps.done("full traces", FULL)
        return design

    def _design(self, name: str, proposal: Proposal, result: Result) -> Design:
        wish, text_and_meshes = self.work.wish, scene_files(self.work, proposal)
        found = Design(
            name,
            proposal,
            result,
            reuse(replace(result, verdict=None)),
            *text_and_meshes,
            self._excess(proposal),
            (),
            wish.load.number,
        )
        broken = []
        if found.cost > wish.money(wish.limits.budget):
            broken.append(Limit.BUDGET)
        if found.excess > 1.0 + 1e-9:
            broken.append(Limit.SIZE)
        if found.time > wish.limits.longest_cycle:
            broken.append(Limit.TIME)
        if found.cycles < wish.limits.cycles:
            broken.append(Limit.WEAR)
        if not broken and result.verdict is not None and result.verdict.forbids:
            broken.append(Limit.VERDICT)
        return replace(found, broken=tuple(broken))

    def _relax(self) -> None:
        """The smallest change of each limit alone that a full trace shows to help."""
        limits = (Limit.BUDGET, Limit.TIME, Limit.WEAR, Limit.SIZE)
        self.steps.whole += len(limits) * (MORE_ROUNDS * EACH + FULL)
        for limit in limits:
            self._loosen(limit)

    def _loosen(self, limit: Limit) -> None:
        """Let one limit go; then ask for a smaller change than the one that was found to help."""
        aim = {
            Limit.BUDGET: _cost,
            Limit.TIME: _darkness,
            Limit.WEAR: _spread,
            Limit.SIZE: lambda trial: self._excess(trial.proposal),
        }[limit]
        before, loosened = vars(self.limits).copy(), [limit]
        for _ in range(SMALLER):
            self.search.run(self.options, self.steps, MORE_ROUNDS, loosened)
            # A short trace errs: the first that seems to do may not, and the next one does.
            for trial in self._likely(aim, loosened)[: TRIES if loosened else 1]:
                self._trace(trial.proposal, beyond=True)
                if self._helps(trial, limit):
                    break
            helping = [t for t in self.search.trials if self._helps(t, limit)]
            if not helping:
                break
            best = min(helping, key=aim)
            self._ask_less(limit, best)
            loosened = []
        vars(self.limits).update(before)
        own = [one for one in self.full.values() if one and set(one.broken) == {limit}]
        if own:
            design = min(own, key=lambda one: self._factor(limit, one))
            self.relaxations.append(Relaxation(limit, design, self._factor(limit, design)))

    def _helps(self, trial: Trial, limit: Limit) -> bool:
        """Whether a full trace showed a proposal to miss this limit alone (definition)."""
        design = self.full.get(trial.proposal)
        return design is not None and set(design.broken) == {limit}

    def _ask_less(self, limit: Limit, trial: Trial) -> None:
        """Set a limit notably nearer to the wish than what a proposal takes."""
        name, value = {
            Limit.BUDGET: ("budget", NOTABLY * trial.proposal.cost),
            Limit.SIZE: ("size", NOTABLY * self._excess(trial.proposal)),
            Limit.TIME: ("irradiance", trial.worst / NOTABLY),
            Limit.WEAR: ("spread", NOTABLY * trial.spread),
        }[limit]
        setattr(self.limits, name, value)

    def _factor(self, limit: Limit, design: Design) -> float:
        """What a design needs of a limit, over what was wished for."""
        wish = self.work.wish.limits
        return {
            Limit.BUDGET: design.cost / self.work.wish.money(wish.budget),
            Limit.SIZE: design.excess,
            Limit.TIME: design.time / wish.longest_cycle,
            Limit.WEAR: wish.cycles / max(design.cycles, 0.5),
        }[limit]


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
        size = size_words(near.box.outside(wish.sheet[near.sheet].thickness))
        what += f"; the nearest is {size} outside, with {near.lamps.kind.name} lamps"
    raise refused(path, "limits.outside", what, mend)
