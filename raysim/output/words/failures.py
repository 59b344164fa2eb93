"""What a failed lamp does to the exposure time, as a table and a sentence."""

import numpy as np

from raysim.base.units import minutes_seconds, to_mJ_cm2
from raysim.dose.exposure import LONGEST_TIME
from raysim.dose.result import LampFailure, Result
from raysim.output.words.numbers import (
    milliwatts,
    number,
    spot_irradiance,
    spot_words,
    told_time,
)
from raysim.output.words.sentences import NO_TIMER, time_heading
from raysim.output.words.table import Table, table_of

NOT_SETTLED, ALL = "not settled", "any one of them"
COARSE = 0.10  # (irradiance - bound) / irradiance above which a row is called coarse


def failures_table(result: Result) -> Table:
    """Cautious case with each lamp out in turn: worst spot, mW/cm2, time, dose in mJ/cm2."""
    return table_of(
        result.lamp_failures,
        {
            "lamp out": lambda out: out.lamp,
            "spot with the lowest bound": lambda out: spot_words(out.worst),
            "its irradiance ± standard error, mW/cm²": lambda out: spot_irradiance(out.worst),
            f"{result.confidence:.0%} lower bound over all judged spots, mW/cm²": lambda out: (
                milliwatts(out.worst.lower_bound)
            ),
            time_heading(result, "time needed"): lambda out: _time_words(result, out),
            "least dose if the timer stays, mJ/cm²": lambda out: _dose_words(result, out),
        },
        words=2,
        note=_note(result),
    )


def _only(result: Result) -> bool:
    """Whether a single lamp burns: without it there is no light, and nothing to settle."""
    return len(result.lamp_failures) == 1


def _time_words(result: Result, failure: LampFailure) -> str:
    if _only(result):
        return "no light"
    if failure.precision <= COARSE:
        return minutes_seconds(failure.exposure_time)
    if failure.exposure_time > LONGEST_TIME:
        return NOT_SETTLED
    return f"at most {told_time(failure.exposure_time)}"


def _dose_words(result: Result, failure: LampFailure) -> str:
    dose = failure.dose_at_timer
    if dose is None:
        return NO_TIMER
    unknown = dose == 0.0 and not _only(result) and failure.precision > COARSE
    return NOT_SETTLED if unknown else number(to_mJ_cm2(dose))


def _note(result: Result) -> str:
    note = (
        "Cautious case, one lamp out in each row, its tube left in place. Worked out in the same "
        "run, from what each lamp gives to each spot; each bound holds by itself."
    )
    if _only(result):
        return f'{note} Lamp "{result.lamp_failures[0].lamp}" is the only lamp that burns.'
    coarse = [f'"{f.lamp}"' for f in result.lamp_failures if f.precision > COARSE]
    if coarse:
        words = "this row" if len(coarse) == 1 else "these rows"
        which = ALL if len(coarse) == len(result.lamp_failures) else " or ".join(coarse)
        note += (
            f" Without {which} another spot is the worst, which this run did not "
            f"look at closely: the bound of {words} lies well below the truth, so the time is too "
            "long rather than too short. 'raysim dose SCENE --without NAME' settles it."
        )
    return note


def failure_line(result: Result) -> str | None:
    """The lamp whose failure costs most, and what happens if nobody notices it."""
    if not result.lamp_failures or not np.isfinite(result.timer):
        return None
    worst = max(result.lamp_failures, key=lambda failure: failure.exposure_time)
    lamp = f'lamp "{worst.lamp}"'
    check = "check that all lamps burn in every cycle, never with bare eyes."
    if _only(result):
        return (
            f"L{lamp[1:]} is the only lamp that burns: if it fails unnoticed, nothing in the box "
            "gets any light. Check in every cycle that it burns, never with bare eyes."
        )
    if worst.precision > COARSE:
        return (
            f"What a failure of {lamp} would mean is not settled by this run; 'raysim dose "
            f'SCENE --without "{worst.lamp}"\' settles it. Until then: {check}'
        )
    share = (worst.dose_at_timer or 0.0) / (result.safety_factor * result.target_dose)
    return (
        f"If {lamp} fails unnoticed, the worst-lit spot is sure of only {share:.0%} of what "
        f"is asked by the end of the timer: {check}"
    )
