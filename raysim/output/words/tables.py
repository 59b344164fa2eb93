"""Tables of a result: cases, objects, energy."""

from collections.abc import Callable

import numpy as np

from raysim.base.cases import BRIGHT, CASES, CAUTIOUS, EXPECTED
from raysim.base.units import minutes_seconds, to_mJ_cm2
from raysim.dose.result import CaseResult, DoseSummary, Result
from raysim.output.words.numbers import milliwatts, number, spot_irradiance, spot_words
from raysim.output.words.sentences import CASE_WORDS, time_heading
from raysim.output.words.table import Table

MOST_ROWS = 40  # rows of the energy account
NOT_CLEAR = "not settled (few photons)"
FOR_WEAR = "not settled (this case is for wear)"


def cases_table(result: Result) -> Table:
    """The three cases side by side: lamp output, worst and best spot, exposure time."""
    cases = [result.cases[case] for case in CASES]

    def clear(words: Callable[[CaseResult], str]) -> list[str]:
        return [words(case) if is_clear(result, case) else NOT_CLEAR for case in cases]

    rows = [
        ("what it takes", *(CASE_WORDS[case] for case in CASES)),
        (
            time_heading(result, "exposure time from a cold start"),
            *(_time_words(result, case) for case in cases),
        ),
        ("lamp output, share of rating", *(number(case.lamp_factor) for case in cases)),
        ("worst spot", *clear(lambda case: spot_words(case.worst))),
        (
            "its irradiance ± standard error, mW/cm²",
            *clear(lambda case: spot_irradiance(case.worst)),
        ),
        (
            f"{result.confidence:.0%} lower bound on the worst spot, whichever it is, mW/cm²",
            *clear(lambda c: FOR_WEAR if c.name == BRIGHT else milliwatts(c.bound)),
        ),
        ("best-lit spot, mW/cm²", *(milliwatts(case.best.irradiance) for case in cases)),
    ]
    note = (
        "The cautious case alone sets the timer. The expected case is for information, the bright "
        "case for judging wear of the material at the best-lit spot."
    )
    return Table(("", *CASES), tuple(rows), 1 + len(CASES), note)


def is_clear(result: Result, case: CaseResult) -> bool:
    """Whether the counting error of a case is small enough to name its worst spot.

    More reflectance and more lamp output never give less light. So a case whose bound is below that
    of the cautious case was only counted too coarsely.
    """
    return case.bound >= result.cases[CAUTIOUS].bound


def _time_words(result: Result, case: CaseResult) -> str:
    if case.name == BRIGHT:  # its darkest spot is not settled by backward paths
        return FOR_WEAR
    sets = (
        case.name == CAUTIOUS and np.isfinite(result.timer) and result.timer == case.exposure_time
    )
    if not is_clear(result, case):
        return NOT_CLEAR
    return minutes_seconds(case.exposure_time) + (" (sets the timer)" if sets else "")


_SUMMARY: dict[str, Callable[[DoseSummary], float]] = {
    "worst face": lambda summary: summary.worst,
    "worst 1 cm²": lambda summary: summary.worst_1cm2,
    "1st percentile": lambda summary: summary.percentile_1,
    "5th percentile": lambda summary: summary.percentile_5,
    "mean": lambda summary: summary.mean,
    "best face": lambda summary: summary.best,
}


def objects_table(result: Result) -> Table:
    """Irradiance of each judged object, mW/cm2, cautious case, and the time it would need."""
    note = (
        "Irradiance in mW/cm² at full output of the cautious case, by area. Time needed: for this "
        "object alone, from the smallest lower bound of its spots; those that do not set the "
        "timer are known less well, so it is at most so long. The last row is for all of them, "
        "as calculated. Best "
        "face: where it was not traced closely, the mean over the best-lit 1 cm²."
    )
    headings = ("object", *_SUMMARY, time_heading(result, "time needed"))
    rows = [
        (
            summary.name,
            *(milliwatts(value(summary)) for value in _SUMMARY.values()),
            minutes_seconds(result.requirement.time(summary.bound)),
        )
        for summary in _summaries(result)
    ]
    return Table(headings, tuple(rows), 1, note)


def doses_table(result: Result) -> Table | None:
    """Dose of each judged object at the timer, mJ/cm2, cautious case; none without a timer."""
    if not np.isfinite(result.timer):
        return None
    seconds = result.seconds_of_light
    note = (
        f"Dose in mJ/cm² when the timer ({minutes_seconds(result.timer)}) has run down, cautious "
        f"case. Target {number(to_mJ_cm2(result.target_dose))} mJ/cm²."
    )
    rows = [
        (s.name, *(number(to_mJ_cm2(value(s) * seconds)) for value in _SUMMARY.values()))
        for s in _summaries(result)
    ]
    return Table(("object", *_SUMMARY), tuple(rows), 1, note)


def _summaries(result: Result) -> tuple[DoseSummary, ...]:
    case = result.cases[CAUTIOUS]
    return (*case.per_object, case.summary)


def energy_table(result: Result) -> Table:
    """Where the radiant power of the lamps ends up, W and %, cautious and expected case."""
    accounts = [result.cases[case].energy for case in (CAUTIOUS, EXPECTED)]
    names = sorted(accounts[0].absorbed, key=lambda name: -accounts[0].absorbed[name])
    shown, rest = names[:MOST_ROWS], names[MOST_ROWS:]
    lines = [(f"absorbed by {n}", [a.absorbed.get(n, 0.0) for a in accounts]) for n in shown]
    if rest:
        others = [sum(a.absorbed.get(n, 0.0) for n in rest) for a in accounts]
        lines.append((f"absorbed by {len(rest)} other things", others))
    lines.append(("escaped", [a.escaped for a in accounts]))
    lines.append(("lost by the calculation", [a.lost for a in accounts]))
    lines.append(("emitted by the lamps", [a.emitted for a in accounts]))
    rows = []
    for words, watts in lines:
        cells = [words]
        for value, account in zip(watts, accounts, strict=True):
            cells += [number(value), _percent(value / account.emitted)]
        rows.append(tuple(cells))
    headings = ("where", "cautious, W", "%", "expected, W", "%")
    return Table(headings, tuple(rows), 1, "Each case at its own lamp output.")


def _percent(share: float) -> str:
    return f"{100.0 * share:.1f}" if share >= 5e-4 or share == 0.0 else number(100.0 * share)


def reflectance_gain(result: Result) -> float | None:
    """Worst irradiance of the expected case over that of the cautious one, at equal lamp output.

    A ratio; None if one of the two is not known well enough.
    """
    cautious, expected = result.cases[CAUTIOUS], result.cases[EXPECTED]
    if not (cautious.bound > 0.0 and is_clear(result, expected)):
        return None
    low = cautious.worst.irradiance / cautious.lamp_factor
    return float(expected.worst.irradiance / expected.lamp_factor / low)
