"""Meter against calculation: what a meter should read, whether it does, and what follows."""

from dataclasses import dataclass

import numpy as np

from raysim.behaviour import in_use_factor, output_at
from raysim.exposure import exposure_time
from raysim.fit import Fit, between_cases, fit_readings
from raysim.library import assumptions
from raysim.meter import meter_batches
from raysim.result import CASES, CAUTIOUS, EXPECTED, Result
from raysim.scene.build import BuiltScene
from raysim.scene.triangles import MeterPoint, SceneTriangles
from raysim.tracing import default_threads, kernel_scene

COVERAGE = 2.0  # k of expanded uncertainties


@dataclass(frozen=True)
class Prediction:
    """Irradiance of meter points by case and lamp at rating, W/m2.

    `by_lamp` and `error` (cases, lamps, points); errors are those of counting alone.
    """

    meters: tuple[MeterPoint, ...]
    by_lamp: np.ndarray
    error: np.ndarray

    @property
    def expected(self) -> np.ndarray:
        """Prediction of the expected case, all lamps at rating, (points,), W/m2."""
        return self.by_lamp[CASES.index(EXPECTED)].sum(axis=0)


@dataclass(frozen=True)
class Comparison:
    """One point: prediction, reading and their relative standard uncertainties; E_n.

    Irradiance in W/m2; without a reading it, its uncertainty and E_n are None.
    """

    meter: MeterPoint
    predicted: float
    predicted_error: float  # relative
    reading_error: float  # relative
    normalised: float | None


def predict(scene: BuiltScene, seed: int, threads: int | None = None) -> Prediction:
    """What the meter at each point would show, by backward paths.

    Source: `meter.meter_batches`.
    """
    meters = scene.triangles.meters
    arrays = kernel_scene(scene.triangles)
    batches = meter_batches(scene.triangles, arrays, seed, threads or default_threads())
    error = batches.std(axis=1, ddof=1) / np.sqrt(batches.shape[1])
    return Prediction(meters, batches.mean(axis=1).transpose(2, 1, 0), error.transpose(2, 1, 0))


def reading_uncertainty() -> float:
    """Relative standard uncertainty of a reading: meter, its direction, drift, place.

    Source: root of the sum of squares (GUM, JCGM 100:2008); terms in the assumptions.
    """
    known = assumptions()
    terms = [known["meter_half_width"].value / COVERAGE]
    keys = ("meter_direction_std", "lamp_drift_std", "meter_position_std")
    terms += [known[key].value for key in keys]
    return float(np.sqrt(np.square(terms).sum()))


def prediction_uncertainty(prediction: Prediction) -> np.ndarray:
    """Relative standard uncertainty of each prediction, (points,).

    Lamp power (rectangular), direction of its light, shape of the load, counting, and reflectance:
    half the logarithm between the bright and the cautious case, rectangular.

    Source: root of the sum of squares (GUM, JCGM 100:2008); terms in the assumptions.
    """
    known = assumptions()
    root3 = np.sqrt(3.0)
    total = prediction.by_lamp.sum(axis=1)
    lining = 0.5 * np.log(total[2] / total[0]) / root3
    counting = np.sqrt((prediction.error[1] ** 2).sum(axis=0)) / total[1]
    fixed = (
        known["lamp_power_half_width"].value / root3,
        known["lamp_pattern_half_width"].value / root3,
        known["respirator_geometry_std"].value,
    )
    return np.sqrt(np.square(fixed).sum() + lining**2 + counting**2)


def normalised_error(a: float, u_a: float, b: float, u_b: float) -> float:
    """E_n = |a - b| / sqrt(U_a^2 + U_b^2), U = k times a relative standard uncertainty.

    Source: ISO/IEC 17043, E_n score (from memory).
    """
    return abs(a - b) / float(np.hypot(COVERAGE * u_a * a, COVERAGE * u_b * b))


def compare(prediction: Prediction) -> tuple[Comparison, ...]:
    """Every point, with E_n where there is a reading."""
    rows = []
    reading_error = reading_uncertainty()
    values = zip(
        prediction.meters, prediction.expected, prediction_uncertainty(prediction), strict=True
    )
    for meter, expected, error in values:
        score = None
        if meter.reading is not None:
            score = normalised_error(float(expected), float(error), meter.reading, reading_error)
        rows.append(Comparison(meter, float(expected), float(error), reading_error, score))
    return tuple(rows)


def mean_reflectances(triangles: SceneTriangles) -> np.ndarray:
    """Mean reflectance of everything, weighted by area, in the three cases, (3,) (definition)."""
    surface = np.array([part.surface for part in triangles.parts])[triangles.face_part]
    ends = [[s.reflectance_low, s.reflectance, s.reflectance_high] for s in triangles.surfaces]
    return np.average(np.array(ends)[surface], axis=0, weights=triangles.areas)


def place_of_expected(triangles: SceneTriangles) -> float:
    """Where the expected mean reflectance lies between low (0) and high (1), kept off the ends."""
    low, middle, high = mean_reflectances(triangles)
    return float(np.clip((middle - low) / max(high - low, 1e-12), 0.05, 0.95))


def fitted(prediction: Prediction, triangles: SceneTriangles) -> Fit | None:
    """Lamp outputs and reflectance from the readings; None where there are none above zero."""
    read = [k for k, m in enumerate(prediction.meters) if m.reading]
    if not read:
        return None
    readings = np.array([prediction.meters[k].reading for k in read], float)
    counting = np.sqrt((prediction.error[1] ** 2).sum(axis=0)) / prediction.expected
    errors = np.hypot(reading_uncertainty(), counting[read])
    by_lamp = prediction.by_lamp[:, :, read]
    return fit_readings(readings, by_lamp, errors, place_of_expected(triangles))


def corrected_time(result: Result, fit: Fit, middle: float) -> float:
    """Exposure time (s) of the worst face-side with fitted lamps and reflectance; inf if never.

    The lamps as measured are those of today: they age on to the end of their rated life, get dusty
    and warm as in the cautious case. Where the fitted lamps lie above their rating the rating is
    taken. One standard error of every fitted value is taken off, and the cautious case's distance
    of bound from estimate kept. Judged by the face-sides that backward paths looked at.

    Source: E = sum over lamps of output times irradiance (linear transport).
    """
    triangles = result.triangles
    units = result.refined & triangles.judged
    if not units.any():
        units = triangles.judged
    behaviour = result.written.lamps_behaviour if result.written else None
    output = np.minimum(fit.output, 1.0) * np.exp(-fit.output_error)
    if behaviour is not None:
        hours = np.array([lamp.hours for lamp in triangles.lamps])
        end = np.array([output_at(max(h, behaviour.rated_hours), behaviour) for h in hours])
        now = np.array([output_at(h, behaviour) for h in hours])
        output = output * end / np.maximum(now, 1e-9) * in_use_factor(behaviour)
    place = max(fit.place - fit.place_error, 0.0)
    faces, sides = np.nonzero(units)
    by_lamp = between_cases(result.lamp_irradiance[:, :, faces, sides], middle, place)
    case = result.cases[CAUTIOUS]
    kept = case.bound / case.worst.irradiance if case.worst.irradiance > 0.0 else 0.0
    worst = float((output @ by_lamp).min()) * kept
    return exposure_time(worst, result.target_dose, result.safety_factor, result.warm_up)
