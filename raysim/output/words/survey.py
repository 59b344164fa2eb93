"""Meter against calculation in words and as a table."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.base.units import to_mJ_cm2
from raysim.dose.agreement import mean_reflectances
from raysim.dose.readings import Comparison
from raysim.dose.readings_together import COVERAGE, lamps_not_told_of
from raysim.dose.result import Result
from raysim.dose.verdict_record import Why
from raysim.output.words.numbers import milliwatts, number, spot_words, unit_of, xyz
from raysim.output.words.readings import (
    agreement_words,
    disagreements,
    predicted_words,
    reading_lines,
)
from raysim.output.words.table import Row, Table, labelled, table_of
from raysim.output.words.verdict import headline, reason_lines, the_verdict
from raysim.scene.sides import Sides, sides_of
from raysim.scene.triangles import SIDES, LampRating, MeterPoint, SceneTriangles
from raysim.studies.survey import Survey
from raysim.studies.survey.fit import Fit
from raysim.studies.survey.places import BY_REFLECTION

DOUBT = (
    "Doubt: ± U is what lamps, linings, load and counting leave open; dirt and the temperature of "
    "the air come on top."
)
REFLECTED = "by reflection"
NEXT = "Run 'raysim dose' for the timer that follows."
UNCERTAINTY_WORDS = (
    "U covers the reflectances from their low to their high ends, the power of the lamps and the "
    "direction of their light, the shape and place of the load, and counting; dirt and air "
    "temperature are not in it, nor that lamps of one age differ."
)


def facing_words(facing: np.ndarray, sides: Sides) -> str:
    """Direction of a head in words: the nearest main direction, and degrees from it."""
    names = [way for ways in sides.ways for way in ways]
    axes = np.kron(np.eye(3), [[-1.0], [1.0]])
    cosines = axes @ (facing / np.linalg.norm(facing))
    order = np.argsort(-cosines)
    degrees = float(np.degrees(np.arccos(min(cosines[order[0]], 1.0))))
    if degrees < 1.0:
        return names[order[0]]
    return f"{names[order[0]]}, tilted {degrees:.0f} degrees {names[order[1]]}"


def point_words(point: MeterPoint) -> str:
    """Name of a point, with the kind of head if that is not cosine-corrected."""
    head = point.response
    return point.name if head.is_cosine else f"{point.name} (head: {head.name})"


def source_words(row: Comparison) -> str:
    """How much of the light at a point comes by reflection."""
    return f"{row.meter.reflected:.0%} of it by reflection"


def places_lines(rows: Sequence[Comparison], lamps: Sequence[LampRating]) -> list[str]:
    """What to do with proposed places, and what none of them can tell."""
    most = max(row.meter.reflected for row in rows)
    lines = [
        "Paste the lines below into the scene file: free places that together tell most of lamps "
        "and lining. Hold the middle of the head there, lamps warm, the box loaded and shut."
    ]
    if most < BY_REFLECTION:
        lines.append(
            f"Doubt: no free place is lit mainly by reflection ({most:.0%} at most); in this box a "
            "meter says little of the lining."
        )
    if unseen := lamps_not_told_of([row.meter for row in rows], lamps):
        names = " and ".join(f'"{name}"' for name in unseen)
        lines.append(
            f"Doubt: no free place tells of lamp {names}. Give a [[meter]] of your own that faces "
            "it from some 100 mm; hang back what you took out to get there before you read."
        )
    return lines


def strip_lines(result: Result) -> list[str]:
    """Where a dosimeter strip belongs, and what it should show; no dose without a timer."""
    worst = result.cases[CAUTIOUS].worst
    where = f"A dosimeter strip belongs on the spot that sets the time: {spot_words(worst)}."
    if not math.isfinite(result.timer):
        return [where]
    light = result.cases[EXPECTED].irradiance[worst.face, SIDES.index(worst.side)]
    low, high = (number(to_mJ_cm2(e * result.seconds_of_light)) for e in (result.bound, light))
    return [
        f"{where} In one cycle it should get {low} mJ/cm2 at least, and some {high} with new lamps "
        "and a lining as in the library; less than the first means that the timer is too short: do "
        "not use the box."
    ]


def head_lines(rows: Sequence[Comparison]) -> list[str]:
    """Source of the response of each kind of head that is not cosine-corrected."""
    heads = [row.meter.point.response for row in rows]
    kinds = dict.fromkeys(head for head in heads if not head.is_cosine)
    return [f"Head, {kind.name}: {kind.source}." for kind in kinds]


def survey_table(rows: Sequence[Comparison], triangles: SceneTriangles) -> Table:
    """One row per point: place, direction, prediction, reading, and whether they agree."""
    note = (
        "254 nm meter, cosine-corrected where nothing else is said; lamps warm, at their age when "
        f"the meter was read; box loaded and shut. {UNCERTAINTY_WORDS} E_n above 1 means that the "
        "difference exceeds both uncertainties together."
    )
    note += "".join(f" {line}" for line in head_lines(rows))
    units, sides = triangles.units, sides_of(triangles)
    return table_of(
        rows,
        {
            "point": lambda row: point_words(row.meter.point),
            f"middle of the head at x, y, z, {unit_of(units)}": lambda row: ", ".join(
                xyz(row.meter.point.at, units)
            ),
            "facing": lambda row: facing_words(row.meter.point.facing, sides),
            "verdict": agreement_words,
            "predicted ± U (k = 2), mW/cm²": predicted_words,
            REFLECTED: lambda row: f"{row.meter.reflected:.0%}",
            "reading, mW/cm²": lambda row: _read_words(row.meter.point.reading),
            "E_n": lambda row: _score_words(row.normalised),
        },
        words=4,
        note=note,
    )


def short_table(found: Survey) -> Table:
    """The same for a terminal: a tilt and a verdict in few letters, no reflection."""
    table = survey_table(found.rows, found.scene.triangles)
    shorter: dict[str, Callable[[str], str]] = {
        "facing": _few_letters,
        "verdict": lambda cell: cell.partition(",")[0],
    }
    kept = [k for k, heading in enumerate(table.headings) if heading != REFLECTED]
    cut = [tuple(shorter.get(table.headings[k], str)(row[k]) for k in kept) for row in table.rows]
    return replace(table, headings=tuple(table.headings[k] for k in kept), rows=tuple(cut))


def _few_letters(facing: str) -> str:
    """Short for "to the right, tilted 47 degrees to the rear": "right, 47° rear"."""
    return facing.replace("to the ", "").replace("tilted ", "").replace(" degrees", "°")


def answer(found: Survey, result: Result | None, proposed: bool = False) -> list[str]:
    """The one number of a survey, or the verdict that follows; what to do; the one doubt.

    `proposed` points are still to be entered in the scene file.
    """
    read = [row for row in found.rows if row.meter.point.reading is not None]
    if not read:
        first = found.rows[0]
        number_line = (
            f'At "{first.meter.point.name}" a meter should read {predicted_words(first)} mW/cm2 '
            "(k = 2)."
        )
        if proposed:
            to_do, *blind = places_lines(found.rows, found.scene.triangles.lamps)
            forbidden = result is not None and the_verdict(result).forbids
            first_line = headline(result) if result and forbidden else number_line
            return [first_line, to_do, *(blind or [DOUBT])]
        to_do = (
            "Hold the head as the table says, lamps warm, box loaded and shut, and give reading "
            "and read_on under [[meter]]; --sheet FILE writes a sheet to fill in."
        )
        return [number_line, to_do, DOUBT]
    agree = sum(row.agrees is True for row in read)
    told = f"{agree} of {len(read)} readings agree with the calculation."
    wrong = disagreements(read)
    next_lines = wrong[:1] or (reason_lines(result)[:1] if result else [NEXT])
    return [headline(result) if result else told, *next_lines, _fit_doubt(found) or DOUBT]


def _verdict_lines(result: Result, proposed: bool) -> list[str]:
    """The verdict and its reasons; `proposed` places stand in for that to which a reason sends."""
    reasons = zip(the_verdict(result).reasons, reason_lines(result), strict=True)
    asked = (line for why, line in reasons if not (proposed and why.code is Why.READING_MISSING))
    return [headline(result), *asked]


def _reflected(rows: Sequence[Comparison]) -> str:
    """How much of the light at each point comes by reflection; proposed ones tell it beside."""
    each = (f'{row.meter.reflected:.0%} at "{row.meter.point.name}"' for row in rows)
    return f"Of the calculated light, {', '.join(each)}."


def _fit_doubt(found: Survey) -> str:
    """That the readings leave something open, where they do."""
    if found.fit is None or not found.fit.together:
        return ""
    return "Doubt: these readings do not tell apart all lamps and the lining; see below."


def answer_rows(found: Survey, result: Result | None, proposed: bool = False) -> list[Row]:
    """What follows from the readings for timer, lamps and lining, under labels."""
    head = answer(found, result, proposed)
    lines = reading_lines(result) if result else disagreements(found.rows)
    reasons = _verdict_lines(result, proposed) if result else []
    fit: list[str] = []
    if found.fit is not None:
        triangles = found.scene.triangles
        names = [lamp.name for lamp in triangles.lamps]
        fit = fit_lines(found.fit, names, mean_reflectances(triangles))
    return [
        *labelled("verdict", [line for line in reasons if line not in head]),
        *labelled("readings", [line for line in lines if line not in head]),
        *labelled("by the readings", fit),
        *labelled("strip", strip_lines(result) if result else []),
        *labelled(REFLECTED, [] if proposed else [_reflected(found.rows)]),
        ("the figures", survey_table(found.rows, found.scene.triangles).note),
    ]


def _read_words(reading: float | None) -> str:
    return "" if reading is None else milliwatts(reading)


def _score_words(score: float | None) -> str:
    """E_n in two figures; without a number where no light was found or nothing was read."""
    if score is None:
        return ""
    return number(score, 2) if math.isfinite(score) else "far above 1"


def fit_lines(fit: Fit, lamps: Sequence[str], reflectances: np.ndarray) -> list[str]:
    """What the readings say about lamps and lining, and what they cannot show.

    Outputs are shares of the expected output of a lamp at its age.
    """
    names = [f"the output of {name}" for name in lamps] + ["the mean reflectance"]
    lines = []
    for k, name in enumerate(lamps):
        spread = COVERAGE * fit.output_error[k]
        value = f"{fit.output[k]:.0%} of what it should give, ± {spread:.0%} (k = 2)"
        doubt = "" if fit.decided[k] else "; the readings do not settle it"
        lines.append(f"Lamp {name}: {value}{doubt}.")
    low, _, high = reflectances
    mean = low + fit.place * (high - low)
    spread = COVERAGE * fit.place_error * (high - low)
    doubt = "" if fit.decided[-1] else "; the readings do not settle it"
    lines.append(f"Mean reflectance of everything: {mean:.2f} ± {spread:.2f} (k = 2){doubt}.")
    for i, j in fit.together:
        lines.append(
            f"These readings cannot tell {names[i]} from {names[j]}: take readings nearer to one "
            "lamp, and one that faces away from all lamps."
        )
    return lines
