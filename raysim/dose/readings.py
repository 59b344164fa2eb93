"""Meter points: what a meter should show, what it did, and what would explain the difference."""

from dataclasses import dataclass

import numpy as np

from raysim.base.cases import CASES, EXPECTED
from raysim.base.figures import Figures
from raysim.scene.triangles import MeterPoint

ALL_LAMPS, ONE_LAMP, LINING = "all lamps", "one lamp", "lining"


@dataclass(frozen=True)
class MeterResult(Figures):
    """What a meter should show at a point, W/m2.

    Attributes
    ----------
    point : MeterPoint
        With the reading, if there is one.
    by_lamp : (cases, lamps) float64
        Of each lamp at its full rating, cases in the order of `CASES`.
    output : (lamps,) float64
        Share of its rating that each lamp gives at its age when the meter was read.
    standard_error : float
        Of `irradiance`, from counting alone.
    direct : (lamps,) float64
        Of each lamp at its full rating, what comes straight from it, the same in all cases.
    """

    point: MeterPoint
    by_lamp: np.ndarray
    output: np.ndarray
    standard_error: float
    direct: np.ndarray

    @property
    def name(self) -> str:
        """Name of the point (definition)."""
        return self.point.name

    @property
    def reading(self) -> float | None:
        """What the meter showed there, W/m2; None where it was not read (definition)."""
        return self.point.reading

    @property
    def by_case(self) -> np.ndarray:
        """Prediction of each case with all lamps, (cases,), W/m2 (definition)."""
        return self.by_lamp @ self.output

    @property
    def irradiance(self) -> float:
        """Prediction of the expected case, all lamps, W/m2 (definition)."""
        return float(self.by_case[CASES.index(EXPECTED)])

    @property
    def reflected(self) -> float:
        """Share of `irradiance` that comes by way of a surface; 0 where there is no light.

        Source: definition, with direct light and all light from the same paths.
        """
        straight, whole = float(self.direct @ self.output), self.irradiance
        return max(1.0 - straight / whole, 0.0) if whole > 0.0 else 0.0


@dataclass(frozen=True)
class Comparison(Figures):
    """One meter point: relative standard uncertainties of prediction and reading, and E_n.

    Without a reading E_n (`normalised`) is None.
    """

    meter: MeterResult
    predicted_error: float
    reading_error: float
    normalised: float | None

    @property
    def agrees(self) -> bool:
        """Whether reading and prediction differ by no more than both uncertainties (E_n <= 1).

        A reading of no light never agrees, however little is known.
        """
        return bool(self.meter.point.reading) and (self.normalised or 0.0) <= 1.0


@dataclass(frozen=True)
class Cause(Figures):
    """One thing that would explain the readings, and what follows for the time.

    Attributes
    ----------
    what : str
        `ALL_LAMPS`, `ONE_LAMP` or `LINING`.
    lamp : str
        Name of the one lamp, "" otherwise.
    amiss : float
        Share of the output of those lamps that is missing; of the lining, share of the way from
        the expected reflectances (0) to their low ends (1), or beyond.
    bound : float
        W/m2 that every judged face-side gets in the cautious case if this is the cause.
    time : float
        Exposure time by that bound, s; inf if never.
    """

    what: str
    lamp: str
    amiss: float
    bound: float
    time: float


@dataclass(frozen=True)
class Together(Figures):
    """Whether several readings fit each other.

    `score` is their distance over the largest that is allowed, `odd` the name of the point that
    is furthest off, and `ratio` its reading over what the other readings lead one to expect.
    """

    score: float
    odd: str
    ratio: float

    @property
    def agrees(self) -> bool:
        """Whether they do (definition)."""
        return self.score <= 1.0


@dataclass(frozen=True)
class Readings:
    """The meter points that were read against the calculation, and what follows for the timer.

    Attributes
    ----------
    rows : tuple of Comparison
        Points with a reading.
    causes : tuple of Cause
        Where all agree and some light is missing: what would explain that, each by itself.
    together : Together or None
        Whether they fit each other; None where fewer than two were read, or one disagrees.
    """

    rows: tuple[Comparison, ...]
    causes: tuple[Cause, ...]
    together: Together | None = None

    @property
    def agree(self) -> bool:
        """Whether every reading agrees with the calculation, and with the others (definition)."""
        fit = self.together is None or self.together.agrees
        return fit and all(row.agrees for row in self.rows)

    @property
    def longest(self) -> Cause | None:
        """The cause that asks for the longest time; None where no light is missing."""
        return max(self.causes, key=lambda cause: cause.time, default=None)
