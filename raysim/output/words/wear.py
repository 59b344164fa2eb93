"""How often a respirator may be treated: the limits as a table, in words, and as plain data."""

from dataclasses import asdict
from typing import Any

from raysim.assess.reuse import PartWear, Reuse, reuse
from raysim.base.units import J_M2_PER_J_CM2, to_mJ_cm2, to_mW_cm2
from raysim.dose import judge
from raysim.dose.result import Result
from raysim.library.assumptions import assumptions
from raysim.output.words.numbers import milliwatts, number, place_words
from raysim.output.words.table import Table, table_of
from raysim.scene.triangles import SIDES


def reuse_table(result: Result) -> Table | None:
    """Limits of reuse with their sources; none without a timer."""
    found = reuse(result)
    if found is None:
        return None
    note = (
        "The smallest count of the limits holds. Wear is judged with new lamps and the high end of "
        "every reflectance, the timer with aged lamps and the low end. A donning is counted for "
        "each cycle; the first wear of a new respirator comes before the first."
    )
    return table_of(
        found.limits,
        {
            "limit": lambda limit: limit.what,
            "value": lambda limit: limit.value,
            "source (mark)": lambda limit: limit.source,
            "cycles": lambda limit: "" if limit.cycles is None else str(limit.cycles),
        },
        words=3,
        note=note,
    )


def wear_words(result: Result) -> list[str]:
    """Places with the highest dose, why, and what allows more cycles; none without a timer."""
    found = reuse(result)
    if found is None:
        return []
    return [*(_part_words(result, part) for part in found.parts), WHAT_TO_DO]


def _dose(part: PartWear) -> str:
    return f"{number(part.dose / J_M2_PER_J_CM2)} J/cm2"


def _where(result: Result, part: PartWear) -> str:
    """The best-lit place of one kind of part, in words and numbers."""
    triangles = result.triangles
    piece = triangles.parts[triangles.face_part[part.face]]
    at = triangles.centroids[part.face]
    words = (
        triangles.bodies[piece.body].name,
        piece.name,
        "both sides" if part.side is None else SIDES[part.side],
        judge.place_words(triangles, piece.body, at),
    )
    return place_words(at, *words, units=triangles.units)


def _part_words(result: Result, part: PartWear) -> str:
    """Dose of the best-lit place in a cycle, where it is, and why it is so high."""
    target = result.safety_factor * result.target_dose
    doubt = part.dose / (target * part.spread) if part.spread > 0.0 else 0.0
    return (
        f"Best-lit place of the {part.part}: {_where(result, part)}, "
        f"{milliwatts(part.irradiance)} mW/cm2 and {_dose(part)} a cycle, "
        f"{number(part.dose / result.target_dose, 2)} times the target. Of that, a factor of "
        f"{number(part.spread, 2)} is uneven light (expected case, against the worst-lit spot), "
        f"{number(doubt, 2)} is doubt about linings and lamps, for which the timer takes the low "
        f"and wear the high end, and {result.safety_factor:g} is the safety factor."
    )


WHAT_TO_DO = (
    "More cycles come from, in this order: bringing light to the worst-lit spot and taking the "
    "best-lit one away from its lamp, which also shortens the timer (raysim shadows, raysim "
    "linings); a survey with a calibrated meter, which narrows the doubt (raysim meter); a limit "
    "under [wear] for your own model of respirator, with its source and the name of who answers "
    "for it. Never from a shorter timer."
)


def reuse_lines(result: Result) -> list[str]:
    """How often a respirator may be treated, which limit decides, and the best-lit place."""
    found = reuse(result)
    if found is None:
        return []
    most = max(found.parts, key=lambda part: part.dose)
    best = f"The most light falls on {_where(result, most)}: {_dose(most)} a cycle with new lamps."
    if found.cycles == 0:
        return [_none_words(found), f"{best} {WHAT_TO_DO}"]
    noun = "cycle" if found.cycles == 1 else "cycles"
    return [
        f"A respirator may go through {found.cycles} such {noun} at most; what limits it: "
        f"{found.binding}. Local policy may say fewer; a failed fit check ends it at once. "
        f"{fit_words(found)}{best}"
    ]


def fit_words(found: Reuse) -> str:
    """That some of the cycles allowed go beyond what fit was tested at; "" if they do not."""
    if found.cycles <= found.fit_tested:
        return ""
    tested = assumptions()["fit_tested_dose_J_cm2"].value
    return (
        f"Fit was not tested beyond some {tested:g} J/cm2, which cycle {found.fit_tested + 1} "
        "passes: check the fit each time. "
    )


def _none_words(found: Reuse) -> str:
    limits = ", ".join(f"{x.value} ({x.what})" for x in found.limits if x.cycles == 0)
    return (
        f"Wear: by the limit of {limits} not even one cycle is allowed. The limit says what was "
        "shown to be harmless, not that more does harm."
    )


def reuse_record(result: Result) -> dict[str, Any] | None:
    """Reuse for result.json; null without a timer."""
    found = reuse(result)
    if found is None:
        return None
    return {
        "cycles": found.cycles,
        "binding": found.binding,
        "parts": [
            {
                "part": part.part,
                "where": _where(result, part),
                "best_irradiance_mW_cm2": float(to_mW_cm2(part.irradiance)),
                "dose_per_cycle_mJ_cm2": float(to_mJ_cm2(part.dose)),
                "spread": part.spread,
            }
            for part in found.parts
        ],
        "limits": [asdict(limit) for limit in found.limits],
        "fit_tested_cycles": found.fit_tested,
    }
