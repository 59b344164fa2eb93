"""The verdict in words, and as plain data: it heads everything that is shown of a run."""

import math
from typing import Any

from raysim.base.errors import RaysimError
from raysim.base.figures import finite_or_none
from raysim.base.units import UW_CM2_PER_W_M2, minutes_seconds
from raysim.dose.result import Result
from raysim.dose.verdict_record import State, Verdict, Why
from raysim.output.words.numbers import number, told_time

DO_NOT_USE = "DO NOT USE"


def the_verdict(result: Result) -> Verdict:
    """The verdict of a result.

    Raises
    ------
    RaysimError
        Where it was not judged: nothing may be shown without a verdict.
    """
    if result.verdict is None:
        raise RaysimError("the result has no verdict. Mend: show with_verdict(result)")
    return result.verdict


def state_words(result: Result) -> str:
    """The state in a few words: "READY", "READY AFTER a meter check" or "DO NOT USE"."""
    found = the_verdict(result)
    if found.state is State.READY_AFTER:
        steps = list(dict.fromkeys(reason.step for reason in found.reasons))
        return f"READY AFTER {_listed(steps)}"
    return DO_NOT_USE if found.forbids else "READY"


def timer_label(result: Result) -> str:
    """What stands above the timer: the state, and from when it is counted."""
    found = the_verdict(result)
    if found.forbids:
        return "No timer setting"
    setting = f"{_then(found)} the timer setting" if found.reasons else "Timer setting"
    return f"{state_words(result)}. {setting}, from cold lamps"


def under_timer(result: Result) -> str:
    """What the headline says beside state and timer, where these stand above; "" for nothing."""
    found = the_verdict(result)
    if not found.forbids:
        return _setting(result) if result.poses else ""
    if not math.isfinite(found.calculated):
        return ""
    return f"Calculated, for information only: {told_time(found.calculated)}."


def headline(result: Result) -> str:
    """The state, then the timer setting (min and s), or the calculated time for information."""
    found = the_verdict(result)
    if not found.forbids:
        setting = _setting(result)
        if found.reasons:
            setting = f"{_then(found)} s{setting[1:]}"
        return f"{state_words(result)}. {setting}"
    known = under_timer(result)
    calculated = f"; {known[:1].lower()}{known[1:]}" if known else "."
    return f"{DO_NOT_USE}. There is no timer setting{calculated}"


def holds_words(result: Result) -> str:
    """What the verdict belongs to: scene, lamps, reading and survey of the seams."""
    held = the_verdict(result).holds_for
    hours = sorted({hours for _, hours in held.lamps})
    read = "no reading" if result.readings is None else "a reading without a date"
    if held.reading_date is not None:
        read = f"the reading of {held.reading_date}"
    seams = result.written.seams if result.written else None
    light = []
    if seams is not None:
        highest = number(UW_CM2_PER_W_M2 * seams.highest)
        light.append(f"the seams as {seams.by} found them on {seams.checked_on} ({highest} uW/cm2)")
    if held.gaps:
        names = _listed([f'"{name}"' for name in held.gaps])
        light.append(f"stray light calculated for {names} as drawn, and for no other seam")
    survey = " and ".join(light) or "no survey of the seams"
    return (
        f"Scene {held.scene[:12]}, lamps of {', '.join(f'{h:g}' for h in hours)} h, "
        f"{read} and {survey}; any change makes it stale."
    )


def reason_lines(result: Result) -> list[str]:
    """Each reason, and the cheapest way to mend it."""
    return [_sentence(f"{reason.says}. Mend: {reason.mend}.") for reason in _reasons(result)]


def timer_words(result: Result) -> str:
    """The timer setting (min and s) of the cycle, or of each of its poses, one after the other."""
    if not math.isfinite(result.timer):
        return DO_NOT_USE
    times = [minutes_seconds(pose.time) for pose in result.poses]
    if len(times) < 2:
        return minutes_seconds(result.timer)
    if len(set(times)) == 1:
        return f"{len(times)} × {times[0]}"
    return ", then ".join(times)


def verdict_record(result: Result) -> dict[str, Any]:
    """The verdict for result.json."""
    found = the_verdict(result)
    read, surveyed = (
        None if day is None else day.isoformat()
        for day in (found.holds_for.reading_date, found.holds_for.seams_date)
    )
    return {
        "state": found.state,
        "timer_s": finite_or_none(found.timer),
        "calculated_s": finite_or_none(found.calculated),
        "reasons": [
            {"code": reason.code, "says": reason.says, "mend": reason.mend}
            for reason in found.reasons
        ],
        "holds_for": {
            "scene": found.holds_for.scene,
            "lamps": [{"name": name, "hours": hours} for name, hours in found.holds_for.lamps],
            "reading_date": read,
            "seams_date": surveyed,
            "gaps": list(found.holds_for.gaps),
        },
    }


def _then(found: Verdict) -> str:
    """What comes before a timer setting that holds once the reasons are done with."""
    if any(reason.code is Why.READING_MISSING for reason in found.reasons):
        return "Then, unless the reading makes it longer,"
    return "Then"


def _reasons(result: Result) -> tuple[Any, ...]:
    return the_verdict(result).reasons


def _setting(result: Result) -> str:
    """The timer setting as a sentence; with poses, one for each."""
    start = "Set the timer to"
    if not result.poses:
        return f"{start} {minutes_seconds(result.timer)}, counted from switching on cold lamps."
    whole = sum(math.ceil(pose.time - 1e-9) for pose in result.poses)  # rounded up as shown
    each = [f'{minutes_seconds(pose.time)} in pose "{pose.name}"' for pose in result.poses]
    return (
        f"{start} {', then '.join(each)}, each time counted from switching on cold lamps: "
        f"{minutes_seconds(whole)} of light in all."
    )


def _listed(words: list[str]) -> str:
    """Words as a list in a sentence: "a, b and c"."""
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]
