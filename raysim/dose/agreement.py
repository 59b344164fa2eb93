"""Do the meter readings agree with the calculation, and what do they leave of the timer?

A reading is compared with the prediction at the same point by E_n. One that disagrees, low or
high, leaves no timer. Readings that agree, but show less light than predicted, can be explained in
several ways, and nobody knows which is true:

    all lamps   every lamp gives the same share less than it should at its age
    one lamp    a single lamp gives less
    lining      the surfaces reflect less; a fold then loses more than the meter point

Each of them is taken alone, as large as it must be to explain the readings, and the timer is the
longest time that follows. Lamps age on from what they were found to give, and the cautious case
keeps its low reflectances beside a cause in the lamps. A reading never makes a time shorter.

Source: E_n, ISO/IEC 17043 (from memory); sum over lamps, linear transport; the rest definition.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from raysim.base.cases import CASES, CAUTIOUS, EXPECTED
from raysim.dose.lamp_output import output_at
from raysim.dose.readings import (
    ALL_LAMPS,
    LINING,
    ONE_LAMP,
    Cause,
    Comparison,
    MeterResult,
    Readings,
)
from raysim.dose.readings_together import COVERAGE, fit_each_other, lamp_shares
from raysim.dose.result import Result, Spot
from raysim.estimate.bounds import batch_mean
from raysim.estimate.meter import DIRECT_ONLY, METER_PATHS, meter_batches
from raysim.library.assumptions import assumptions
from raysim.scene.build import BuiltScene
from raysim.scene.triangles import SIDES, SceneTriangles
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.options import RunOptions
from raysim.transport.tallies import MAX_BOUNCES


def reading_uncertainty() -> float:
    """Relative standard uncertainty of a reading: meter, its direction, drift, place.

    Source: root of the sum of squares (GUM, JCGM 100:2008); terms in the assumptions.
    """
    known = assumptions()
    terms = [known["meter_half_width"].value / COVERAGE]
    keys = ("meter_direction_std", "lamp_drift_std", "meter_position_std")
    terms += [known[key].value for key in keys]
    return float(np.sqrt(np.square(terms).sum()))


def prediction_uncertainty(meter: MeterResult) -> float:
    """Relative standard uncertainty of the prediction at one point.

    Lamp power (rectangular), direction of its light, shape of the load, counting, and reflectance:
    half the logarithm between the bright and the cautious case, rectangular.

    Source: root of the sum of squares (GUM, JCGM 100:2008); terms in the assumptions.
    """
    known, root3 = assumptions(), np.sqrt(3.0)
    low, expected, high = meter.by_case
    terms = (
        known["lamp_power_half_width"].value / root3,
        known["lamp_pattern_half_width"].value / root3,
        known["respirator_geometry_std"].value,
        0.5 * np.log(high / low) / root3,
        meter.standard_error / expected,
    )
    return float(np.sqrt(np.square(terms).sum()))


def normalised_error(a: float, u_a: float, b: float, u_b: float) -> float:
    """E_n = |a - b| / sqrt(U_a^2 + U_b^2), U = k times a relative standard uncertainty.

    Source: ISO/IEC 17043, E_n score (from memory).
    """
    return abs(a - b) / float(np.hypot(COVERAGE * u_a * a, COVERAGE * u_b * b))


def compare(meters: Sequence[MeterResult]) -> tuple[Comparison, ...]:
    """Every point, with E_n where there is a reading; none of a point that no light reaches."""
    rows, reading_error = [], reading_uncertainty()
    for meter in meters:
        reading, score = meter.reading, None
        error = prediction_uncertainty(meter) if meter.by_case.min() > 0.0 else np.inf
        if reading is not None:
            score = np.inf
            if np.isfinite(error):
                score = normalised_error(meter.irradiance, error, reading, reading_error)
        rows.append(Comparison(meter, error, reading_error, score))
    return tuple(rows)


def mean_reflectances(triangles: SceneTriangles) -> np.ndarray:
    """Mean reflectance of everything, weighted by area, in the three cases, (3,) (definition)."""
    surface = np.array([part.surface for part in triangles.parts])[triangles.face_part]
    ends = [[s.reflectance_low, s.reflectance, s.reflectance_high] for s in triangles.surfaces]
    return np.average(np.array(ends)[surface], axis=0, weights=triangles.areas)


def judge_readings(result: Result) -> Readings | None:
    """What the readings of a run leave of its timer; None where no meter was read.

    Source: the module.
    """
    rows = tuple(row for row in compare(result.meters) if row.meter.reading is not None)
    if not rows:
        return None
    found = Readings(rows, (), fit_each_other(rows))
    return replace(found, causes=_causes(result, rows)) if found.agree else found


def with_readings(result: Result) -> Result:
    """The result with what its readings leave of the timer, of the poses and of failures."""
    return with_times(replace(result, readings=judge_readings(result)))


def with_times(result: Result) -> Result:
    """The result with times of its poses, and doses if a lamp fails, that follow from its timer.

    Source: `WarmUpCurve.pose_times`; dose is irradiance times seconds of light.
    """
    times = result.warm_up.pose_times(result.timer)
    reached = result.seconds_of_light if math.isfinite(result.timer) else None
    failures = tuple(
        replace(f, dose_at_timer=None if reached is None else f.worst.lower_bound * reached)
        for f in result.lamp_failures
    )
    poses = tuple(replace(p, time=t) for p, t in zip(result.poses, times, strict=False))
    return replace(result, poses=poses, lamp_failures=failures)


def _causes(result: Result, rows: tuple[Comparison, ...]) -> tuple[Cause, ...]:
    """What would explain some missing light, each with the bound that it leaves."""
    case = result.cases[CAUTIOUS]
    shares = np.array([lamp_shares(row.meter) for row in rows])  # points, lamps
    found = []
    if (less := _missing(rows, np.ones(len(rows)))) is not None:
        found.append((ALL_LAMPS, "", less, (1.0 - less) * case.bound))
    names = [lamp.name for lamp in result.triangles.lamps]
    out = {failure.lamp: failure.worst.lower_bound for failure in result.lamp_failures}
    for name, share in zip(names, shares.T, strict=True):
        if name in out and len(out) > 1 and (less := _missing(rows, share)) is not None:
            # The darkest of sums is no darker than the sum of the darkest.
            found.append((ONE_LAMP, name, less, (1.0 - less) * case.bound + less * out[name]))
    if (fallen := _fallen(result, rows)) is not None:
        found.append((LINING, "", fallen, _bound_of_lining(result, fallen)))
    return tuple(Cause(*one, result.requirement.time(one[-1])) for one in found)


def _ratios(rows: tuple[Comparison, ...]) -> np.ndarray:
    """Reading over prediction of each point, (points,)."""
    return np.array([(row.meter.reading or 0.0) / row.meter.irradiance for row in rows])


def _missing(rows: tuple[Comparison, ...], shares: np.ndarray) -> float | None:
    """Output, as a share, that lamps must lack to explain the readings; None if they cannot.

    `shares` (points,) of the prediction come from those lamps. Least squares; with one reading it
    is met exactly.
    """
    if not shares.any():
        return None
    less = float(shares @ (1.0 - _ratios(rows)) / (shares @ shares))
    explains = 0.0 < less <= 1.0 and _agree(rows, 1.0 - less * shares)
    return less if explains else None


def _fallen(result: Result, rows: tuple[Comparison, ...]) -> float | None:
    """How far reflectances must have fallen to explain the readings; None if they cannot.

    0 is the expected reflectance, 1 the low end of each, and along that way the logarithm of the
    irradiance falls evenly. Surfaces that send nothing back are the end of it.
    """
    slopes = np.array([np.log(m.by_case[1] / m.by_case[0]) for m in (row.meter for row in rows)])
    low, expected, _ = mean_reflectances(result.triangles)
    if not slopes.any() or not expected > low:
        return None
    fallen = float(slopes @ -np.log(_ratios(rows)) / (slopes @ slopes))
    end = expected / (expected - low)
    explains = 0.0 < fallen <= end and _agree(rows, np.exp(-fallen * slopes))
    return fallen if explains else None


def _agree(rows: tuple[Comparison, ...], shares: np.ndarray) -> bool:
    """Whether all readings agree with their predictions times `shares` (points,)."""
    return all(
        normalised_error(
            row.meter.irradiance * share,
            row.predicted_error,
            row.meter.reading or 0.0,
            row.reading_error,
        )
        <= 1.0
        for row, share in zip(rows, shares, strict=True)
    )


def _bound_of_lining(result: Result, fallen: float) -> float:
    """What every judged face-side gets, W/m2, with reflectances that have fallen so far.

    The cautious case takes their low ends already. Beyond them the worst spot of each object
    loses as it does from expected to low.
    """
    case, beyond = result.cases[CAUTIOUS], max(fallen - 1.0, 0.0)
    bounds = [
        summary.bound * np.exp(-beyond * loss_by_lining(result, spot))
        for summary, spot in zip(case.per_object, case.worst_per_object, strict=True)
    ]
    return float(min([case.bound, *bounds]))


def loss_by_lining(result: Result, spot: Spot) -> float:
    """Logarithm of what a spot gets at expected over what it gets at low reflectances.

    Source: definition.
    """
    light = result.lamp_irradiance[:, :, spot.face, SIDES.index(spot.side)].sum(axis=1)
    low, expected = light[CASES.index(CAUTIOUS)], light[CASES.index(EXPECTED)]
    return float(np.log(expected / low)) if 0.0 < low < expected else 0.0


def predicted(
    scene: BuiltScene, arrays: KernelScene, options: RunOptions, paths: int = METER_PATHS
) -> tuple[MeterResult, ...]:
    """What the meter at each point of a scene should show, every lamp as old as at the reading.

    Source: `meter_batches`; `lamp_output.output_at`.
    """
    triangles = scene.triangles
    if not triangles.meters:
        return ()
    batches, straight = (
        meter_batches(triangles, arrays, options, paths=paths, max_bounces=bounces)
        for bounces in (MAX_BOUNCES, DIRECT_ONLY)
    )
    ages = [lamp.hours for lamp in triangles.lamps]
    found = []
    expected = CASES.index(EXPECTED)
    rows = zip(triangles.meters, batches, straight, strict=True)
    for point, scores, direct in rows:  # batches, lamps, cases
        output = [output_at(h, scene.written.lamps_behaviour) for h in point.lamp_hours or ages]
        _, error = batch_mean((scores[..., expected] @ output)[None])
        by_lamp, direct = scores.mean(axis=0).T, direct[..., expected].mean(axis=0)
        found.append(MeterResult(point, by_lamp, np.array(output), float(error[0]), direct))
    return tuple(found)
