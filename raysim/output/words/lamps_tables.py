"""The study of lamps in tables, in common units."""

import math

from raysim.base.units import minutes_seconds
from raysim.output.words.lamps import measured
from raysim.output.words.numbers import (
    OVER_A_WEEK,
    length,
    milliwatts,
    number,
    spot_irradiance,
    spot_words,
    unit_of,
)
from raysim.output.words.table import Table, table_of
from raysim.studies.lamps.result import LampCount, LampStudy
from raysim.studies.lamps.trace import TracedLamps
from raysim.workshop.grid import grid_of

Entry = LampCount | TracedLamps


def numbers_table(study: LampStudy) -> Table:
    """The best choice of each number of lamps: time, cost, proof, spread, failure."""
    note = (
        "Cautious case, tubes in the way; times from cold lamps, from the bound. Could be better: "
        "no choice of as many among these places, tubes neither blocking nor reflecting, can give "
        "the darkest spot more light than that share above the bound (95 % confidence for each "
        "number, all bounds at once); of that its own tubes: about what they take from the darkest "
        "spot, part of the share. Best over worst: light of the best-lit 1 % over that of the "
        "darkest spot; what wears most wears so much faster. With a lamp out: light left at the "
        "darkest spot, estimates; a cycle with a lamp out does not count."
    )
    entries: list[Entry] = [*study.numbers, *([study.now] if study.now else [])]
    return table_of(
        entries,
        {
            "lamps": _which,
            "exposure time": lambda one: time_words(_traced(one)),
            "minutes a respirator": lambda one: _each(study, _traced(one)),
            "cost of lamps": lambda one: _cost(study, one),
            "worst face, mW/cm² ± standard error": lambda one: spot_irradiance(_traced(one).worst),
            "95% bound": lambda one: milliwatts(_traced(one).worst.lower_bound),
            "could be better by": _gain,
            "of that its own tubes": _taken,
            "best over worst": lambda one: _spread(_traced(one)),
            "with a lamp out": lambda one: _left(_traced(one)),
        },
        note=note + _price_note(study),
    )


def _traced(one: Entry) -> TracedLamps:
    return one.best if isinstance(one, LampCount) else one


def _which(one: Entry) -> str:
    if isinstance(one, LampCount):
        return str(one.number)
    return f"{len(one.scene.written.lamp)}, as now"


def time_words(one: TracedLamps) -> str:
    """The exposure time of a choice."""
    return minutes_seconds(one.time) if math.isfinite(one.time) else OVER_A_WEEK


def _each(study: LampStudy, one: TracedLamps) -> str:
    return number(one.time / 60.0 / study.respirators) if math.isfinite(one.time) else ""


def _cost(study: LampStudy, one: Entry) -> str:
    if not isinstance(one, LampCount) or one.cost is None:
        return ""
    blank = f" + {one.unpriced} without a price" if one.unpriced else ""
    return f"{one.cost:,.2f} {study.currency}{blank}"


def _price_note(study: LampStudy) -> str:
    if all(one.cost is None for one in study.numbers):
        return " No prices: give --prices FILE, as for 'raysim guide'."
    return " Cost: lamps with holders and ballasts; what has no price is counted, not guessed."


def _gain(one: Entry) -> str:
    if not isinstance(one, LampCount) or not math.isfinite(one.could_gain):
        return ""
    return f"{number(max(100.0 * one.could_gain, 0.1), 2)} %"


def _taken(one: Entry) -> str:
    if not isinstance(one, LampCount) or not math.isfinite(one.taken):
        return ""
    return f"about {100.0 * one.taken:.0f} %"


def _spread(one: TracedLamps) -> str:
    return number(one.spread, 2) if math.isfinite(one.spread) else ""


def _left(one: TracedLamps) -> str:
    low, high = (round(100.0 * share) for share in (min(one.left), max(one.left)))
    return f"{low} %" if low == high else f"{low} to {high} %"


def drill_table(study: LampStudy) -> Table:
    """Where the lamps of the best choice go, and what each leaves when it fails."""
    best, units = study.best, study.scene.triangles.units
    rows = list(zip(best.choices[0], best.best.left, strict=True))
    return table_of(
        enumerate(rows, 1),
        {
            "": lambda row: f"lamp {row[0]}",
            "which": lambda row: study.places[row[1][0]].kind.name,
            f"arc from, {unit_of(units)}": lambda row: _at(study.places[row[1][0]].start, units),
            f"to, {unit_of(units)}": lambda row: _at(study.places[row[1][0]].end, units),
            "light left at the darkest spot without it": lambda row: f"{100.0 * row[1][1]:.0f} %",
        },
        words=4,
        note=f"Ends of the glowing arc in {grid_of(units).name} {measured(study)}; caps and "
        "sockets go beyond.",
    )


def _at(point: tuple[float, float, float], units: str) -> str:
    return " / ".join(length(value, units) for value in point)


def choices_table(study: LampStudy) -> Table:
    """The choices traced of the number that the answer tells of."""
    best, units = study.best, study.scene.triangles.units
    return table_of(
        list(enumerate(zip(best.choices, best.traced, strict=True), 1)),
        {
            "": lambda row: f"choice {row[0]}",
            "lamps": lambda row: "; ".join(
                f"{_at(study.places[k].start, units)} to {_at(study.places[k].end, units)}"
                for k in row[1][0]
            ),
            "worst face": lambda row: spot_words(row[1][1].worst),
            "exposure time": lambda row: time_words(row[1][1]),
            "mW/cm² ± standard error": lambda row: spot_irradiance(row[1][1].worst),
            "95% bound": lambda row: milliwatts(row[1][1].worst.lower_bound),
        },
        words=3,
        note=f"In {grid_of(units).name} {measured(study)}. Cautious case, traced with all tubes in "
        "the way.",
    )
