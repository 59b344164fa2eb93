"""What a search for designs found."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from raysim.assess.reuse import Reuse
from raysim.base.figures import Figures
from raysim.dose.result import Result
from raysim.studies.design.limits import Limit, Limits
from raysim.studies.design.proposals import Proposal
from raysim.studies.design.trial import Trial
from raysim.studies.design.wish import Wish


@dataclass(frozen=True)
class Design(Figures):
    """A box that was traced in full.

    `scene` is its file (text) and `meshes` are the files beside it; `broken` are the limits of the
    wish that it does not keep. `result` has a verdict where somebody gave one.
    """

    name: str
    proposal: Proposal
    result: Result
    reuse: Reuse | None
    scene: str
    meshes: dict[str, bytes]
    excess: float  # outer size over the limit
    broken: tuple[Limit, ...]
    number: int  # of respirators

    @property
    def cost(self) -> float:
        """In the currency of the wish (definition)."""
        return self.proposal.cost

    @property
    def time(self) -> float:
        """Calculated exposure time, s, cautious case (definition)."""
        return self.result.calculated

    @property
    def each(self) -> float:
        """Exposure time for each respirator, s (definition)."""
        return self.time / self.number

    @property
    def cycles(self) -> int:
        """Cycles that a respirator lasts (definition)."""
        return self.reuse.cycles if self.reuse else 0

    @property
    def wear(self) -> float:
        """Most dose of a cycle over its limit: its inverse is the cycles that material stands.

        Source: definition.
        """
        shares = [1.0 / max(limit, 1e-12) for limit in self.material_cycles]
        return max(shares, default=math.inf)

    @property
    def material_cycles(self) -> tuple[float, ...]:
        """Cycles by the dose on facepiece and straps, not rounded (definition)."""
        if self.reuse is None:
            return ()
        doses = {f"dose on the {part.part}": part.dose for part in self.reuse.parts}
        limits = [limit for limit in self.reuse.limits if limit.what in doses]
        return tuple(1e4 * float(limit.value.split()[0]) / doses[limit.what] for limit in limits)

    def needs(self, wish: Wish) -> dict[Limit, float]:
        """What it needs of each of LIMITS, over what was wished for (definition)."""
        limits = wish.limits
        return {
            Limit.BUDGET: self.cost / wish.money(limits.budget),
            Limit.SIZE: self.excess,
            Limit.TIME: self.time / limits.longest_cycle,
            Limit.WEAR: limits.cycles / max(self.cycles, 0.5),
        }


@dataclass(frozen=True)
class Relaxation(Figures):
    """Limits that stand in the way, one or two, and the design that shows what would do instead.

    `factor` is what it needs over what was wished for, 1 and more; of two limits the product.
    """

    limits: tuple[Limit, ...]
    design: Design
    factor: float


@dataclass(frozen=True)
class DesignStudy:
    """Designs that meet a wish, or what stands in their way.

    Attributes
    ----------
    designs : tuple of Design
        Traced in full, the cheapest first; those that meet the wish and those that do not.
    trials : tuple of Trial
        Short traces, to compare by.
    relaxations : tuple of Relaxation
        Where no design meets the wish: the smallest change of each limit that helps alone, the best
        first; where none does, of two.
    proposals, hopeless, geometries : int
        How many proposals there were, how many of them cannot do by an energy balance alone, and
        how many geometries had a short trace.
    """

    wish: Wish
    path: Path
    limits: Limits
    seed: int
    designs: tuple[Design, ...]
    trials: tuple[Trial, ...]
    relaxations: tuple[Relaxation, ...]
    proposals: int
    hopeless: int
    geometries: int
    interrupted: bool

    @property
    def meeting(self) -> tuple[Design, ...]:
        """Those designs that keep all limits (definition)."""
        return tuple(one for one in self.designs if not one.broken)

    @property
    def cheapest(self) -> Design | None:
        """Of those that meet the wish the one of least cost (definition)."""
        return min(self.meeting, key=lambda one: (one.cost, one.time), default=None)

    @property
    def quickest(self) -> Design | None:
        """Of those that meet the wish the one of least time (definition)."""
        return min(self.meeting, key=lambda one: (one.time, one.cost), default=None)

    @property
    def longest_lived(self) -> Design | None:
        """Of those that meet the wish the one that wears respirators least (definition)."""
        return min(self.meeting, key=lambda one: (one.wear, one.cost), default=None)

    @property
    def front(self) -> tuple[Design, ...]:
        """Those that meet the wish, and of which none is both cheaper and quicker (definition)."""
        return not_beaten(self.meeting)


def not_beaten(designs: Sequence[Design]) -> tuple[Design, ...]:
    """Designs of which none is as cheap and as quick as another one, the cheapest first."""
    found: list[Design] = []
    for one in sorted(designs, key=lambda one: (one.cost, one.time)):
        if not found or one.time < found[-1].time:
            found.append(one)
    return tuple(found)
