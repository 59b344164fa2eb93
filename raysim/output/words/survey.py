"""Meter against calculation in words and as a table."""

import math
from collections.abc import Sequence

import numpy as np

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.base.units import to_mJ_cm2
from raysim.dose.agreement import COVERAGE
from raysim.dose.readings import Comparison
from raysim.dose.result import Result
from raysim.output.words.numbers import milliwatts, number, spot_words, xyz
from raysim.output.words.readings import agreement_words, predicted_words
from raysim.output.words.table import Table, table_of
from raysim.scene.triangles import SIDES, MeterPoint
from raysim.studies.survey.fit import Fit
from raysim.studies.survey.places import BY_REFLECTION

UNCERTAINTY_WORDS = (
    "U covers the reflectances from their low to their high ends, the power of the lamps and the "
    "direction of their light, the shape and place of the load, and counting; dirt and air "
    "temperature are not in it, nor that lamps of one age differ."
)


def facing_words(facing: np.ndarray) -> str:
    """Direction of a head in words: the nearest main direction, and degrees from it."""
    names = ("to the right", "to the left", "to the rear", "to the door", "up", "down")
    axes = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]])
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


def places_lines(rows: Sequence[Comparison]) -> list[str]:
    """What proposed places are for, and what none of them can tell."""
    most = max(row.meter.reflected for row in rows)
    lines = [
        "Free places that together tell most of lamps and lining; paste the lines below into the "
        "scene file. Hold the middle of the head there, the box loaded and shut."
    ]
    if most < BY_REFLECTION:
        lines.append(
            f"No free place is lit mainly by reflection ({most:.0%} at most): in this box a meter "
            "says little of the lining."
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


def survey_table(rows: Sequence[Comparison]) -> Table:
    """One row per point: place, direction, prediction, reading, and whether they agree."""
    note = (
        "254 nm meter, cosine-corrected where nothing else is said; lamps warm, at their age when "
        f"the meter was read; box loaded and shut. {UNCERTAINTY_WORDS} E_n above 1 means that the "
        "difference exceeds both uncertainties together."
    )
    note += "".join(f" {line}" for line in head_lines(rows))
    return table_of(
        rows,
        {
            "point": lambda row: point_words(row.meter.point),
            "middle of the head at x, y, z, mm": lambda row: ", ".join(xyz(row.meter.point.at)),
            "facing": lambda row: facing_words(row.meter.point.facing),
            "verdict": agreement_words,
            "predicted ± U (k = 2), mW/cm²": predicted_words,
            "where it comes from": source_words,
            "reading, mW/cm²": lambda row: _read_words(row.meter.point.reading),
            "E_n": lambda row: _score_words(row.normalised),
        },
        words=4,
        note=note,
    )


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
