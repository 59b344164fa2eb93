"""From irradiance to colours: one scale for all pictures of a run."""

from dataclasses import dataclass

import numpy as np

from raysim.base.units import to_mJ_cm2, to_mW_cm2
from raysim.dose.result import Result

LARGEST_LINEAR_RANGE = 20.0  # highest / lowest value beyond which the scale is logarithmic
LARGEST_RANGE = 1e4
COLOUR_MAP = "viridis"  # even steps of lightness, so that colour-blind eyes can read it


@dataclass(frozen=True)
class DoseScale:
    """What the colours mean.

    Attributes
    ----------
    quantity, unit : str
        What the values are, as printed.
    values : (faces, 2) float64
        mJ/cm2 at the timer, or mW/cm2 where there is no finite timer setting.
    low, high : float
        Ends of the scale, in the unit of `values`.
    marks : tuple of (float, str)
        Values to mark on the scale, with what they are.
    wanting : (faces, 2) bool
        Judged face-sides that get less than the target, drawn hatched.
    """

    quantity: str
    unit: str
    values: np.ndarray
    low: float
    high: float
    logarithmic: bool
    marks: tuple[tuple[float, str], ...]
    wanting: np.ndarray
    wanting_words: str

    @property
    def label(self) -> str:
        """Quantity and unit in one line (definition)."""
        return f"{self.quantity}, {self.unit}"

    def position(self, values: np.ndarray) -> np.ndarray:
        """Place of `values` on the scale, 0 (low end) to 1 (high end) (definition)."""
        inside = np.clip(values, self.low, self.high)
        if self.logarithmic:
            return np.log(inside / self.low) / np.log(self.high / self.low)
        return (inside - self.low) / (self.high - self.low)

    def colours(self, faces: np.ndarray) -> np.ndarray:
        """Colours of both sides of the chosen faces (n,), as (n, 2, 3), 0 to 1."""
        from matplotlib import colormaps

        return np.asarray(colormaps[COLOUR_MAP](self.position(self.values[faces])))[..., :3]


def dose_scale(result: Result, case: str) -> DoseScale:
    """Scale of the dose at the timer (mJ/cm2), or of the irradiance (mW/cm2) without a timer."""
    judged = result.triangles.judged
    if not np.isfinite(result.timer):
        return scale_of_irradiance(to_mW_cm2(result.cases[case].irradiance), judged)
    return scale_of_doses(
        to_mJ_cm2(result.dose_at_timer(case)),
        judged,
        float(to_mJ_cm2(result.cases[case].best.irradiance * result.seconds_of_light)),
        float(to_mJ_cm2(result.target_dose)),
        result.safety_factor,
    )


def scale_of_irradiance(values: np.ndarray, judged: np.ndarray) -> DoseScale:
    """Scale of irradiances (faces, 2), mW/cm2; `wanting` are those `judged` without light."""
    wanting = judged & ~(values > 0.0)
    low, high, logarithmic = _range(values[judged & ~wanting])
    name, words = "irradiance at full output", "no light found"
    return DoseScale(name, "mW/cm²", values, low, high, logarithmic, (), wanting, words)


def scale_of_doses(
    values: np.ndarray, judged: np.ndarray, best: float, target: float, safety_factor: float
) -> DoseScale:
    """Scale of doses (faces, 2), mJ/cm2, up to the best-lit spot, with the target marked on it."""
    asked = safety_factor * target
    marks: tuple[tuple[float, str], ...] = ((target, "target"),)
    if asked > target:
        marks += ((asked, f"target × {safety_factor:g}"),)
    wanting = judged & (values < target)
    # Values above the best-lit spot are noise; they get the colour of that spot.
    shown = np.append(np.minimum(values[judged & ~wanting], best), [target, asked])
    low, high, logarithmic = _range(shown)
    name, words = "dose at the timer", "below the target"
    return DoseScale(name, "mJ/cm²", values, low, high, logarithmic, marks, wanting, words)


def tick_words(value: float) -> str:
    """Number of a tick of an axis, as short as it can be; the unit is kept."""
    return f"{value:,.0f}" if abs(value) >= 1000.0 else f"{value:g}"


def round_ticks(low: float, high: float, logarithmic: bool) -> np.ndarray:
    """Round numbers from `low` to `high` to write beside a scale, two or more (definition)."""
    from matplotlib.ticker import LogLocator, MaxNLocator

    ticks = np.zeros(0)
    for subs in ((1.0,), (1.0, 2.0, 5.0)) if logarithmic else ():
        ticks = np.asarray(LogLocator(subs=subs, numticks=20).tick_values(low, high))
        ticks = ticks[(ticks >= low * (1.0 - 1e-9)) & (ticks <= high * (1.0 + 1e-9))]
        if len(ticks) > (3 if subs == (1.0,) else 1):
            return ticks
    ticks = np.asarray(MaxNLocator(8, steps=[1, 2, 5, 10]).tick_values(low, high))
    slack = 1e-9 * (high - low)
    return ticks[(ticks >= low - slack) & (ticks <= high + slack)]


def _range(values: np.ndarray) -> tuple[float, float, bool]:
    """Ends of the scale, never equal, and whether it is logarithmic."""
    if not len(values):
        return 0.0, 1.0, False
    low, high = float(values.min()), float(values.max())
    if high <= low * 1.02:
        low, high = 0.99 * low, 1.01 * high
    low = max(low, high / LARGEST_RANGE)
    return low, high, high > LARGEST_LINEAR_RANGE * low
