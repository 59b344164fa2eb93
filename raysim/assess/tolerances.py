"""What a lamp or a hook that is a little off its place does to the timer, from the budget."""

import math
from dataclasses import dataclass

from raysim.base.figures import Figures
from raysim.dose.result import Result
from raysim.library.assumptions import assumptions


@dataclass(frozen=True)
class Tolerance(Figures):
    """A thing whose place matters to the worst spot.

    `share` is the relative change of the light there when the thing is `off` (m) its place in the
    worst direction, `error` its standard error; `more_time` (s) is what the timer then lacks.
    """

    name: str
    off: float
    share: float
    error: float
    more_time: float


def tolerances(result: Result) -> tuple[Tolerance, ...]:
    """Each lamp, and the respirator with the worst spot, the most sensitive first.

    None where the run made no budget or has no timer. The slope is that of the expected case, at
    its worst spot; other spots, and larger slips, are not in it.

    Source: slope x distance, first order; the distance is the assumption `place_half_width_mm`.
    """
    if result.budget is None or not math.isfinite(result.calculated):
        return ()
    off = 0.001 * assumptions()["place_half_width_mm"].value
    found = []
    for row in result.budget.contributions:
        if row.place_of:
            share = min(abs(row.sensitivity) * off, 0.99)
            longer = result.requirement.time(result.bound * (1.0 - share)) - result.needed
            more = longer if math.isfinite(longer) else math.inf
            found.append(Tolerance(row.place_of, off, share, row.error * off, more))
    return tuple(sorted(found, key=lambda one: -one.share))
