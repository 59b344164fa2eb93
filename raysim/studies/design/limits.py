"""The limits of a wish as numbers that proposals are held against."""

from raysim.studies.design.sums import Sums


class Limits:
    """The limits of a wish as numbers that proposals are held against.

    `irradiance` (W/m2) is what the longest cycle takes; `spread` is the most light of the best-lit
    face over the worst that leaves the cycles wished for; `size` is the excess allowed, 1.
    """

    def __init__(self, sums: Sums, material_dose: float) -> None:
        wish, asked = sums.wish, sums.requirement
        self.requirement = asked
        self.budget, self.size = wish.money(wish.limits.budget), 1.0
        full = asked.warm_up.effective_seconds(wish.limits.longest_cycle)
        self.irradiance = asked.safety_factor * asked.dose / max(full, 1e-9)
        self.cycle_dose = asked.safety_factor * asked.dose
        self.spread = material_dose / (self.cycle_dose * wish.limits.cycles)
