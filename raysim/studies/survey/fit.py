"""Lamp outputs and one mean reflectance from meter readings, by bounded least squares.

Irradiance is linear in the lamps. In the reflectance it is not; its logarithm is interpolated by
a parabola through the three cases (low, expected, high end of every reflectance).
"""

from dataclasses import dataclass

import numpy as np

from raysim.base.figures import Figures

LEAST_OUTPUT, MOST_OUTPUT = 0.1, 2.0  # share of the rating that is thought possible
# Weak pull towards rated lamps and expected reflectances, as standard deviations: it decides only
# what the readings leave open.
OUTPUT_PULL, REFLECTANCE_PULL = 0.5, 0.5
DECIDED = 0.4  # of the pull: a smaller standard deviation came from the readings
TOGETHER = 0.9  # correlation from which two quantities cannot be told apart


@dataclass(frozen=True)
class Fit(Figures):
    """What readings say.

    Attributes
    ----------
    output, output_error : (lamps,) float64
        Output of each lamp as a share of its rating, and its relative standard error.
    place, place_error : float
        Reflectance between the low (0) and the high (1) ends of the library, all surfaces alike.
    decided : (lamps + 1,) bool
        Whether the readings decide each output and, last, the reflectance.
    together : tuple of (int, int)
        Pairs (lamps counted on, the reflectance last) that the readings cannot tell apart.
    predicted : (points,) float64
        W/m2, with the fitted values.
    """

    output: np.ndarray
    output_error: np.ndarray
    place: float
    place_error: float
    decided: np.ndarray
    together: tuple[tuple[int, int], ...]
    predicted: np.ndarray


def between_cases(by_case: np.ndarray, middle: float, place: float) -> np.ndarray:
    """Irradiance between the cases: parabola through the logarithms at 0, `middle` and 1.

    Parameters
    ----------
    by_case : (3, ...) float64
        W/m2 at the low, expected and high end; zeros stay zero.
    middle : float
        Where the expected case lies between the others, within (0, 1).
    place : float
        0 to 1.

    Source: Lagrange interpolation.
    """
    low, mid, high = np.log(np.maximum(by_case, 1e-300))
    a = (place - middle) * (place - 1.0) / middle
    b = place * (place - 1.0) / (middle * (middle - 1.0))
    c = place * (place - middle) / (1.0 - middle)
    return np.where((by_case > 0.0).all(axis=0), np.exp(a * low + b * mid + c * high), 0.0)


def fit_readings(
    readings: np.ndarray, by_lamp: np.ndarray, errors: np.ndarray, middle: float
) -> Fit:
    """Lamp outputs and reflectance that come nearest to the readings.

    Parameters
    ----------
    readings : (points,) float64
        W/m2, above zero.
    by_lamp : (3, lamps, points) float64
        W/m2 of each lamp at its rating, by case.
    errors : (points,) float64
        Relative standard uncertainty of reading and prediction together.
    middle : float
        Where the expected reflectance lies between low (0) and high (1).

    Source: Levenberg-Marquardt in bounds (scipy); covariance (J^T J)^-1 of the fit.
    """
    from scipy.optimize import least_squares

    lamps = by_lamp.shape[1]
    pull = np.array([OUTPUT_PULL] * lamps + [REFLECTANCE_PULL])
    rest = np.array([0.0] * lamps + [middle])

    def predicted(p: np.ndarray) -> np.ndarray:
        return np.exp(p[:lamps]) @ between_cases(by_lamp, middle, float(p[lamps]))

    def residuals(p: np.ndarray) -> np.ndarray:
        return np.concatenate([np.log(predicted(p) / readings) / errors, (p - rest) / pull])

    low = np.array([np.log(LEAST_OUTPUT)] * lamps + [0.0])
    high = np.array([np.log(MOST_OUTPUT)] * lamps + [1.0])
    found = least_squares(residuals, rest, bounds=(low, high), xtol=1e-12, ftol=1e-12)
    covariance = np.linalg.inv(found.jac.T @ found.jac)
    error = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(error, error)
    together = np.argwhere(np.triu(np.abs(correlation) > TOGETHER, 1))
    return Fit(
        np.exp(found.x[:lamps]),
        error[:lamps],
        float(found.x[lamps]),
        float(error[lamps]),
        error < DECIDED * pull,
        tuple((i, j) for i, j in together.tolist()),
        predicted(found.x),
    )
