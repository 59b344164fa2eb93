"""The study of linings in words, in common units."""

import math

from raysim.base.cases import CAUTIOUS
from raysim.dose.exposure import LONGEST_TIME
from raysim.library.surfaces import surfaces
from raysim.output.words.numbers import (
    least_time,
    number,
    told_time,
)
from raysim.output.words.readings import without_readings
from raysim.output.words.sentences import SO_DARK
from raysim.scene.triangles import untreated_words
from raysim.studies.linings.bench import CaseOfLining, LiningRow
from raysim.studies.linings.compare import LiningPair
from raysim.studies.linings.run import LiningStudy

LIGHT = (
    "Bring more light there, by turning or moving the respirators (raysim shadows SCENE), before "
    "you compare linings."
)
DOUBT = (
    "Mirror shares of the linings are estimates, and a lining holds only as long as it stays as "
    "clean as new: believe a meter more than this."
)


def answer(study: LiningStudy) -> str:
    """What to do, and the time that follows."""
    case = study.rows[0].cases[CAUTIOUS]
    if case.dark and case.worst.irradiance > 0.0:
        return f"No lining will do: with each the darkest spot is {SO_DARK}. {LIGHT}"
    if not math.isfinite(case.exposure_time):
        if case.worst.irradiance > 0.0:
            return (
                "Under no lining could this run vouch for any light at the darkest spot, though "
                f"it found some: it gets too little to be counted well. {LIGHT}"
            )
        return (
            "No lining brings light to the darkest spot: turn or move the respirators first "
            "(raysim shadows SCENE)."
        )
    level = level_with_best(study)
    if study.own in level:
        return (
            f"Keep the lining as it is, {time_words(study.own.cases[CAUTIOUS])} a cycle "
            "(cautious): none of these is shown to do better. Run 'raysim dose' for the timer."
        )
    if all(row.cost is not None for row in level):
        level = [min(level, key=lambda row: row.cost or 0.0)]
    return (
        f"Line the box with {' or '.join(row.name for row in level)}: "
        f"{time_words(level[0].cases[CAUTIOUS])} a cycle (cautious) in place of "
        f"{time_words(study.own.cases[CAUTIOUS])} as it is now. Run 'raysim dose' on the box as "
        "lined before setting a timer."
    )


def more_lines(study: LiningStudy) -> tuple[str, ...]:
    """What there is to doubt, and what the times leave out."""
    untreated = untreated_words(study.scene.untreated or ())
    lines = (
        _stopped(study),
        DOUBT,
        without_readings(study.scene.written),
        untreated and f"{untreated}.",
    )
    return tuple(filter(None, lines))


def _stopped(study: LiningStudy) -> str:
    if not study.interrupted:
        return ""
    left = "; ".join(study.not_tried)
    missing = "all linings were tried, but not one wall at a time"
    if left:
        missing = f"a better lining may be missing. Not tried: {left}"
    return f"This run was stopped before its end: {missing}."


def level_with_best(study: LiningStudy) -> list[LiningRow]:
    """The best row, and those that do not differ from it by more than noise."""
    best = study.rows[0]
    return [row for row in study.rows if row is best or not study.better(best, row)]


def looks_words(study: LiningStudy) -> tuple[str, ...]:
    """What looks bright to the eye and is nearly black at 254 nm, with its times."""
    known = surfaces()
    fooled = [r for r in study.rows if r.name in known and known[r.name].looks_bright]
    if not fooled:
        return ()
    times = [f"{row.name} ({time_words(row.cases[CAUTIOUS])})" for row in fooled]
    return (
        "What looks bright to the eye and is nearly black at 254 nm, with the exposure it would "
        f"take in the cautious case: {'; '.join(times)}.",
    )


def alike(study: LiningStudy) -> list[list[str]]:
    """Groups of neighbours in the table, none of which differs from the next by more than noise."""
    runs = [[study.rows[0].name]]
    for pair in neighbours(study):
        if pair.told_apart:
            runs.append([pair.second])
        else:
            runs[-1].append(pair.second)
    return [run for run in runs if len(run) > 1]


def neighbours(study: LiningStudy) -> list[LiningPair]:
    """Each row that was followed to its end against the next one."""
    names = [row.name for row in study.rows if row.cases[CAUTIOUS].stopped is None]
    following = set(zip(names, [row.name for row in study.rows[1:]], strict=False))
    return [pair for pair in study.pairs if (pair.first, pair.second) in following]


def alike_words(study: LiningStudy) -> tuple[str, ...]:
    """Which neighbours in the table do not differ by more than noise."""
    lines = []
    for names in alike(study):
        if len(names) == 2:
            lines.append(f"{names[0]} and {names[1]} cannot be told apart by this run.")
        else:
            lines.append(
                f"These {len(names)} cannot be told apart, each from the next, by this run: "
                f"{'; '.join(names)}."
            )
    return tuple(lines)


def wall_words(study: LiningStudy) -> tuple[str, ...]:
    """Which wall to line if it is to be only one."""
    if not study.walls:
        return ()
    first = study.walls[0]
    gain = first.gain[CAUTIOUS]
    if not first.cases[CAUTIOUS].worst.irradiance > 0.0:
        return ("No wall lined by itself was found to bring light to the darkest spot.",)
    words = f"If only one wall can be lined, take {first.name}: {study.wall_lining} there gives "
    if math.isfinite(gain):
        return (f"{words}the darkest spot {number(gain)} times what a bare black box does.",)
    return (f"{words}light to the darkest spot, which gets none in a bare black box.",)


def minutes_per_money(study: LiningStudy, row: LiningRow) -> float | None:
    """Minutes of a cycle saved against the present box, per unit of money.

    None without a price, and where the lining is not shown to beat the present one.
    """
    if not row.cost or not study.better(row, study.own):
        return None
    saved = study.own.cases[CAUTIOUS].time - row.cases[CAUTIOUS].time
    return saved / 60.0 / row.cost if math.isfinite(saved) else None


def time_words(case: CaseOfLining) -> str:
    """The exposure time, or what it takes at least where it was not followed further."""
    if case.stopped is not None:
        return least_time(case.stopped)
    told = told_time(case.exposure_time)
    return told if case.settled or case.exposure_time > LONGEST_TIME else f"{told} (at most)"
