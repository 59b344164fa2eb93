"""Meter readings in words: whether they agree, and what follows for the timer."""

import math
from collections.abc import Sequence

from raysim.dose.readings import ALL_LAMPS, LINING, Cause, Comparison, Together
from raysim.dose.readings_together import COVERAGE, fit_each_other
from raysim.dose.result import Result
from raysim.output.words.numbers import irradiance_words, milliwatts, number, told_time
from raysim.output.words.sentences import is_forbidden
from raysim.scene.file.written import SceneAsWritten

LOW = (
    "look for a dirty, aged or cold lamp, a lining duller than believed, something in the way, and "
    "a meter that is not made for 254 nm or overdue for calibration"
)
HIGH = (
    "look for the wrong range or unit on the meter, a head nearer to a lamp than drawn, and a "
    "lining better than believed; do not shorten the time by it"
)
DARK = "find out whether a lamp is out, the head covered or the range wrong, and read again"
WHAT_TELLS = {
    ALL_LAMPS: "wipe the lamps, let them burn in and warm up, check the meter, and read again",
    LINING: "a reading in a place that faces away from the lamps would tell",
}


def without_readings(written: SceneAsWritten) -> str:
    """That the times of a study leave the readings of its scene out; "" where there are none."""
    if all(point.reading is None for point in written.meter):
        return ""
    return (
        "These times are calculated, without the meter readings of this scene, which can make the "
        "timer longer or forbid it: 'raysim dose' says what they leave."
    )


def agreement_words(row: Comparison) -> str:
    """Whether meter and calculation agree at one point, and what to check if not."""
    reading = row.meter.reading
    if reading is None:
        return "no reading yet"
    if row.agrees:
        return "agrees"
    if reading == 0.0:
        return f"does not agree, no light was read: {DARK}"
    less = reading < row.meter.irradiance
    which = "less" if less else "more"
    return f"does not agree, {which} light than calculated: {LOW if less else HIGH}"


def predicted_words(row: Comparison) -> str:
    """What a meter should show with its expanded uncertainty, mW/cm2."""
    predicted = row.meter.irradiance
    if not math.isfinite(row.predicted_error):
        return f"{milliwatts(predicted)}, how far off is not known"
    spread = COVERAGE * row.predicted_error * predicted
    return irradiance_words(predicted, spread)


def reading_lines(result: Result) -> list[str]:
    """What follows from the readings for the timer; nothing without a reading."""
    readings = result.readings
    if readings is None:
        return []
    if not readings.agree:
        return [*disagreements(readings.rows), *_calculated(result)]
    cause = readings.longest
    names = " and ".join(f'"{row.meter.name}"' for row in readings.rows)
    agree = "reading agrees" if len(readings.rows) == 1 else "readings agree"
    if cause is None or result.needed == result.calculated:
        stays = "the calculated time stays" if is_forbidden(result) else "the timer stays"
        return [f"The meter {agree} with the calculation (at {names}); {stays}."]
    return [
        f"The meter {agree} with the calculation (at {names}), but some light is missing: "
        f"{_cause_words(cause)}, it takes {told_time(result.needed)} in place of the "
        f"calculated {told_time(result.calculated)}. To do better: {_what_tells(cause)}."
    ]


def disagreements(rows: Sequence[Comparison]) -> list[str]:
    """Each reading that disagrees, with what was calculated there and what to look for."""
    lines = []
    for row in rows:
        point = row.meter.point
        if point.reading is not None and not row.agrees:
            lines.append(
                f'At "{point.name}" {milliwatts(point.reading)} mW/cm2 was read where '
                f"{predicted_words(row)} (k = 2) is calculated. It {agreement_words(row)}."
            )
    together = fit_each_other(rows)
    if together is not None and not together.agrees:
        lines.append(_odd_words(together))
    return lines


def _odd_words(together: Together) -> str:
    """Which of several readings does not fit the others, and what looks like that."""
    off = abs(1.0 - together.ratio)
    which = "less" if together.ratio < 1.0 else "more"
    return (
        f'The readings do not fit each other: at "{together.odd}" {off:.0%} {which} light was read '
        "than the others lead one to expect. A lamp that is out or dim, a wall unlike the others "
        "or a head held elsewhere looks like this: see that every lamp burns, and read again."
    )


def _calculated(result: Result) -> list[str]:
    known = "there is no finite time without the readings either"
    if math.isfinite(result.calculated):
        known = (
            f"calculated without the readings, for information only: {told_time(result.calculated)}"
        )
    return [f"Set no timer before every reading agrees; {known}."]


def _cause_words(cause: Cause) -> str:
    """A cause that would explain the missing light, as the beginning of a sentence."""
    if cause.what == LINING:
        return "if the lining reflects less than the library's low end"
    amiss = number(100.0 * cause.amiss, 2)
    if cause.what == ALL_LAMPS:
        return f"if all lamps give {amiss}% less than they should at their age"
    return f'if lamp "{cause.lamp}" alone gives {amiss}% less than it should at its age'


def _what_tells(cause: Cause) -> str:
    return WHAT_TELLS.get(cause.what, f'a reading close to lamp "{cause.lamp}" would tell')
