"""Full traces: a proposal becomes a design with its verdict, and with the limits it breaks."""

from collections.abc import Callable
from dataclasses import replace

from raysim.assess.reuse import reuse
from raysim.base.errors import any_error
from raysim.dose.result import Result
from raysim.dose.simulate import simulate
from raysim.scene.build import BuiltScene
from raysim.scene.check.check import check_scene
from raysim.studies.design.limits import KEPT, Limit
from raysim.studies.design.proposals import Proposal, excess
from raysim.studies.design.result import Design
from raysim.studies.design.scenes import Workplace, scene_files
from raysim.studies.design.search import Steps
from raysim.transport.options import RunOptions

Judge = Callable[[BuiltScene, Result], Result]
MOST_FULL = 6  # in all; own choice, as below
FULL = 4.0  # pieces of work that a full trace counts for


class Finals:
    """Designs traced in full, each proposal once."""

    def __init__(self, work: Workplace, options: RunOptions, steps: Steps, judge: Judge) -> None:
        self.work, self.options, self.steps, self.judge = work, options, steps, judge
        self.known: dict[Proposal, Design | None] = {}

    @property
    def designs(self) -> list[Design]:
        """All that could be built, as they were traced (definition)."""
        return [one for one in self.known.values() if one is not None]

    @property
    def any_meets(self) -> bool:
        """Whether one of them keeps the wish (definition)."""
        return any(not one.broken for one in self.designs)

    def trace(self, proposal: Proposal, *, beyond: bool = False) -> Design | None:
        """A proposal traced in full; None where it cannot be built, or enough were traced.

        What is `beyond` is traced however many were.
        """
        if proposal in self.known:
            return self.known[proposal]
        if len(self.known) >= MOST_FULL and not beyond:
            return None
        name = f"design {len(self.known) + 1}"
        scene = self.work.scene(proposal, f"{name.replace(' ', '_')}.toml")
        faults = check_scene(scene)
        design = None
        if not any_error(faults):
            result = simulate(
                scene,
                seed=self.options.seed,
                threads=self.options.threads,
                warnings=tuple(faults),
            )
            if result.interrupted:
                raise KeyboardInterrupt
            design = self._design(name, proposal, self.judge(scene, result))
        self.known[proposal] = design
        self.steps.done("full traces", FULL)
        return design

    def _design(self, name: str, proposal: Proposal, result: Result) -> Design:
        wish, thick = self.work.wish, self.work.wish.sheet[proposal.sheet].thickness
        found = Design(
            name,
            proposal,
            result,
            reuse(replace(result, verdict=None)),
            *scene_files(self.work, proposal),
            excess(proposal.box, wish.limits.outside, thick),
            (),
            wish.load.number,
        )
        broken = [limit for limit, need in found.needs(wish).items() if need > KEPT]
        if result.verdict is not None and result.verdict.forbids:
            broken.append(Limit.VERDICT)
        return replace(found, broken=tuple(broken))
