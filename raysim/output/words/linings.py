"""The study of linings in words and tables, in common units."""

import math
from collections.abc import Sequence

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.dose.exposure import LONGEST_TIME
from raysim.library.surfaces import Surface, surfaces
from raysim.output.words.numbers import (
    least_time,
    milliwatts,
    number,
    spot_irradiance,
    told_time,
)
from raysim.output.words.readings import without_readings
from raysim.output.words.sentences import SO_DARK
from raysim.output.words.table import Table, table_of
from raysim.scene.triangles import untreated_words
from raysim.studies.linings.bench import CaseOfLining, LiningRow
from raysim.studies.linings.compare import LiningPair
from raysim.studies.linings.run import TOO_SLOW, LiningStudy

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
    lines = (DOUBT, without_readings(study.scene.written), untreated and f"{untreated}.")
    return tuple(filter(None, lines))


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
        f"take in the cautious case: {', '.join(times)}.",
    )


def alike(study: LiningStudy) -> list[list[str]]:
    """Groups of neighbours in the table, none of which differs from the next by more than noise."""
    runs = [[study.rows[0].name]]
    for pair in _neighbours(study):
        if pair.told_apart:
            runs.append([pair.second])
        else:
            runs[-1].append(pair.second)
    return [run for run in runs if len(run) > 1]


def _neighbours(study: LiningStudy) -> list[LiningPair]:
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
                f"{', '.join(names)}."
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


def linings_table(study: LiningStudy) -> Table:
    """All linings: time, worst face (mW/cm2), gain, evenness, cost."""
    note = (
        f"Area to line: {study.rows[0].area:.2f} m². Two linings are told apart where the one "
        "gives the worst face at least (95 % confidence, over all judged faces) more than the "
        "other gives it at most. Best: what 1 % of the judged area exceeds, by the mean over 1 "
        "cm². Times from cold lamps, from what the worst face gets at least; the cautious one is "
        f"the one to go by. What was shown to take over {TOO_SLOW:g} times as long as the best "
        "was not followed further: its time is the least it takes. Money: only what is shown to "
        "beat the box as it is saves minutes."
    )
    return table_of(
        (*study.rows, study.black),
        {
            "all walls lined with": lambda row: row.name,
            "time, cautious": lambda row: time_words(row.cases[CAUTIOUS]),
            "worst face, mW/cm² ± standard error": lambda row: _irradiance(row, CAUTIOUS),
            "at least": lambda row: milliwatts(row.cases[CAUTIOUS].worst.lower_bound),
            "at most": lambda row: milliwatts(row.most) if math.isfinite(row.most) else "",
            "gain over black": lambda row: _ratio(row.gain[CAUTIOUS]),
            "best / worst": lambda row: _ratio(row.cases[CAUTIOUS].evenness),
            "time, expected": lambda row: time_words(row.cases[EXPECTED]),
            "worst face, expected": lambda row: _irradiance(row, EXPECTED),
            "gain, expected": lambda row: _ratio(row.gain[EXPECTED]),
            "cost": lambda row: _number(row.cost),
            "minutes saved per unit of money": lambda row: _number(minutes_per_money(study, row)),
        },
        note=note,
    )


def _number(value: float | None) -> str:
    return "" if value is None else number(value)


def time_words(case: CaseOfLining) -> str:
    """The exposure time, or what it takes at least where it was not followed further."""
    if case.stopped is not None:
        return least_time(case.stopped)
    told = told_time(case.exposure_time)
    return told if case.settled or case.exposure_time > LONGEST_TIME else f"{told} (at most)"


def _irradiance(row: LiningRow, case: str) -> str:
    return spot_irradiance(row.cases[case].worst)


def _ratio(value: float) -> str:
    return number(value) if math.isfinite(value) else "from nothing"


def pairs_table(study: LiningStudy) -> Table:
    """Each lining against the next, mW/cm2: what the verdict rests on."""
    note = (
        "Cautious case, worst face. The first is better where it gives at least more than the "
        "second gives at most; or where it gives more along the same paths, traced again, at every "
        "face that could be its worst."
    )
    return table_of(
        _neighbours(study),
        {
            "first": lambda pair: pair.first,
            "second": lambda pair: pair.second,
            "verdict (95%)": lambda pair: (
                "first is better" if pair.told_apart else "cannot be told apart"
            ),
            "first, at least, mW/cm²": lambda pair: milliwatts(pair.least),
            "second, at most": lambda pair: milliwatts(pair.most),
            "first gives more, same paths, at least": _same_paths,
        },
        words=3,
        note=note,
    )


def _same_paths(pair: LiningPair) -> str:
    if math.isfinite(pair.same_paths):
        return milliwatts(pair.same_paths)
    return "not needed" if pair.told_apart else "too many faces"


def walls_table(study: LiningStudy) -> Table:
    """One wall lined in an otherwise black box: darkest cell, mW/cm2, gain, area."""
    return table_of(
        study.walls,
        {
            f"only this wall, {study.wall_lining}": lambda row: row.name,
            "darkest cell, mW/cm² ± standard error": lambda row: _irradiance(row, CAUTIOUS),
            "gain over black": lambda row: _ratio(row.gain[CAUTIOUS]),
            "area, m²": lambda row: f"{row.area:.3f}",
        },
        note="By the darkest cell of 1 cm². Rows whose errors overlap cannot be told apart.",
    )


def sources_table(linings: Sequence[Surface]) -> Table:
    """Reflectance of the linings with source, mark and quality."""
    rows = [
        (s.name, f"{s.source} ({s.mark})", s.quality, *_range(s), f"{s.specular:g}")
        for s in linings
    ]
    headings = ("lining", "source (mark)", "quality", "low", "expected", "high", "mirror share")
    return Table(
        headings, tuple(rows), 3, "Reflectance at 254 nm. A measured, B handbook, C estimate."
    )


def _range(surface: Surface) -> tuple[str, str, str]:
    if surface.is_fresnel:
        return (f"n = {surface.refractive_index:g}",) * 3
    ends = (surface.reflectance_low, surface.reflectance, surface.reflectance_high)
    return tuple(f"{value:.3g}" for value in ends)  # type: ignore[return-value]
