"""Log reductions in words and as a table, with their limits."""

from typing import Any

import numpy as np

from raysim.assess.log_reduction import load_reductions
from raysim.base.units import J_M2_PER_J_CM2, J_M2_PER_MJ_CM2
from raysim.dose.result import Result
from raysim.library.organisms import Organism
from raysim.output.words.table import Table, table_of

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
    note = (
        "Log reduction on the judged surfaces when the timer has run down, cautious case: "
        "survivors are averaged over the area, then the logarithm is taken, so a small dark spot "
        "weighs heavily. " + NOT_SAID
    )
    return table_of(
        found,
        {
            "organism, carrier": lambda entry: f"{entry.organism.name}, {entry.organism.carrier}",
            "source (mark)": lambda entry: f"{entry.organism.source} ({entry.organism.mark})",
            "dose per log, J/cm²": lambda entry: _dose_per_log(entry.organism),
            "least": lambda entry: logs(entry.least),
            "expected": lambda entry: logs(entry.expected),
            "most": lambda entry: logs(entry.most),
            "least, with 1 cm² dark": lambda entry: logs(entry.with_dark_cm2),
        },
        words=2,
        note=note,
    )


def _dose_per_log(organism: Organism) -> str:
    low, high = organism.d90_low / J_M2_PER_J_CM2, organism.d90_high / J_M2_PER_J_CM2
    tail = f"; a share of {organism.tail:.1g} resists" if organism.tail else ""
    return f"{low:.3g} to {high:.3g}{tail}"


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
