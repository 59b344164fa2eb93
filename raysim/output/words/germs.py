"""Log reductions in words and as a table, with their limits."""

from typing import Any

import numpy as np

from raysim.assess.log_reduction import LoadReduction, load_reductions
from raysim.base.units import J_M2_PER_J_CM2, J_M2_PER_MJ_CM2
from raysim.dose.result import Result
from raysim.output.words.tables import Table

MOST_SHOWN = 6.0  # logs: more cannot be tested on a load
NOT_SAID = (
    "Laboratory figures that scatter by factors, on clean material, for germs on the lit surface; "
    "nothing is said about soil, about the depth of the filter, or about any one respirator."
)


def logs(value: float) -> str:
    """A log reduction to one place, rounded down; "over 6" if it cannot be tested."""
    if value > MOST_SHOWN:
        return f"over {MOST_SHOWN:g}"
    return f"{np.floor(value * 10.0 + 1e-9) / 10.0:.1f}"


def germ_lines(result: Result) -> list[str]:
    """Effect of the timer on the first organism, one or two sentences."""
    found = load_reductions(result)
    if not found:
        return []
    first = found[0]
    name = f"{first.organism.name} on {first.organism.carrier}"
    lines = [
        f"Against {name} the timer is worth {logs(first.least)} logs on the surfaces of the whole "
        "load, at the hardy end of the range in print (survivors averaged over the area). If one "
        f"square centimetre stayed dark it would be {logs(first.with_dark_cm2)}. {NOT_SAID}"
    ]
    if first.asked is not None and first.least < first.asked:
        lines.append(
            f"That is less than the {first.asked:g} logs asked for. Single faces are counted "
            "coarsely in a short run, which costs logs; run with more photons."
        )
    return lines


def germs_table(result: Result) -> Table | None:
    """Log reduction of the load by organism at the timer; none without a timer."""
    found = load_reductions(result)
    if not found:
        return None
    headings = (
        "organism, carrier",
        "source (mark)",
        "dose per log, J/cm²",
        "least",
        "expected",
        "most",
        "least, with 1 cm² dark",
    )
    note = (
        "Log reduction on the judged surfaces when the timer has run down, cautious case: "
        "survivors are averaged over the area, then the logarithm is taken, so a small dark spot "
        "weighs heavily. " + NOT_SAID
    )
    return Table(headings, tuple(_row(entry) for entry in found), 2, note)


def _row(entry: LoadReduction) -> tuple[str, ...]:
    o = entry.organism
    tail = f"; a share of {o.tail:.1g} resists" if o.tail else ""
    return (
        f"{o.name}, {o.carrier}",
        f"{o.source} ({o.mark})",
        f"{o.d90_low / J_M2_PER_J_CM2:.3g} to {o.d90_high / J_M2_PER_J_CM2:.3g}{tail}",
        logs(entry.least),
        logs(entry.expected),
        logs(entry.most),
        logs(entry.with_dark_cm2),
    )


def germ_records(result: Result) -> list[dict[str, Any]]:
    """Log reductions for result.json."""
    return [
        {
            "organism": entry.organism.name,
            "carrier": entry.organism.carrier,
            "D90_mJ_cm2": {
                "low": entry.organism.d90_low / J_M2_PER_MJ_CM2,
                "expected": entry.organism.d90 / J_M2_PER_MJ_CM2,
                "high": entry.organism.d90_high / J_M2_PER_MJ_CM2,
            },
            "source": entry.organism.source,
            "mark": entry.organism.mark,
            "asked": entry.asked,
            "least": _finite(entry.least),
            "expected": _finite(entry.expected),
            "most": _finite(entry.most),
            "least_with_1cm2_dark": _finite(entry.with_dark_cm2),
        }
        for entry in load_reductions(result)
    ]


def _finite(value: float) -> float | None:
    """Null where the survival is zero in floating-point arithmetic."""
    return value if np.isfinite(value) else None
