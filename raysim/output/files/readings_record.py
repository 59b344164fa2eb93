"""Meter points and readings as plain data, mW/cm2, for result.json and `raysim meter --json`."""

from dataclasses import asdict
from typing import Any

from raysim.base.figures import finite_or_none
from raysim.base.units import to_mm, to_mW_cm2
from raysim.dose.readings import Cause, Comparison
from raysim.dose.readings_together import COVERAGE
from raysim.dose.result import Result
from raysim.output.words.readings import agreement_words


def meter_record(row: Comparison) -> dict[str, Any]:
    """One meter point: place, prediction, and the reading with its verdict if there is one."""
    meter, point = row.meter, row.meter.point
    spread = COVERAGE * row.predicted_error * meter.irradiance
    return {
        "name": point.name,
        "response": point.response.name,
        "at_mm": [round(float(x), 3) for x in to_mm(point.at)],
        "facing": [float(x) for x in point.facing],
        "irradiance_mW_cm2": float(to_mW_cm2(meter.irradiance)),
        "standard_error_mW_cm2": float(to_mW_cm2(meter.standard_error)),
        "expanded_uncertainty_mW_cm2": finite_or_none(to_mW_cm2(spread)),
        "reflected_share": meter.reflected,
        "reading_mW_cm2": None if point.reading is None else float(to_mW_cm2(point.reading)),
        "E_n": None if row.normalised is None else finite_or_none(row.normalised),
        "agrees": None if point.reading is None else row.agrees,
        "verdict": agreement_words(row),
    }


def readings_record(result: Result) -> dict[str, Any] | None:
    """Whether all readings agree, and what would explain missing light; null without a reading."""
    if result.readings is None:
        return None
    causes = [_cause(cause) for cause in result.readings.causes]
    found = result.readings.together
    together = None if found is None else {"agree": found.agrees} | asdict(found)
    return {"agree": result.readings.agree, "together": together, "causes": causes}


def _cause(cause: Cause) -> dict[str, Any]:
    return {
        "what": cause.what,
        "lamp": cause.lamp or None,
        "amiss": cause.amiss,
        "lower_bound_mW_cm2": float(to_mW_cm2(cause.bound)),
        "time_s": finite_or_none(cause.time),
    }
