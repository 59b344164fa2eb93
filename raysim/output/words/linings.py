"""The study of linings in words and tables, in common units."""

import math
from collections.abc import Sequence

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.base.units import minutes_seconds
from raysim.library.surfaces import Surface, surfaces
from raysim.output.words.numbers import OVER_A_WEEK, milliwatts, number, spot_irradiance
from raysim.output.words.sentences import SO_DARK, too_dark_words
from raysim.output.words.table import Table, table_of
from raysim.studies.linings.bench import CaseOfLining, LiningRow
from raysim.studies.linings.run import AS_WRITTEN, LiningStudy

LONGEST_TOLD = 3.6e6  # s: with a longer time the box is dark


LIGHT = (
    "Bring more light there, by turning or moving the respirators (raysim shadows SCENE), before "
    "you compare linings."
)


def answer(study: LiningStudy) -> str:
    """The sentence to act on."""
    best = study.rows[0]
    ties = level_with_best(study)
    time = minutes_seconds(best.cases[CAUTIOUS].exposure_time)
    own = next(row for row in study.rows if row.name == AS_WRITTEN)
    if best.cases[CAUTIOUS].dark and best.cases[CAUTIOUS].worst.irradiance > 0.0:
        return f"No lining will do: with each the darkest spot is {SO_DARK}. {LIGHT}"
    if not math.isfinite(best.cases[CAUTIOUS].exposure_time):
        if best.cases[CAUTIOUS].worst.irradiance > 0.0:
            return (
                "Under no lining could this run vouch for any light at the darkest spot, though "
                f"it found some: it gets too little to be counted well. {LIGHT}"
            )
        return (
            "No lining brings light to the darkest spot: turn or move the respirators first "
            "(raysim shadows SCENE)."
        )
    named = " or ".join([best.name, *ties])
    words = f"Line the box with {named}: {time} of exposure in the cautious case"
    if AS_WRITTEN in (best.name, *ties):
        return (
            "Keep the lining as it is: none of these is shown to do better. Run 'raysim dose' for "
            "the timer."
        )
    if math.isfinite(own.cases[CAUTIOUS].exposure_time):
        words += f" instead of {minutes_seconds(own.cases[CAUTIOUS].exposure_time)} as it is now"
    return f"{words}. Run 'raysim dose' on the box as lined before setting a timer."


def level_with_best(study: LiningStudy) -> list[str]:
    """Linings that do not differ from the best one by more than noise."""
    return [pair.second for pair in study.from_best if not pair.told_apart]


def alike(study: LiningStudy) -> list[list[str]]:
    """Groups of neighbours in the table, none of which differs from the next by more than noise."""
    runs = [[study.rows[0].name]]
    for pair in study.pairs:
        if pair.told_apart:
            runs.append([pair.second])
        else:
            runs[-1].append(pair.second)
    return [run for run in runs if len(run) > 1]


def alike_words(names: list[str]) -> str:
    """A group of neighbours that do not differ by more than noise, in words."""
    if len(names) == 2:
        return f"{names[0]} and {names[1]} cannot be told apart by this run."
    return (
        f"These {len(names)} cannot be told apart, each from the next, by this run: "
        f"{', '.join(names)}."
    )


def more_lines(study: LiningStudy) -> tuple[str, ...]:
    """What qualifies the answer."""
    lines, best = [_bright_but_useless(study)], study.rows[0].cases[CAUTIOUS]
    if best.dark:
        lines.append(too_dark_words(best.worst) if best.worst.irradiance > 0.0 else "")
    else:
        lines += [alike_words(names) for names in alike(study)]
    value = _value_line(study)
    if value:
        lines.append(value)
    if study.walls and not best.dark:
        first = study.walls[0]
        lines.append(
            f"If only one wall can be lined, take {first.name}: {study.wall_lining} there gives "
            f"the darkest spot {number(first.gain[CAUTIOUS])} times what it gets in a bare black "
            "box."
        )
    lines.append(
        "Mirror shares of the linings are estimates, and a lining holds only as long as it stays "
        "as clean as new: believe a meter more than this table."
    )
    return tuple(line for line in lines if line)


