"""The study of hooks in tables, in common units."""

import math

from raysim.base.units import minutes_seconds
from raysim.output.words.hooks import (
    FATE_WORDS,
    is_now,
    layout_time,
    measured,
    place_words,
)
from raysim.output.words.numbers import (
    OVER_A_WEEK,
    irradiance_words,
    length,
    milliwatts,
    number,
    spot_words,
    unit_of,
)
from raysim.output.words.table import Table, table_of
from raysim.scene.sides import sides_of
from raysim.studies.hooks.contestant import Fate
from raysim.studies.hooks.result import HookStudy, Ranked
from raysim.workshop.fixings import nearest_wall
from raysim.workshop.grid import grid_of


def numbers_table(study: HookStudy) -> Table:
    """The best layout of each number of respirators: time, worst face (mW/cm2), per hour."""
    loading = minutes_seconds(study.loading) if study.loading else "not counted"
    note = (
        "Cautious case, the best layout found of each number; times from cold lamps (every cycle "
        'warms up anew), from the bound, or "about" without one. Loading and unloading: '
        f"{loading}. Set aside: looked worse, not shown to be worse. With 95 % confidence for each "
        "number, all at once: the bounds of what is shown hold, and the best layout tried is not "
        "among those shown to be worse."
    )
    return table_of(
        study.numbers,
        {
            "respirators": lambda one: str(one.number),
            "exposure time": lambda one: layout_time(one.best),
            "respirators per hour": lambda one: number(one.per_hour),
            "worst face, mW/cm² ± standard error": lambda one: _irradiance(one.best),
            "95% bound": lambda one: milliwatts(one.best.lower) if one.best.has_bound else "",
            "layouts tried": lambda one: str(one.tried),
            FATE_WORDS[Fate.WORSE]: lambda one: str(one.worse),
            FATE_WORDS[Fate.ASIDE]: lambda one: str(one.aside),
            OVER_A_WEEK: lambda one: str(one.dark),
        },
        note=note,
    )


def _irradiance(layout: Ranked) -> str:
    return irradiance_words(layout.estimate, layout.error)


def layouts_table(study: HookStudy) -> Table:
    """The layouts shown of the best number, the present one with them: hooks, time, worst face."""
    best = study.best.best
    note = (
        f"Hooks in {grid_of(_units(study)).name} {measured(study)}. Cautious case, traced with all "
        "respirators in place. Shown to be worse: its upper bound lies below the lower bound of "
        "layout 1."
    )
    named = [
        (f"layout {place}{' (as now)' if is_now(study, one) else ''}", one)
        for place, one in enumerate(study.best.layouts, 1)
    ]
    now = study.best.now
    if now is not None and now.in_the_way:
        named.append((f"as now: {now.in_the_way}", now))
    return table_of(
        named,
        {
            "": lambda entry: entry[0],
            "hooks": lambda entry: "; ".join(
                place_words(hang, _units(study)) for hang in entry[1].layout
            ),
            "worst face": lambda entry: _worst_words(entry[1]),
            "shown to be worse": lambda entry: _told(best, entry[1]),
            "exposure time": lambda entry: layout_time(entry[1]),
            "mW/cm² ± standard error": lambda entry: _irradiance(entry[1]),
            "from": lambda entry: milliwatts(entry[1].lower) if entry[1].has_bound else "",
            "to": lambda entry: _upper(entry[1]),
        },
        words=4,
        note=note,
    )


def _told(best: Ranked, other: Ranked) -> str:
    return "" if other is best else "yes" if best.beats(other) else "no"


def _upper(layout: Ranked) -> str:
    return milliwatts(layout.upper) if math.isfinite(layout.upper) else ""


def _worst_words(layout: Ranked) -> str:
    return spot_words(layout.worst) if layout.worst else "not looked for face by face"


def _units(study: HookStudy) -> str:
    return study.load.scene.triangles.units


def drill_table(study: HookStudy) -> Table:
    """Hook points of the best layout for the builder, on the inside of the box."""
    units = _units(study)
    unit = unit_of(units)
    inside = study.load.scene.written.chamber.inside
    heads = sides_of(study.load.scene.triangles).measured
    note = (
        "Measured on the inside, to the point where the respirator hangs. Turned: "
        f"anticlockwise from above, against how {study.load.model.name} hangs in the scene."
    )
    rows = []
    for k, hang in enumerate(study.best.best.layout, 1):
        told = [f"hook {k}"]
        if inside is not None:
            wall, off = nearest_wall(hang.at, inside)
            told.append(f"{wall}, {length(off, units)} off")
        rows.append((*told, *(length(value, units) for value in hang.at), f"{hang.turn:g}"))
    named = () if inside is None else ("nearest wall",)
    in_unit = (f"{head}, {unit}" for head in (*named, *heads))
    return Table(("", *in_unit, "turned, degrees"), tuple(rows), 1 + len(named), note)
