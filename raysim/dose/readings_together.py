"""Do the readings at several points fit each other? Which lamps do they tell of?

A single reading is compared with a prediction that the reflectances leave wide: a factor of 2 to 4
in a bright lining. That doubt is the same at every point, and so is the calibration of the meter.
What is left is small, so readings show together what none shows alone: one lamp that is dim.

With r the logarithms of reading over prediction, the readings fit each other where

    r' V^-1 r <= chi-square with as many degrees of freedom as points, at the coverage of k = 2

and V holds the variances: of the reflectances and the calibration, shared by all points; of each
lamp's power, by its shares of the light at each point; the rest for each point by itself.

Source: Mahalanobis distance of normal errors; terms in the assumptions.
"""

from collections.abc import Sequence

import numpy as np

from raysim.base.cases import CASES, EXPECTED
from raysim.dose.readings import Comparison, MeterResult, Together
from raysim.library.assumptions import assumptions
from raysim.scene.triangles import LampRating

COVERAGE = 2.0  # k of expanded uncertainties
WITHIN_K2 = 0.9545  # share of a normal law within k = 2
# Own choice: a reading tells of a lamp whose share of the light there is this many times its share
# of the power of all lamps, or this much. So no single place tells of three equal lamps or more.
OVER_EVEN, ENOUGH = 1.2, 0.4
ROOT3 = np.sqrt(3.0)  # a rectangular half-width over it is a standard uncertainty


def lamp_shares(meter: MeterResult) -> np.ndarray:
    """Share of the prediction at a point that comes from each lamp, (lamps,).

    Source: definition.
    """
    return meter.by_lamp[CASES.index(EXPECTED)] * meter.output / meter.irradiance


def unseen_lamps(shares: np.ndarray, powers: np.ndarray) -> np.ndarray:
    """Numbers of the lamps that no reading tells of.

    Parameters
    ----------
    shares : (points, lamps) float64
        Of the light at each point that comes from each lamp.
    powers : (lamps,) float64
        W of each lamp.

    Source: own choice, OVER_EVEN and ENOUGH.
    """
    asked = np.minimum(ENOUGH, OVER_EVEN * powers / powers.sum())
    return np.flatnonzero(shares.max(axis=0, initial=0.0) < asked)


def lamps_not_told_of(meters: Sequence[MeterResult], lamps: Sequence[LampRating]) -> list[str]:
    """Names of the lamps that readings at these points tell nothing of.

    Source: `unseen_lamps`.
    """
    lit = [meter for meter in meters if meter.irradiance > 0.0]
    shares = np.array([lamp_shares(meter) for meter in lit])
    powers = np.array([lamp.uvc_W for lamp in lamps])
    if lit:
        powers = powers * np.array([meter.output for meter in lit]).mean(axis=0)
    return [lamps[k].name for k in unseen_lamps(shares.reshape(-1, len(lamps)), powers)]


def covariance(rows: Sequence[Comparison]) -> np.ndarray:
    """Covariance of the logarithms of reading over prediction, (points, points).

    Source: the module.
    """
    known = {key: entry.value for key, entry in assumptions().items()}
    meters = [row.meter for row in rows]
    shares = np.array([lamp_shares(meter) for meter in meters])
    ends = np.array([meter.by_case for meter in meters])
    reflectance = 0.5 * np.log(ends[:, 2] / ends[:, 0]) / ROOT3
    counting = np.array([meter.standard_error / meter.irradiance for meter in meters])
    alone = (
        known["meter_direction_std"],
        known["meter_position_std"],
        known["lamp_drift_std"],
        known["lamp_pattern_half_width"] / ROOT3,
        known["respirator_geometry_std"],
    )
    power = known["lamp_power_half_width"] / ROOT3
    calibration = known["meter_half_width"] / COVERAGE
    return np.asarray(
        np.diag(np.square(counting) + np.square(alone).sum())
        + power**2 * shares @ shares.T
        + np.outer(reflectance, reflectance)
        + calibration**2
    )


def fit_each_other(rows: Sequence[Comparison]) -> Together | None:
    """Whether readings that agree one by one fit each other; None where fewer than two do.

    Source: the module; the odd point is the one that lies furthest from what the others lead to
    expect (conditional normal law).
    """
    read = [row for row in rows if row.agrees]
    if len(read) < 2 or any(row.meter.reading is not None and not row.agrees for row in rows):
        return None
    from scipy.stats import chi2  # takes a second to load

    ratios = np.log([(row.meter.reading or 0.0) / row.meter.irradiance for row in read])
    weights = np.linalg.inv(covariance(read))
    score = float(ratios @ weights @ ratios / chi2.ppf(WITHIN_K2, len(read)))
    off = weights @ ratios / np.diag(weights)  # from what the others lead to expect
    odd = int(np.abs(off * np.sqrt(np.diag(weights))).argmax())
    return Together(float(np.sqrt(score)), read[odd].meter.name, float(np.exp(off[odd])))
