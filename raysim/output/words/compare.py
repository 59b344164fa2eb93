"""Two results side by side in words: what to think of them."""

from collections import Counter
from collections.abc import Sequence
from typing import Any

from raysim.base.errors import printable
from raysim.base.units import minutes_seconds
from raysim.output.words.numbers import number
from raysim.output.words.parcel import recorded_words
from raysim.scene.file.differences import Difference

Record = dict[str, Any]
ERRORS = 2.0  # standard errors that a figure may lie off
MOST_TOLD = 3  # differences in the answer; the page has all
SAME = "Nothing that was compared differs in the scene files."


def letters(first: str, second: str) -> tuple[str, str]:
    """What the two are called: A and B, with the names that were typed."""
    return f"A ({printable(first)})", f"B ({printable(second)})"


def worst(record: Record) -> Record:
    """The spot that sets the timer: the worst of the cautious case."""
    spot: Record = record["cases"]["cautious"]["worst"]
    return spot


def told_apart(first: Record, second: Record) -> bool | None:
    """Whether noise alone does not explain that they differ; None if a worst spot is unknown.

    The spots are those that each run found, with its lower bound below and two standard errors
    above the estimate; the runs count as independent. Noise makes a timer longer by no more than
    these ends are apart: what is beyond it comes from readings, habits of the lamps or the target.
    """
    ends = []
    for record in (first, second):
        spot = worst(record)
        light, error, low = (
            spot[f"{key}_mW_cm2"] for key in ("irradiance", "standard_error", "lower_bound")
        )
        if None in (light, error, low):
            return None
        ends.append((low, light + ERRORS * error))
    if ends[0][0] > ends[1][1] or ends[1][0] > ends[0][1]:
        return True
    timers = [record["verdict"]["timer_s"] for record in (first, second)]
    if None in timers:
        return False
    longer = timers.index(max(timers))
    low, high = ends[longer]
    return bool(high > 0.0 and min(timers) < max(timers) * low / high)


def answer(first: Record, second: Record) -> str:
    """The one sentence: which needs longer, or why that cannot be said."""
    timers = [record["verdict"]["timer_s"] for record in (first, second)]
    if None in timers:
        return _without_timer(timers)
    targets = target_words(first), target_words(second)
    if targets[0] != targets[1]:
        return (
            f"The targets differ ({'; '.join(targets)}): each timer is for its own, and they "
            "cannot be held against each other."
        )
    more = timers[1] - timers[0]
    slower, faster = ("B", "A") if more > 0 else ("A", "B")
    if abs(more) < 1.0:
        return f"Both need the same time, {minutes_seconds(timers[0])}."
    times = f"{minutes_seconds(timers[0])} in A, {minutes_seconds(timers[1])} in B"
    said = f"{slower} needs {minutes_seconds(abs(more))} longer than {faster} ({times})"
    calculated = [record["verdict"]["calculated_s"] for record in (first, second)]
    if None not in calculated and abs(calculated[1] - calculated[0]) < 1.0:
        return f"{said}; calculated they need the same, meter readings make the difference."
    if told_apart(first, second):
        return f"{said}; the noise of the two runs does not explain that."
    return (
        f"{said}, but the noise of the two runs alone could make that: run both with a finer "
        "--precision before you decide by it."
    )


def _without_timer(timers: Sequence[float | None]) -> str:
    if timers[0] is None and timers[1] is None:
        return "Neither has a timer: none of the two may be used as it is."
    good, bad = ("B", "A") if timers[0] is None else ("A", "B")
    return f"{bad} has no timer and may not be used as it is; {good} has one."


def lines(
    first: Record, second: Record, found: Sequence[Difference] | None, why: str = ""
) -> list[str]:
    """What stands below the answer: both verdicts, what differs, what is in doubt."""
    told = [
        f"{letter}: {printable(record['scene']['title'])}. {verdict_words(record['verdict'])}."
        for letter, record in (("A", first), ("B", second))
    ]
    return [*told, *_pace(first, second), differing(found, why), doubt(first, second)]


def verdict_words(verdict: Record) -> str:
    """State and timer, and how much is to be done before the timer may be used."""
    count = len(verdict["reasons"])
    first = {0: "", 1: "; one thing is to be done first"}.get(
        count, f"; {count} things are to be done first"
    )
    return f"{recorded_words(verdict)}{first if verdict['timer_s'] is not None else ''}"


def _pace(first: Record, second: Record) -> list[str]:
    """How many each treats in an hour, where both have a timer for the same target."""
    if None in (first["verdict"]["timer_s"], second["verdict"]["timer_s"]):
        return []
    if target_words(first) != target_words(second):
        return []
    told = [f"{judged(r)} at a time, {an_hour(r)} an hour" for r in (first, second)]
    return [f"Judged objects by the timer alone, without loading: A {told[0]}; B {told[1]}."]


def doubt(first: Record, second: Record) -> str:
    """How well the worst spots are known at all, beside the noise of the runs."""
    wide = [_wide(record) for record in (first, second)]
    return (
        f"Doubt: the light at the worst-lit spot is known to {wide[0]} in A and {wide[1]} in B "
        "(k = 2), for what lamps give and surfaces reflect is not known well; only a calibrated "
        "254 nm meter in the box that is built tells."
    )


def _wide(record: Record) -> str:
    budget = record.get("uncertainty")
    share = budget.get("expanded_relative") if isinstance(budget, dict) else None
    return "no stated share" if not isinstance(share, float) else f"± {share:.0%}"


def differing(found: Sequence[Difference] | None, why: str) -> str:
    """What differs in the scene files; of many, how many in which tables."""
    if found is None:
        return f"What differs in the scenes cannot be told: {why}."
    if not found:
        return SAME
    if len(found) > MOST_TOLD:
        tables = Counter(row.key.partition(".")[0].partition(" ")[0] for row in found)
        each = ", ".join(f"{count} of {printable(table)}" for table, count in tables.items())
        return f"{len(found)} entries of the scenes differ, all told on the page: {each}."
    shown = "; ".join(
        f"{printable(row.key)}: {printable(row.first)[:60]} in A, {printable(row.second)[:60]} in B"
        for row in found
    )
    return f"What differs: {shown}."


def judged(record: Record) -> str:
    """How many objects are judged (definition)."""
    return str(len(record["cases"]["cautious"]["per_object"]))


def an_hour(record: Record) -> str:
    """How many of them the timer alone, without loading, treats in an hour (definition)."""
    timer = record["verdict"]["timer_s"]
    if timer is None:
        return "none"
    return number(3600.0 * len(record["cases"]["cautious"]["per_object"]) / timer, 2)


def target_words(record: Record) -> str:
    """Dose and safety factor."""
    target = record["target"]
    return f"{number(target['dose_mJ_cm2'])} mJ/cm2 × {target['safety_factor']:g}"
