"""The limits of a wish as numbers that proposals are held against."""

from enum import StrEnum

import numpy as np

from raysim.studies.design.sums import Sums


class Limit(StrEnum):
    """What a wish sets limits to."""

    BUDGET = "budget"
    SIZE = "size"
    TIME = "time"
    WEAR = "wear"
    VERDICT = "verdict"  # forbids use


LIMITS = (Limit.BUDGET, Limit.SIZE, Limit.TIME, Limit.WEAR)  # that a wish can loosen
KEPT = 1.0 + 1e-9  # of a limit: what needs no more keeps it


class Limits:
    """The limits of a wish as numbers that proposals are held against.

    `irradiance` (W/m2) is what the longest cycle takes; `spread` is the most light of the best-lit
    face over the worst that leaves the cycles wished for.
    """

    def __init__(self, sums: Sums, material_dose: float) -> None:
        wish, asked = sums.wish, sums.requirement
        self.requirement = asked
        self.budget = wish.money(wish.limits.budget)
        full = asked.warm_up.effective_seconds(wish.limits.longest_cycle)
        self.irradiance = asked.safety_factor * asked.dose / max(full, 1e-9)
        self.cycle_dose = asked.safety_factor * asked.dose
        self.spread = material_dose / (self.cycle_dose * wish.limits.cycles)

    def needs(
        self, cost: np.ndarray, size: np.ndarray, worst: np.ndarray, spread: np.ndarray
    ) -> np.ndarray:
        """What proposals need of each of LIMITS, over what is wished for, (4, proposals).

        `cost` in the currency of the wish, `size` as the excess, `worst` irradiance in W/m2,
        `spread` of the best over the worst; (proposals,) each.

        Source: definition.
        """
        return np.stack([cost / self.budget, size, self.irradiance / worst, spread / self.spread])