def _bright_but_useless(study: LiningStudy) -> str:
    known = surfaces()
    fooled = [r for r in study.rows if r.name in known and known[r.name].looks_bright]
    if not fooled:
        return ""
    times = [f"{row.name} ({_told(row.cases[CAUTIOUS])})" for row in fooled]
    return (
        "What looks bright to the eye and is nearly black at 254 nm, with the exposure it would "
        f"take in the cautious case: {', '.join(times)}."
    )


def _value_line(study: LiningStudy) -> str:
    own = next(row for row in study.rows if row.name == AS_WRITTEN)
    saved = {
        row.name: per
        for row in study.rows
        if (per := minutes_per_money(row, own)) is not None and per > 0.0
    }
    if not saved:
        return ""
    best = max(saved, key=lambda name: saved[name])
    return f"Most minutes saved for the money: {best}, {number(saved[best])} min per unit of money."


def minutes_per_money(row: LiningRow, own: LiningRow) -> float | None:
    """Minutes of a cycle saved against the present box, per unit of money; None without price."""
    if not row.cost:
        return None
    saved = own.cases[CAUTIOUS].exposure_time - row.cases[CAUTIOUS].exposure_time
    return saved / 60.0 / row.cost if math.isfinite(saved) else None


def linings_table(study: LiningStudy) -> Table:
    """All linings: time, worst face (mW/cm2), gain, evenness, cost."""
    own = next(row for row in study.rows if row.name == AS_WRITTEN)
    note = (
        f"Area to line: {study.rows[0].area:.2f} m². The bound covers all judged faces, from "
        "photon counts of each lining and backward paths. Best: what 1 % of the judged area "
        "exceeds, by the mean over 1 cm². Times from cold lamps, from the bound; the cautious one "
        "is the one to go by."
    )
    return table_of(
        (*study.rows, study.black),
        {
            "all walls lined with": lambda row: row.name,
            "time, cautious": lambda row: _time(row.cases[CAUTIOUS]),
            "worst face, mW/cm² ± standard error": lambda row: _irradiance(row, CAUTIOUS),
            "95% bound": lambda row: milliwatts(row.cases[CAUTIOUS].worst.lower_bound),
            "gain over black": lambda row: _ratio(row.gain[CAUTIOUS]),
            "best / worst": lambda row: _ratio(row.cases[CAUTIOUS].evenness),
            "time, expected": lambda row: _time(row.cases[EXPECTED]),
            "worst face, expected": lambda row: _irradiance(row, EXPECTED),
            "gain, expected": lambda row: _ratio(row.gain[EXPECTED]),
            "cost": lambda row: _number(row.cost),
            "minutes saved per unit of money": lambda row: _number(minutes_per_money(row, own)),
        },
        note=note,
    )


def _number(value: float | None) -> str:
    return "" if value is None else number(value)


def time_told(seconds: float) -> str:
    """An exposure time in words; if the box is dark, that it is very long."""
    if LONGEST_TOLD < seconds < math.inf:
        return f"over {LONGEST_TOLD / 3600:,.0f} h"
    return minutes_seconds(seconds)


def _time(case: CaseOfLining) -> str:
    if case.dark:
        return OVER_A_WEEK
    told = time_told(case.exposure_time)
    return told if case.settled or told.startswith("over") else f"{told} (at most)"


def _told(case: CaseOfLining) -> str:
    return OVER_A_WEEK if case.dark else minutes_seconds(case.exposure_time)


def _irradiance(row: LiningRow, case: str) -> str:
    return spot_irradiance(row.cases[case].worst)


def _ratio(value: float) -> str:
    return number(value) if math.isfinite(value) else "from nothing"


def pairs_table(study: LiningStudy) -> Table:
    """Each lining against the next, mW/cm2, with paired and separate errors."""
    note = (
        "Cautious case, at the worst face of the first. Linings of one kind are traced along the "
        "same paths, others with the same random numbers; the last column shows what two separate "
        "runs of the same length would leave open."
    )
    return table_of(
        study.pairs,
        {
            "first": lambda pair: pair.first,
            "second": lambda pair: pair.second,
            "verdict (95%)": lambda pair: (
                "first is better" if pair.told_apart else "cannot be told apart"
            ),
            "difference, mW/cm²": lambda pair: milliwatts(pair.difference),
            "its error, same paths": lambda pair: milliwatts(pair.error, 2),
            "error if run apart": lambda pair: milliwatts(pair.separate_error, 2),
        },
        words=3,
        note=note,
    )


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
