"""Short traces of one geometry under several linings, to compare by: never to set a timer by."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.base.errors import Level, SceneError
from raysim.base.fault_codes import Code
from raysim.base.figures import Figures
from raysim.library.surfaces import find_surface
from raysim.scene.build import BuiltScene
from raysim.scene.check.contact import contact_faults
from raysim.studies.design.proposals import Proposal
from raysim.studies.design.scenes import Workplace
from raysim.studies.linings.bench import LiningBench
from raysim.studies.linings.columns import Variant, glossy_and_bright, in_groups
from raysim.transport.options import RunOptions

# Precisions of a short trace and of a closer one; own choice, as the limit of rays.
COARSE, CLOSE = 0.3, 0.1
MOST_RAYS = 12_000_000  # of one; what is darker than these show is hopeless
# What the best-lit face gets in the bright case over what 1 % of the area exceeds in the expected
# one: own estimate, for the choice of what is traced in full.
BRIGHTEST = 1.3
IN_THE_WAY = {Code.CUTS_OTHER, Code.CUTS_WALL, Code.OUTSIDE_BOX, Code.TOUCHES_OTHER}


@dataclass(frozen=True)
class Trial(Figures):
    """What a short trace found of a proposal, W/m2: the worst face, cautious, and about the best.

    `bound` is the lower bound on the worst face: it vouches for no more than this. By about
    `precision`, as a share, `worst` may err.
    """

    proposal: Proposal
    worst: float
    bound: float
    best: float
    precision: float

    @property
    def spread(self) -> float:
        """Light of the best-lit face with new lamps over that of the worst, about (definition)."""
        return self.best / self.worst


def fitting_scene(work: Workplace, proposal: Proposal) -> BuiltScene | None:
    """The scene of a proposal; None where something is in the way of something else."""
    try:
        scene = work.scene(proposal, "trial.toml")
    except SceneError:
        return None
    faults = contact_faults(scene)
    if any(fault.level is Level.ERROR or fault.code in IN_THE_WAY for fault in faults):
        return None
    return scene


def trials(
    scene: BuiltScene, tried: Sequence[Proposal], options: RunOptions, precision: float = COARSE
) -> list[Trial]:
    """Short traces of proposals of one geometry, which differ in their linings."""
    bench = LiningBench(scene, options)
    variants = [
        Variant(str(number), tuple(find_surface(name) for name in one.linings))
        for number, one in enumerate(tried)
    ]
    found = []
    for places in in_groups(variants, glossy_and_bright):
        group = [variants[place] for place in places]
        light = bench.worst_face(group, precision, int(MOST_RAYS * COARSE / precision))
        for number, place in enumerate(places):
            row = bench.row("", bench.walls, light, precision, number=number)
            case = row.cases[CAUTIOUS]
            best = BRIGHTEST * row.cases[EXPECTED].best
            worst = max(case.worst.irradiance, case.worst.lower_bound, 1e-9)
            found.append(Trial(tried[place], worst, case.worst.lower_bound, best, precision))
    return found


def of_one_geometry(
    options: RunOptions, piece: tuple[BuiltScene, Sequence[Proposal]]
) -> list[Trial]:
    """Those of one geometry as a piece of work."""
    return trials(*piece, options)


def relined(proposal: Proposal, linings: tuple[str, ...], cost: float) -> Proposal:
    """The same box with other linings (definition)."""
    return replace(proposal, linings=linings, cost=cost)
