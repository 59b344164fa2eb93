"""Life of lamps, air temperature and broken-off cycles: tables and records."""

from typing import Any

import numpy as np

from raysim.behaviour import temperature_factor
from raysim.output.report_tables import Table
from raysim.output_curve import HARD_START
from raysim.result import Result
from raysim.timer import behaviour_of, lamp_life, seconds_to_add, times_in_air
from raysim.units import minutes_seconds

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
    rows = [
        (f"{row.hours:,.0f}", f"{100.0 * row.output:.0f}", minutes_seconds(row.seconds))
        for row in found.table
    ]
    note = (
        f"All lamps of the age given, in the warm and dusty box. The timer setting "
        f"({minutes_seconds(result.timer)}) holds until {found.holds_until:,.0f} h, about "
        f"{found.cycles_left:,} cycles from now. Replace a lamp then, or as soon as a meter at a "
        f"marked spot reads less than {100.0 * found.replace_below:.0f} % of what it read with "
        "that lamp new: frequent switching shortens life, and a lamp glows blue long after it "
        "gives no dose. A shorter setting for newer lamps must be changed in time; one setting "
        "for life is safer."
    )
    return Table(("lamp hours", "output, % of rating", "time needed"), tuple(rows), 1, note)


def air_table(result: Result) -> Table | None:
    """Exposure time against the temperature of the air in the box; none without a timer."""
    if not np.isfinite(result.timer):
        return None
    rows = [
        (f"{row.degrees:.0f}", f"{100.0 * row.output:.0f}", minutes_seconds(row.seconds))
        for row in times_in_air(result)
    ]
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
    return Table(("air in the box, C", "output, % of rating", "time needed"), tuple(rows), 1, note)


def interrupted_table(result: Result) -> Table | None:
    """What a broken-off cycle lacks; none without a timer."""
    if not np.isfinite(result.timer) or result.poses:
        return None  # in which pose it was broken off, no share of the whole says
    rows = []
    for share in INTERRUPTED_AT:
        ran = share * result.timer
        added = seconds_to_add(result.warm_up, result.timer, ran)
        rows.append((minutes_seconds(ran), minutes_seconds(added), minutes_seconds(result.timer)))
    note = (
        f"{FULL_TIME} The middle column is arithmetic alone: doses add up, and the lamps warm up "
        "anew."
    )
    headings = ("broken off after", "missing, from a cold start", "run instead")
    return Table(headings, tuple(rows), 1, note)


def lamp_life_record(result: Result) -> dict[str, Any] | None:
    """Times over the life of the lamps as they stand in result.json; null without a timer."""
    found = lamp_life(result)
    if found is None:
        return None
    table = [
        {
            "hours": row.hours,
            "output": row.output,
            "exposure_time_s": row.seconds if np.isfinite(row.seconds) else None,
        }
        for row in found.table
    ]
    interrupted = [
        {
            "ran_s": share * result.timer,
            "missing_s": seconds_to_add(result.warm_up, result.timer, share * result.timer),
        }
        for share in (INTERRUPTED_AT if not result.poses else ())
    ]
    in_air = [
        {
            "air_C": row.degrees,
            "output": row.output,
            "exposure_time_s": row.seconds if np.isfinite(row.seconds) else None,
        }
        for row in times_in_air(result)
    ]
    return {
        "table": table,
        "in_air": in_air,
        "holds_until_h": found.holds_until,
        "cycles_left": found.cycles_left,
        "replace_below": found.replace_below,
        "interrupted": interrupted,
    }
