"""Meter against calculation in words, as a table, as plain data, and as a sheet to fill in."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from raysim.fit import Fit
from raysim.output.cautions import CAUTIONS
from raysim.output.report_tables import Table
from raysim.output.sentences import number
from raysim.response import COSINE
from raysim.survey import COVERAGE, Comparison
from raysim.units import minutes_seconds, to_mm, to_mW_cm2
from raysim.version import __version__

UNCERTAINTY_WORDS = (
    "U covers the reflectances from their low to their high ends, the power of the lamps and the "
    "direction of their light, the shape and place of the load, and counting; ageing, dirt and air "
    "temperature are not in it."
)
LOW = (
    "look for a dirty, aged or cold lamp, a lining duller than believed, something in the way, and "
    "a meter that is not made for 254 nm or overdue for calibration"
)
HIGH = (
    "look for the wrong range or unit on the meter, a head nearer to a lamp than drawn, and a "
    "lining better than believed; do not shorten the time by it"
)


def agreement_words(row: Comparison) -> str:
    """Whether meter and calculation agree at one point, and what to look for if not."""
    if row.normalised is None or row.meter.reading is None:
        return "no reading yet"
    if row.normalised <= 1.0:
        return "agrees"
    less = row.meter.reading < row.predicted
    which = "less" if less else "more"
    return f"does not agree, {which} light than calculated: {LOW if less else HIGH}"


def facing_words(facing: np.ndarray) -> str:
    """Which way a head faces, in words: the main direction, and degrees from it."""
    names = ("to the right", "to the left", "to the rear", "to the door", "up", "down")
    axes = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]])
    cosines = axes @ (facing / np.linalg.norm(facing))
    order = np.argsort(-cosines)
    degrees = float(np.degrees(np.arccos(min(cosines[order[0]], 1.0))))
    if degrees < 1.0:
        return names[order[0]]
    return f"{names[order[0]]}, tilted {degrees:.0f} degrees {names[order[1]]}"


def point_words(name: str, response: str) -> str:
    """Name of a point, with the kind of head where that is not cosine-corrected."""
    return name if response == COSINE else f"{name} (head: {response})"


def head_lines(rows: Sequence[Comparison]) -> list[str]:
    """Where the response of each kind of head that is not cosine-corrected comes from."""
    kinds = dict.fromkeys(row.meter.response for row in rows if not row.meter.response.is_cosine)
    return [f"Head, {kind.name}: {kind.source}." for kind in kinds]


def survey_table(rows: Sequence[Comparison]) -> Table:
    """One row a point: where, which way, predicted and read, and whether they agree."""
    cells = []
    for row in rows:
        x, y, z = (f"{value:.0f}" for value in to_mm(row.meter.at))
        reading = "" if row.meter.reading is None else number(to_mW_cm2(row.meter.reading))
        spread = COVERAGE * row.predicted_error * row.predicted
        predicted = f"{number(to_mW_cm2(row.predicted))} ± {number(to_mW_cm2(spread), 2)}"
        score = "" if row.normalised is None else number(row.normalised, 2)
        words = (agreement_words(row), predicted, reading, score)
        facing = facing_words(row.meter.facing)
        name = point_words(row.meter.name, row.meter.response.name)
        cells.append((name, f"{x}, {y}, {z}", facing, *words))
    headings = (
        "point",
        "middle of the head at x, y, z, mm",
        "facing",
        "verdict",
        "predicted ± U (k = 2), mW/cm²",
        "reading, mW/cm²",
        "E_n",
    )
    note = (
        "254 nm meter, cosine-corrected where nothing else is said; lamps warm and new, box loaded "
        f"and shut. {UNCERTAINTY_WORDS} E_n above 1 means that the difference exceeds both "
        "uncertainties together."
    )
    note += "".join(f" {line}" for line in head_lines(rows))
    return Table(headings, tuple(cells), 4, note)


def fit_lines(fit: Fit, lamps: Sequence[str], reflectances: np.ndarray) -> list[str]:
    """What the readings say of lamps and lining, and what they cannot tell."""
    names = [f"the output of {name}" for name in lamps] + ["the mean reflectance"]
    lines = []
    for k, name in enumerate(lamps):
        value = f"{fit.output[k]:.0%} of its rating, ± {COVERAGE * fit.output_error[k]:.0%} (k = 2)"
        doubt = "" if fit.settled[k] else "; the readings do not settle it"
        lines.append(f"Lamp {name}: {value}{doubt}.")
    low, _, high = reflectances
    mean = low + fit.place * (high - low)
    spread = COVERAGE * fit.place_error * (high - low)
    doubt = "" if fit.settled[-1] else "; the readings do not settle it"
    lines.append(f"Mean reflectance of everything: {mean:.2f} ± {spread:.2f} (k = 2){doubt}.")
    for i, j in fit.together:
        lines.append(
            f"These readings cannot tell {names[i]} from {names[j]}: take readings nearer to one "
            "lamp, and one that faces away from all lamps."
        )
    return lines


def unlit_line(rows: Sequence[Comparison]) -> str | None:
    """What readings of zero mean, which no fit of lamps and lining can make sense of."""
    unlit = [row.meter.name for row in rows if row.meter.reading == 0.0]
    if not unlit:
        return None
    return (
        f"No light was read at {' or at '.join(unlit)}, so no time holds, whatever stands above or "
        "below: find out whether a lamp is out, the head covered or the range wrong, and read "
        "again. Such a reading is left out of any fit."
    )


def time_line(timer: float, corrected: float) -> str:
    """The exposure time by the readings, beside the timer setting."""
    if not np.isfinite(corrected):
        return "By the readings no finite time can be vouched for."
    words = (
        f"By the readings, one standard error on the safe side, the worst spot would take "
        f"{minutes_seconds(corrected)}; the timer setting without them is {minutes_seconds(timer)}."
    )
    if corrected > timer:
        return f"{words} Set the longer time, and find out why."
    return f"{words} Keep the longer one until every point agrees and somebody has signed for it."


def survey_record(
    title: str,
    seed: int,
    rows: Sequence[Comparison],
    fit: Fit | None,
    lamps: Sequence[str],
    times: tuple[float, float] | None,
) -> dict[str, Any]:
    """Everything `raysim meter --json` prints; times (timer, corrected) in s."""
    points = [
        {
            "name": row.meter.name,
            "response": row.meter.response.name,
            "at_mm": [round(float(x), 3) for x in to_mm(row.meter.at)],
            "facing": [float(x) for x in row.meter.facing],
            "predicted_mW_cm2": float(to_mW_cm2(row.predicted)),
            "expanded_uncertainty_mW_cm2": float(
                to_mW_cm2(COVERAGE * row.predicted_error * row.predicted)
            ),
            "reading_mW_cm2": None
            if row.meter.reading is None
            else float(to_mW_cm2(row.meter.reading)),
            "E_n": row.normalised,
            "verdict": agreement_words(row),
        }
        for row in rows
    ]
    record: dict[str, Any] = {
        "raysim_version": __version__,
        "scene": title,
        "seed": seed,
        "coverage_factor_k": COVERAGE,
        "points": points,
    }
    if fit is not None:
        record["fit"] = {
            "lamps": [
                {"name": n, "output": float(o), "relative_error": float(e), "settled": bool(s)}
                for n, o, e, s in zip(
                    lamps, fit.output, fit.output_error, fit.settled[:-1], strict=True
                )
            ],
            "reflectance_place": fit.place,
            "reflectance_settled": bool(fit.settled[-1]),
            "cannot_be_told_apart": [list(pair) for pair in fit.together],
        }
    if times is not None:
        finite = [t if np.isfinite(t) else None for t in times]
        record["timer_s"], record["time_by_readings_s"] = finite
    record["cautions"] = list(CAUTIONS)
    return record
