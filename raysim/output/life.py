"""Reuse of respirators, life of lamps and broken-off cycles: tables, words, records."""

from typing import Any

import numpy as np

from raysim.output.report_tables import Table
from raysim.output.sentences import number
from raysim.result import Result
from raysim.reuse import Reuse, reuse
from raysim.timer import lamp_life, seconds_to_add
from raysim.units import J_M2_PER_J_CM2, minutes_seconds, to_mJ_cm2, to_mW_cm2

INTERRUPTED_AT = (0.25, 0.5, 0.75, 0.9)  # of the timer
FULL_TIME = (
    "After any interruption start the full time again: nobody knows for certain how long the "
    "lamps burnt (ordinary practice, from memory)."
)


def reuse_table(result: Result) -> Table | None:
    """Limits of reuse with their sources; none without a timer."""
    found = reuse(result)
    if found is None:
        return None
    rows = [
        (limit.what, limit.value, limit.source, "" if limit.cycles is None else str(limit.cycles))
        for limit in found.limits
    ]
    doses = "; ".join(
        f"{part.part} {number(to_mW_cm2(part.irradiance))} mW/cm², "
        f"{number(part.dose / J_M2_PER_J_CM2)} J/cm² a cycle"
        for part in found.parts
    )
    note = (
        f"Best-lit face with new lamps, high end of every reflectance: {doses} (straps: both sides "
        "added). Wear is judged with new lamps, the timer with aged ones. A donning is counted for "
        "each cycle; the first wear of a new respirator comes before the first."
    )
    return Table(("limit", "value", "source (mark)", "cycles"), tuple(rows), 3, note)


def reuse_lines(result: Result) -> list[str]:
    """How often a respirator may go round, and what binds."""
    found = reuse(result)
    if found is None:
        return []
    if found.cycles == 0:
        return [_none_words(found)]
    noun = "cycle" if found.cycles == 1 else "cycles"
    return [
        f"A respirator may go through {found.cycles} such {noun} at most; what binds is the "
        f"{found.binding} limit. Local policy may say fewer; a failed fit check ends it at once."
    ]


def _none_words(found: Reuse) -> str:
    worst = max(found.parts, key=lambda part: part.dose)
    limits = ", ".join(f"{x.value} ({x.what})" for x in found.limits if x.cycles == 0)
    return (
        f"Wear: one cycle gives the best-lit {worst.part} {number(worst.dose / J_M2_PER_J_CM2)} "
        f"J/cm2 with new lamps, more than the limit of {limits}: by that limit not even one cycle "
        f"is allowed. The lowest dose tried on such material, 120 J/cm2, would allow "
        f"{found.tested}; it is a tested dose, not a proven limit. Make the light more even, or "
        "give [wear] a limit that you can defend for your model."
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


def reuse_record(result: Result) -> dict[str, Any] | None:
    """Reuse as it stands in result.json; null without a timer."""
    found = reuse(result)
    if found is None:
        return None
    return {
        "cycles": found.cycles,
        "binding": found.binding,
        "cycles_at_lowest_tested_dose": found.tested,
        "parts": [
            {
                "part": part.part,
                "best_irradiance_mW_cm2": float(to_mW_cm2(part.irradiance)),
                "dose_per_cycle_mJ_cm2": float(to_mJ_cm2(part.dose)),
            }
            for part in found.parts
        ],
        "limits": [
            {"what": x.what, "value": x.value, "cycles": x.cycles, "source": x.source}
            for x in found.limits
        ],
    }


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
    return {
        "table": table,
        "holds_until_h": found.holds_until,
        "cycles_left": found.cycles_left,
        "replace_below": found.replace_below,
        "interrupted": interrupted,
    }
