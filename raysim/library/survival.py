"""Survival of germs after a dose: one stage, a tail, a shoulder; and an unevenly lit load."""

import math
from dataclasses import dataclass

import numpy as np

MOST_DOSE = 1e9  # J/m2: no dose beyond this is searched


@dataclass(frozen=True)
class Kinetics:
    """Survival S as a function of dose H.

    S = (1 - f) [1 - (1 - 10^(-H / D1))^n] + f 10^(-H / D2)

    Attributes
    ----------
    d90 : float
        D1, J/m2, dose per factor of ten for most germs, from the late slope.
    tail : float
        f, share of germs that resist, 0 for none.
    tail_d90 : float
        D2, J/m2, dose per factor of ten for the resistant share; inf if they do not die at all.
    targets : float
        n, at least 1; above 1 few germs die at first: a shoulder of log10 n.

    Source: Chick 1908 and Watson 1908 (one stage); two stages and multi-target shoulder as in
    Kowalski, "Ultraviolet Germicidal Irradiation Handbook" (2009) (formulas from memory).

    >>> germ = Kinetics(d90=30.0)  # an invented one: 3 mJ/cm2 for each factor of ten
    >>> float(germ.log_reduction(90.0))
    3.0
    >>> germ.dose_for(3.0) - 90.0 < 1e-9
    True
    """

    d90: float
    tail: float = 0.0
    tail_d90: float = math.inf
    targets: float = 1.0

    def __post_init__(self) -> None:
        if not (self.d90 > 0.0 and self.tail_d90 > 0.0):
            raise ValueError("doses per factor of ten must be above zero")
        if not (0.0 <= self.tail < 1.0 and self.targets >= 1.0):
            raise ValueError("the tail is a share below 1, and targets are at least 1")

    def survival(self, dose: np.ndarray | float) -> np.ndarray:
        """Share of germs alive after a dose (J/m2) of any shape; equation of the class."""
        h = np.asarray(dose, float)
        alive = 10.0 ** (-h / self.d90)
        with np.errstate(divide="ignore"):  # no dose: log of zero, and all alive
            shouldered = -np.expm1(self.targets * np.log1p(-alive))
        return (1.0 - self.tail) * shouldered + self.tail * 10.0 ** (-h / self.tail_d90)

    def log_reduction(self, dose: np.ndarray | float) -> np.ndarray:
        """-log10 of the survival after a dose (J/m2) (definition)."""
        return log_reduction(self.survival(dose))

    def dose_for(self, logs: float) -> float:
        """Dose (J/m2) for a log reduction; inf where a tail forbids it. By bisection."""
        if not logs > 0.0:
            return 0.0
        low, high = 0.0, self.d90
        while self.log_reduction(high) < logs:
            low, high = high, 2.0 * high
            if high > MOST_DOSE:
                return math.inf
        for _ in range(200):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.log_reduction(middle) < logs else (low, middle)
        return high


def log_reduction(survivors: np.ndarray | float) -> np.ndarray:
    """-log10 of a share of survivors; inf for none (definition)."""
    with np.errstate(divide="ignore"):
        return -np.log10(survivors)


def load_survival(
    kinetics: Kinetics, dose: np.ndarray, area: np.ndarray, dark_area: float = 0.0
) -> float:
    """Share of germs alive on a whole load, if germs are spread evenly over its area.

    Parameters
    ----------
    dose, area : (units,) float64
        J/m2 and m2 of each face-side.
    dark_area : float
        m2 of the load that gets no light at all, in addition to `area`.

    Source: survivors, not log reductions, are averaged over the area (definition of survival).
    """
    whole = float(area.sum())
    lit = float((kinetics.survival(dose) * area).sum()) / whole
    dark = min(dark_area / whole, 1.0)
    return lit * (1.0 - dark) + dark
