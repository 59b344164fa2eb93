"""Cheap sums of a proposal: what its light can give at most, and a sketch of what it gives.

The bound is a proof: no judged face gets more than if all light ended on the load, evenly. The
sketch only chooses what is traced next, and is never shown as a time: it is the light of an even
cavity, times a share that the darkest face gets of it, which is learned from the traces so far.

Sources: conservation of energy; the even cavity is the integrating sphere, E = P / sum A (1 - r),
e.g. Goebel, Appl. Opt. 6:125 (1967) (from memory); ridge regression, Hoerl and Kennard,
Technometrics 12:55 (1970) (from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import cycle, islice

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.figures import Figures
from raysim.dose.exposure import Requirement
from raysim.dose.lamp_output import lamp_factors, warm_up_curve
from raysim.library.surfaces import find_surface
from raysim.studies.design.boxes import GAPS, MARGINS
from raysim.studies.design.places import AXIS, PATTERNS
from raysim.studies.design.proposals import WALLS, Proposal, wall_area
from raysim.studies.design.shapes import Hung
from raysim.studies.design.wish import Wish

# Before anything was traced: the worst face gets this share of the even light, times a power of the
# reflectance, since folds live on reflected light. Own estimates; a trace or two replaces them.
FIRST_SHARE, FOLDS = 0.13, 1.2
RIDGE = 0.5  # weight of the first guess, in traces


@dataclass(frozen=True)
class Sums(Figures):
    """What the sums of a wish rest on: its load, lamps and requirement.

    `absorbed` (m2) is what the load takes as an area that is black on both sides, cautious case.
    """

    wish: Wish
    absorbed: float
    output: float  # of a lamp in the cautious case, as a share of its rating
    requirement: Requirement

    def watts(self, proposal: Proposal) -> float:
        """UVC of all lamps in the cautious case, W (definition)."""
        return self.output * self.wish.lamp[proposal.offer].watts * len(proposal.lamps.arcs)

    def most(self, proposal: Proposal) -> float:
        """Irradiance that the worst face cannot exceed, W/m2 (conservation of energy)."""
        return self.watts(proposal) / self.absorbed

    def even(self, proposal: Proposal) -> float:
        """Irradiance of an even cavity, W/m2 (see the head of this module)."""
        lost = self.absorbed
        for wall, name in zip(WALLS, proposal.linings, strict=True):
            lost += wall_area(proposal.box.inside, wall) * (1.0 - _low(name))
        return self.watts(proposal) / lost


def sums_of(wish: Wish, hung: tuple[Hung, ...]) -> Sums:
    """The sums of a wish (definition)."""
    absorbed = 0.0
    for one in islice(cycle(hung), wish.load.number):
        for name, area in one.areas.items():
            surface = find_surface(name)
            kept = 1.0 - surface.reflectance_low - surface.transmittance_low
            absorbed += 2.0 * area * kept
    behaviour, target = wish.lamps_behaviour, wish.target
    output = float(lamp_factors([0.0], behaviour)[CAUTIOUS][0])
    curve = warm_up_curve(behaviour.warm_up)
    return Sums(wish, absorbed, output, Requirement(target.dose, target.safety_factor, curve))


def _low(name: str) -> float:
    return find_surface(name).reflectance_low


def features(proposal: Proposal) -> np.ndarray:
    """What tells proposals apart in the sketch, (features,), each of the order of 1."""
    box, lamps = proposal.box, proposal.lamps
    across = max(row.count for row in box.rows)
    deep = len({row.first[1] for row in box.rows})
    lining = find_surface(proposal.lining)
    along = 0.001 * lamps.kind.arc_mm / box.inside[AXIS.get(lamps.axis, 2)]
    kinds = [lamps.axis == axis for axis in PATTERNS]
    kinds += [box.gap == gap for gap in GAPS] + [box.margins == one for one in MARGINS]
    return np.array(
        [
            1.0,
            *map(float, kinds),
            np.log(len(lamps.arcs)) - 1.0,
            np.log(across),
            np.log(deep),
            along - 0.8,
            -np.log(1.0 - lining.reflectance_low) - 1.0,
            lining.specular,
        ]
    )


def first_share(proposal: Proposal) -> float:
    """Worst over even light as guessed before anything was traced (own estimate)."""
    return float(FIRST_SHARE * max(_low(proposal.lining), 0.01) ** FOLDS)


class Sketch:
    """Worst irradiance and spread of proposals, learned from those that were traced."""

    def __init__(self, sums: Sums, proposals: Sequence[Proposal]) -> None:
        self.rows = np.array([features(one) for one in proposals])
        self.even = np.array([sums.even(one) for one in proposals])
        self.guess = self.even * np.array([first_share(one) for one in proposals])
        self.worst, self.spread = self.guess, 3.0 * self.even / self.guess

    def learn(self, traced: Sequence[tuple[Proposal, float, float, float]]) -> None:
        """Learn from proposals with their even, worst and best irradiance (W/m2) as traced."""
        rows = np.array([features(one) for one, *_ in traced])
        even, worst, best = np.array([light for _, *light in traced]).T
        guess = even * np.array([first_share(one) for one, *_ in traced])
        self.worst = self.guess * np.exp(self._fitted(rows, np.log(worst / guess)))
        best_now = self.even * np.exp(self._fitted(rows, np.log(best / even)))
        self.spread = best_now / self.worst

    def _fitted(self, rows: np.ndarray, wanted: np.ndarray) -> np.ndarray:
        square = rows.T @ rows + RIDGE * np.eye(rows.shape[1])
        return np.asarray(self.rows @ np.linalg.solve(square, rows.T @ wanted))
