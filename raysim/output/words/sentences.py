"""The result in plain sentences."""

import numpy as np

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.base.units import minutes_seconds, to_mJ_cm2
from raysim.dose.result import Result, Spot
from raysim.output.words.numbers import OVER_A_WEEK, milliwatts, number, spot_words
from raysim.output.words.table import Row, labelled

NO_TIMER = "no timer"  # in place of a dose at the timer
CASE_WORDS = {
    "cautious": "low end of every reflectance, aged, dirty and warm lamps",
    "expected": "library reflectances, new lamps",
    "bright": "high end of every reflectance, new lamps",
}


INFORMATION = "for information only: DO NOT USE"


def is_forbidden(result: Result) -> bool:
    """Whether the verdict forbids use: what is calculated is then no setting (definition)."""
    return result.verdict is not None and result.verdict.forbids


def informative(result: Result, words: str) -> str:
    """Words about a calculated time, marked where the verdict forbids use."""
    return f"Calculated, {INFORMATION}. {words}" if is_forbidden(result) else words


def time_heading(result: Result, words: str) -> str:
    """Heading of calculated times, marked where the verdict forbids use."""
    return f"{words} ({INFORMATION})" if is_forbidden(result) else words


def dose_asked(result: Result) -> str:
    """The dose asked for, mJ/cm2, with its safety factor."""
    target = number(to_mJ_cm2(result.target_dose))
    return f"{result.safety_factor:g} × {target} mJ/cm2"


SO_DARK = f"so dark that it would take {OVER_A_WEEK}, and how much more was not looked for"


MORE_LIGHT = (
    "turn or move the respirator, open its folds and spread its straps, keep it clear of its "
    "neighbours and of the walls, or add a lamp on that side; then run again."
)


def detail_rows(result: Result) -> list[Row]:
    """Where the timer setting comes from, and what it does not include, under labels."""
    area = result.written.target.judge_area if result.written else None
    judged = []
    if area is not None:
        judged.append(
            f"Judged are patches of {number(1e4 * area)} cm2, as the scene asks: every figure of a "
            "spot, on the map and in the tables, is the mean of such a patch about it, and a face "
            "within it may get less."
        )
    finite = np.isfinite(result.calculated)
    rows = _timer_rows(result) if finite else _no_timer_rows(result)
    return [*rows, *labelled("judged", judged)]


def reservations(result: Result) -> list[str]:
    """What the figures leave out by the user's own wish; on the card too."""
    if not result.without:
        return []
    names = " and ".join(f'"{name}"' for name in result.without)
    words = "is" if len(result.without) == 1 else "are"
    return [f"Lamp {names} {words} taken as out; every figure holds for the lamps left."]


def _timer_rows(result: Result) -> list[Row]:
    cautious, expected = result.cases[CAUTIOUS], result.cases[EXPECTED]
    worst = cautious.worst
    gets = f"{milliwatts(worst.irradiance)} mW/cm2 at full output in the cautious case"
    if np.isfinite(result.timer):
        dose = number(to_mJ_cm2(worst.irradiance * result.seconds_of_light))
        gets += f", and {dose} mJ/cm2 by the end of the timer; asked for are {dose_asked(result)}"
    ratio = number(cautious.best.irradiance / worst.irradiance)
    return [
        ("worst-lit spot", f"{spot_words(worst)}."),
        ("", f"{gets}. The best-lit spot gets {ratio} times as much."),
        *(("", line) for line in _darker_lines(result)),
        (
            "expected case",
            f"{minutes_seconds(expected.exposure_time)} ({CASE_WORDS[EXPECTED]}). Do not set the "
            "timer by this.",
        ),
        *labelled("confidence", _confidence_lines(result)),
    ]


def _darker_lines(result: Result) -> list[str]:
    """That other spots may be darker than the one named: the map and faces.csv show them so."""
    case = result.cases[CAUTIOUS]
    judged = case.irradiance[result.triangles.judged]
    darker = judged[judged < case.worst.irradiance]
    if not len(darker):
        return []
    return [
        f"Of the judged face-sides {len(darker):,} show less than the spot named here, down to "
        f"{milliwatts(darker.min())} mW/cm2, and are not known well: it is the darkest of those "
        "that are, and one of the others may be darker. The time is calculated from the smallest "
        "lower bound of all."
    ]


def _confidence_lines(result: Result) -> list[str]:
    if not np.isfinite(result.timer):
        return []
    return [
        f"With {result.confidence:.0%} confidence no judged spot of the cautious case gets less "
        "than asked, as far as counting goes; lamps, linings and shapes can be off by more."
    ]


def _no_timer_rows(result: Result) -> list[Row]:
    expected = result.cases[EXPECTED].exposure_time
    lines = [_dark_words(result), *_mend_lines(result)]
    rows = labelled("dark spot", lines)
    if np.isfinite(expected):
        told = f"{minutes_seconds(expected)} ({CASE_WORDS[EXPECTED]}), which must not set a timer."
        rows.append(("expected case", told))
    return rows


def _mend_lines(result: Result) -> list[str]:
    """What would give a time: more counting if too little was counted, else more light."""
    if result.interrupted:
        return [
            f"Go on with the run first (--resume). Only if that ends without a time: {MORE_LIGHT}"
        ]
    if result.precision_asked is None:
        return [
            "Nothing need be wrong with how it hangs: this run followed photons from the lamps "
            f"only ({result.photons:,}), few of which reach the darkest spots. Run again without "
            "--photons: light is then traced back from those spots as well. Only if that gives no "
            f"time either: {MORE_LIGHT}"
        ]
    if result.cases[CAUTIOUS].worst.irradiance > 0.0 and not _is_too_dark(result):
        return [
            "Some light does reach it, but too little for this run to count well. More photons "
            f"(it had {result.photons:,}; give --photons and --precision) can give a time, but "
            f"hardly one below {_time_at_most_light(result)}. To bring more light there: "
            f"{MORE_LIGHT}"
        ]
    return [f"To bring light there: {MORE_LIGHT}"]


def _most_light(result: Result) -> float:
    """Upper end (W/m2) of the worst spot's irradiance: plus two standard errors."""
    worst = result.cases[CAUTIOUS].worst
    return worst.irradiance + 2.0 * worst.standard_error


def _time_at_most_light(result: Result) -> str:
    return minutes_seconds(result.requirement.time(_most_light(result)))


def _is_too_dark(result: Result) -> bool:
    return _most_light(result) < result.requirement.week_irradiance


def too_dark_words(worst: Spot) -> str:
    """The spot of the cautious case that is too dark to wait for, and its irradiance, mW/cm2."""
    return f"{_little_light(worst)} that it would take {OVER_A_WEEK}."


def _little_light(worst: Spot) -> str:
    where = f"{spot_words(worst)} in the cautious case"
    return f"So little light ({milliwatts(worst.irradiance)} mW/cm2) was found at {where}"


def _dark_words(result: Result) -> str:
    """The spot without a finite time, and its irradiance."""
    worst = result.cases[CAUTIOUS].worst
    if not worst.irradiance > 0.0:
        return f"No light was found at {spot_words(worst)} in the cautious case."
    if _is_too_dark(result):
        return too_dark_words(worst)
    return f"{_little_light(worst)} that with {result.confidence:.0%} confidence it could be none."
