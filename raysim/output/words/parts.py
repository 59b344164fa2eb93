"""What sets the timer: the time that each part of the load would need by itself, and what helps."""

import math
from collections.abc import Iterable

from raysim.assess.reuse import STRAP_WORD
from raysim.base.cases import CAUTIOUS
from raysim.dose.result import Result, Spot
from raysim.output.words.numbers import about_time, told_time
from raysim.output.words.sentences import informative, is_forbidden
from raysim.output.words.table import Row, Table, labelled

STRAPS_HELP = (
    "What shortens the time of straps: a [[pose]] that shifts them on their hooks half-way, or a "
    "thinner hook."
)
ESTIMATES = "estimates, no bounds"


def time_by_itself(result: Result, spot: Spot) -> float:
    """Seconds that a spot needs by its estimated irradiance, cautious case: no bound.

    Source: `Requirement.time`.
    """
    return result.requirement.time(spot.irradiance)


def part_rows(result: Result) -> list[Row]:
    """What sets the time, and what other kinds of parts would need; none without a time."""
    case = result.cases[CAUTIOUS]
    if not math.isfinite(result.calculated):
        return []
    ruling = case.worst.part.casefold()
    others = [spot for kind, spot in _kinds(case.worst_per_part).items() if kind != ruling]
    lines = []
    if others:
        about = (
            f"{_name(spot)} about {about_time(time_by_itself(result, spot))}" for spot in others
        )
        lines.append(
            f"What sets the calculated time: {_name(case.worst)}, {told_time(result.calculated)}. "
            f"By themselves would need: {', '.join(about)} ({ESTIMATES})."
        )
        lines += [STRAPS_HELP] if STRAP_WORD in ruling else []
    lines += _by_patches(result)
    if lines and is_forbidden(result):
        lines = [informative(result, " ".join(lines))]
    return labelled("parts", lines)


def _by_patches(result: Result) -> list[str]:
    """The time by the darkest 1 cm2 in place of the darkest face, where it differs."""
    area = result.written.target.judge_area if result.written else None
    time = result.requirement.time(result.cases[CAUTIOUS].summary.worst_1cm2)
    if area is not None or not time < result.calculated:
        return []
    return [
        "Judged by the mean over 1 cm2 (judge_area) in place of the darkest face, the calculated "
        f"time would be about {about_time(time)} (an estimate, no bound). This is no advice: the "
        "face would stay as dark as it is."
    ]


def parts_table(result: Result) -> Table | None:
    """Time that each part of each object would need by itself; none where there is one of either.

    Nor without a calculated time.
    """
    spots = result.cases[CAUTIOUS].worst_per_part
    kinds, objects = _kinds(spots), list(dict.fromkeys(spot.object for spot in spots))
    if min(len(kinds), len(objects)) < 2 or not math.isfinite(result.calculated):
        return None
    times = {
        (spot.object, spot.part.casefold()): about_time(time_by_itself(result, spot))
        for spot in spots
    }
    worst = result.cases[CAUTIOUS].worst
    times[worst.object, worst.part.casefold()] = told_time(result.calculated)
    order = [summary.name for summary in result.cases[CAUTIOUS].per_object]
    rows = [
        (name, *(times.get((name, kind), "none") for kind in kinds))
        for name in sorted(objects, key=order.index)
    ]
    note = (
        f"Cautious case; {worst.object}, {_name(worst)}, sets the calculated time. The others are "
        f"{ESTIMATES}, from the darkest spot of each part, which was not followed as closely. No "
        "timer setting."
    )
    return Table(("object", *map(_name, kinds.values())), tuple(rows), 1, informative(result, note))


def _kinds(spots: Iterable[Spot]) -> dict[str, Spot]:
    """The darkest spot of each kind of part, such as all straps; darkest first, as given."""
    found: dict[str, Spot] = {}
    for spot in spots:
        found.setdefault(spot.part.casefold(), spot)
    return found


def _name(spot: Spot) -> str:
    return spot.part or "what has no part name"
