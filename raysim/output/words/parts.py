"""What sets the timer: the time that each kind of part would need by itself."""

import math

from raysim.assess.reuse import STRAP_WORD
from raysim.base.cases import CAUTIOUS
from raysim.dose.result import Result, Spot
from raysim.output.words.numbers import told_time
from raysim.output.words.table import Row, labelled

STRAPS_HELP = (
    "What shortens the time of straps: a [[pose]] that shifts them on their hooks half-way, a "
    'thinner hook, or judge_area = "1 cm2" under [target], by which a dark face counts with its '
    "surroundings."
)


def time_by_itself(result: Result, spot: Spot) -> float:
    """Seconds that a spot needs by its estimated irradiance, cautious case: no bound.

    Source: `Requirement.time`.
    """
    return result.requirement.time(spot.irradiance)


def part_rows(result: Result) -> list[Row]:
    """What sets the time, and what other kinds of parts would need; none without a time."""
    case = result.cases[CAUTIOUS]
    ruling = case.worst.part.casefold()
    others = [spot for spot in case.worst_per_part if spot.part.casefold() != ruling]
    if not others or not math.isfinite(result.calculated):
        return []
    about = (f"{_name(spot)} about {told_time(time_by_itself(result, spot))}" for spot in others)
    sets = (
        f"What sets the calculated time: {_name(case.worst)}, {told_time(result.calculated)}. By "
        f"themselves would need: {', '.join(about)} (estimates, no bounds)."
    )
    return labelled("parts", [sets, STRAPS_HELP] if STRAP_WORD in ruling else [sets])


def _name(spot: Spot) -> str:
    return spot.part or "what has no part name"
