"""The uncertainty budget as a table, in words and as plain data."""

from typing import Any

from raysim.base.units import to_mW_cm2
from raysim.dose.result import Budget, Result
from raysim.output.words.numbers import milliwatts, number, spot_words
from raysim.output.words.table import Table

MOST_ROWS = 12


def budget_table(result: Result) -> Table | None:
    """Contributions, the largest first; none where the run made no budget."""
    budget = result.budget
    if budget is None:
        return None
    shown, rest = budget.contributions[:MOST_ROWS], budget.contributions[MOST_ROWS:]
    rows = [
        (
            row.what,
            row.source,
            number(row.sensitivity, 2) + (f" ± {number(row.error, 1)}" if row.error else ""),
            number(row.input, 2),
            _percent(row.relative),
        )
        for row in shown
    ]
    if rest:
        small = sum(row.relative**2 for row in rest) ** 0.5
        rows.append((f"{len(rest)} smaller ones together", "", "", "", _percent(small)))
    rows.append(("expanded, k = 2", "", "", "", _percent(budget.expanded)))
    note = (
        f"Of the irradiance at {spot_words(budget.spot)}, expected case, "
        f"{milliwatts(budget.irradiance)} mW/cm². Sensitivity: relative change per unit of "
        "the input, ± its standard error from counting (reflectances: by the weights of the same "
        "paths; places and refractive indices: by pairs of runs on the same random numbers); "
        "rectangular ranges over the root of 3. The range of one surface is taken as "
        "independent of the others. The timer does not rest on this budget but on the cautious "
        "case, which takes every low end at once."
    )
    if result.poses:
        note += (
            " Of several poses the irradiance is that of the whole cycle, and what is changed is "
            "changed alike in each of them."
        )
    headings = ("input", "source", "sensitivity", "standard uncertainty", "contribution, %")
    return Table(headings, tuple(rows), 2, note)


def budget_lines(budget: Budget | None) -> list[str]:
    """What the one doubt hangs on most, beyond the part that `doubt_line` names."""
    if budget is None or len(budget.contributions) < 2:
        return []
    parts = (f"{row.what} ({_percent(row.relative)} %)" for row in budget.contributions[:3])
    return [f"The light at the worst-lit spot hangs most on {', '.join(parts)} (each k = 1)."]


def doubt_line(result: Result) -> str:
    """The one doubt: how far off the light of the worst-lit spot may be, and by what most."""
    budget, readings = result.budget, result.readings
    tells = "only a calibrated 254 nm meter tells"
    if readings is not None:
        tells = "the meter readings do not agree with the calculation"
        if readings.agree:
            tells = "the meter readings agree, but were taken elsewhere in the box"
    if budget is None:
        return f"Doubt: how far lamps, linings and shapes are off was not worked out; {tells}."
    most = budget.contributions[0]
    return (
        f"Doubt: the light at the worst-lit spot is known to ± {budget.expanded:.0%} (k = 2), "
        f"and {most.what} is the largest part of that; {tells}."
    )


def budget_record(budget: Budget | None) -> dict[str, Any] | None:
    """The budget for result.json; null if there is none."""
    if budget is None:
        return None
    return {
        "irradiance_mW_cm2": float(to_mW_cm2(budget.irradiance)),
        "expanded_relative": budget.expanded,
        "contributions": [
            {
                "what": row.what,
                "sensitivity": row.sensitivity,
                "sensitivity_error": row.error,
                "standard_uncertainty": row.input,
                "relative": row.relative,
                "source": row.source,
            }
            for row in budget.contributions
        ],
    }


def _percent(share: float) -> str:
    return number(100.0 * share, 2)
