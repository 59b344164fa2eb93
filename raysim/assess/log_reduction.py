"""What a dose map is worth against organisms: log reduction of the whole load."""

from dataclasses import dataclass

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.figures import Figures
from raysim.dose.result import Result
from raysim.library.organisms import FABRIC, Organism, find_organism, organisms
from raysim.library.survival import load_survival, log_reduction

DARK_AREA = 1e-4  # m2: the one dark square centimetre


@dataclass(frozen=True)
class LoadReduction(Figures):
    """Log reduction of one organism on the judged surfaces of a load, at the timer.

    `least`, `expected`, `most` are those at the high, middle and low end of the organism's D90;
    `with_dark_cm2` is `least` if one square centimetre of the load got no light at all.
    """

    organism: Organism
    asked: float | None  # log reduction asked for in the scene
    least: float
    expected: float
    most: float
    with_dark_cm2: float


def load_reductions(result: Result) -> tuple[LoadReduction, ...]:
    """Log reductions of the organism asked for and of all that have figures on fabric.

    Doses of the cautious case by the end of the timer, warm-up included; survivors averaged over
    the judged area. Counting noise makes survivors more on average (survival curves bend upwards);
    bright faces that kept a high estimate (`Refinement.even`) make them somewhat fewer. Empty
    without a finite timer.

    Source: average of survivors, `survival.load_survival`.
    """
    if not np.isfinite(result.timer):
        return ()
    faces, sides = np.nonzero(result.triangles.judged)
    dose = result.dose_at_timer(CAUTIOUS)[faces, sides]
    area = result.triangles.areas[faces]
    target = result.written.target if result.written else None
    rows = []
    if target is not None and target.organism is not None:
        rows.append((find_organism(target.organism, target.carrier), target.log_reduction))
    asked = [organism for organism, _ in rows]
    rows += [(o, None) for o in organisms() if o.carrier == FABRIC and o not in asked]
    return tuple(_reduction(organism, asked, dose, area) for organism, asked in rows)


def _reduction(
    organism: Organism, asked: float | None, dose: np.ndarray, area: np.ndarray
) -> LoadReduction:
    ends = {
        end: float(log_reduction(load_survival(organism.kinetics(end), dose, area)))
        for end in ("high", "expected", "low")
    }
    dark = load_survival(organism.kinetics("high"), dose, area, DARK_AREA)
    return LoadReduction(
        organism, asked, ends["high"], ends["expected"], ends["low"], float(log_reduction(dark))
    )
