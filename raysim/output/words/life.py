"""Life of lamps, air temperature and interrupted cycles: tables and records."""

from typing import Any

import numpy as np

from raysim.assess.lamp_life import (
    TimeAtAge,
    TimeInAir,
    behaviour_of,
    lamp_life,
    seconds_to_add,
    times_in_air,
)
from raysim.base.figures import finite_or_none
from raysim.base.units import minutes_seconds
from raysim.dose.lamp_output import temperature_factor
from raysim.dose.result import PoseResult, Result
from raysim.library.temperature import HARD_START
from raysim.output.words.table import Table, table_of

INTERRUPTED_AT = (0.25, 0.5, 0.75, 0.9)  # of the timer
FULL_TIME = (
    "After any interruption start the full time again: nobody knows for certain how long the "
    "lamps burnt (ordinary practice, from memory)."
)


def lamp_life_table(result: Result) -> Table | None:
    """Exposure time against lamp hours; none without a timer."""
    found = lamp_life(result)
    if found is None:
        return None
    note = (
        f"All lamps of the age given, in the warm and dusty box. The timer setting "
        f"({minutes_seconds(result.timer)}) holds until {found.holds_until:,.0f} h, about "
        f"{found.cycles_left:,} cycles from now. Replace a lamp then, or as soon as a meter at a "
        f"marked spot reads less than {100.0 * found.replace_below:.0f} % of what it read with "
        "that lamp new: frequent switching shortens life, and a lamp glows blue long after it "
        "gives no dose. A shorter setting for newer lamps must be changed in time; one setting "
        "for life is safer."
    )
    ages = [(f"{row.hours:,.0f}", row) for row in found.table]
    return _times_table("lamp hours", ages, note)


def air_table(result: Result) -> Table | None:
    """Exposure time against the temperature of the air in the box; none without a timer."""
    if not np.isfinite(result.timer):
        return None
    behaviour = behaviour_of(result)
    taken = temperature_factor(behaviour)
    basis = "the air given in the scene" if behaviour.air else "a factor for a warm closed box"
    note = (
        f"Lamps at the end of their life and dusty, as the timer takes them; the timer itself "
        f"takes {100.0 * taken:.0f} % ({basis}). Curve: {behaviour.output_curve.source}. Below "
        f"{HARD_START:g} C lamps start badly or not at all (lighting maker's article, read). If "
        "the box gets colder or hotter than the timer allows for, give the temperatures (air) "
        "under [lamps_behaviour] and run again: do not set a shorter time by this table."
    )
    air = [(f"{row.degrees:.0f}", row) for row in times_in_air(result)]
    return _times_table("air in the box, C", air, note)


def _times_table(heading: str, rows: list[tuple[str, Any]], note: str) -> Table:
    """Output and time of `TimeAtAge` or `TimeInAir`, each with its words for the first column."""
    return table_of(
        rows,
        {
            heading: lambda row: row[0],
            "output, % of rating": lambda row: f"{100.0 * row[1].output:.0f}",
            "time needed": lambda row: minutes_seconds(row[1].seconds),
        },
        note=note,
    )


def interrupted_table(result: Result) -> Table | None:
    """What is missing after an interrupted cycle; none without a timer."""
    if not np.isfinite(result.timer):
        return None
    if result.poses:
        return _interrupted_poses(result)
    note = (
        f"{FULL_TIME} The middle column is arithmetic alone: doses add up, and the lamps warm up "
        "anew."
    )
    return table_of(
        _missing(result, None),
        {
            "broken off after": lambda entry: minutes_seconds(entry[0]),
            "missing, from a cold start": lambda entry: minutes_seconds(entry[1]),
            "run instead": lambda _: minutes_seconds(result.timer),
        },
        note=note,
    )


def _interrupted_poses(result: Result) -> Table:
    """What is missing after an interruption in each of several poses."""
    rows = []
    for number, pose in enumerate(result.poses):
        later = [f'{minutes_seconds(p.time)} in "{p.name}"' for p in result.poses[number + 1 :]]
        for ran, added in _missing(result, pose):
            words = (pose.name, ", then ".join(later) or "nothing")
            rows.append((*words, *map(minutes_seconds, (ran, added, pose.time))))
    note = (
        f"{FULL_TIME} Here that is the full time of the pose in which it broke off: poses before "
        "it whose timer had run out count. The missing time is arithmetic alone: doses add up, and "
        "the lamps warm up anew."
    )
    headings = (
        "broken off in pose",
        "still to come after it",
        "after, in this pose",
        "missing in it, from a cold start",
        "run instead",
    )
    return Table(headings, tuple(rows), 2, note)


def _missing(result: Result, pose: PoseResult | None) -> list[tuple[float, float]]:
    """Times (s) of an interruption of the cycle, or of one pose, and what is missing then."""
    curve, timer = result.warm_up, result.timer
    if pose is not None:
        curve, timer = curve.of_one_pose, pose.time
    moments = [share * timer for share in INTERRUPTED_AT]
    return [(ran, seconds_to_add(curve, timer, ran)) for ran in moments]


def lamp_life_record(result: Result) -> dict[str, Any] | None:
    """Times over the life of the lamps for result.json; null without a timer."""
    found = lamp_life(result)
    if found is None:
        return None
    interrupted = [
        {"pose": pose.name if pose else None, "ran_s": ran, "missing_s": added}
        for pose in result.poses or (None,)
        for ran, added in _missing(result, pose)
    ]
    return {
        "table": [{"hours": row.hours} | _output_record(row) for row in found.table],
        "in_air": [{"air_C": row.degrees} | _output_record(row) for row in times_in_air(result)],
        "holds_until_h": found.holds_until,
        "cycles_left": found.cycles_left,
        "replace_below": found.replace_below,
        "interrupted": interrupted,
    }


def _output_record(row: TimeAtAge | TimeInAir) -> dict[str, Any]:
    return {"output": row.output, "exposure_time_s": finite_or_none(row.seconds)}
