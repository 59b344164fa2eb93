"""Tables of the study of linings, in common units."""

import math
from collections.abc import Sequence

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.base.units import to_mW_cm2
from raysim.library.surfaces import Surface
from raysim.output.words.failures import NOT_SETTLED
from raysim.output.words.linings import minutes_per_money, neighbours, time_words
from raysim.output.words.numbers import FAINT, milliwatts, number, spot_irradiance
from raysim.output.words.table import Table, table_of
from raysim.studies.linings.bench import TOO_SLOW, LiningRow
from raysim.studies.linings.compare import LiningPair
from raysim.studies.linings.run import LiningStudy

FROM_NOTHING = "from nothing"


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
            "worst face, mW/cm² ± standard error": lambda row: _worst_face(row, CAUTIOUS),
            "at least": lambda row: milliwatts(row.cases[CAUTIOUS].worst.lower_bound),
            "at most": lambda row: milliwatts(row.most) if math.isfinite(row.most) else "",
            "gain over black": lambda row: _gain(study, row, CAUTIOUS),
            "best / worst": _evenness,
            "time, expected": lambda row: time_words(row.cases[EXPECTED]),
            "worst face, expected": lambda row: _worst_face(row, EXPECTED),
            "gain, expected": lambda row: _gain(study, row, EXPECTED),
            "cost": lambda row: _number(row.cost),
            "minutes saved per unit of money": lambda row: _number(minutes_per_money(study, row)),
        },
        note=note,
    )


def _number(value: float | None) -> str:
    return "" if value is None else number(value)


def _worst_face(row: LiningRow, case: str) -> str:
    """Its light, unless nothing can be vouched for: others may be as dark as can be."""
    return _irradiance(row, case) if _is_known(row, case) else NOT_SETTLED


def _evenness(row: LiningRow) -> str:
    return _ratio(row.cases[CAUTIOUS].evenness) if _is_known(row, CAUTIOUS) else NOT_SETTLED


def _is_known(row: LiningRow, case: str) -> bool:
    return row.cases[case].worst.lower_bound > 0.0


def _irradiance(row: LiningRow, case: str) -> str:
    return spot_irradiance(row.cases[case].worst)


def _gain(study: LiningStudy, row: LiningRow, case: str) -> str:
    """What a lining gains; where the black box gets next to no light, all of it is."""
    black = study.black.cases[case]
    if row is not study.black and to_mW_cm2(black.worst.irradiance) < FAINT:
        return FROM_NOTHING
    known = black.settled and row.cases[case].settled
    return _ratio(row.gain[case]) if known or row is study.black else NOT_SETTLED


def _ratio(value: float) -> str:
    return number(value) if math.isfinite(value) else FROM_NOTHING


def pairs_table(study: LiningStudy) -> Table:
    """Each lining against the next, mW/cm2: what the verdict rests on."""
    note = (
        "Cautious case, worst face. The first is better where it gives at least more than the "
        "second gives at most; or where it gives more along the same paths, traced again, at every "
        "face that could be its worst."
    )
    return table_of(
        neighbours(study),
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
            "darkest cell, mW/cm² ± standard error": lambda row: _worst_face(row, CAUTIOUS),
            "gain over black": lambda row: (
                _ratio(row.gain[CAUTIOUS]) if _is_known(row, CAUTIOUS) else NOT_SETTLED
            ),
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
