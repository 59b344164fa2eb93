"""From irradiance to exposure time: warm-up, safety factor, target dose."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

# Nobody waits longer for one load (s); common practice, no source. How much longer than this a
# spot would take is not looked for with care.
LONGEST_TIME = 7 * 86_400.0
STEPS = 200  # of a bisection, for what is very near zero; own choice


@dataclass(frozen=True)
class WarmUpCurve:
    """Output after switch-on as a share of full output, in a cycle of one or more poses.

    Piecewise linear through `times` (s, from zero on, rising) and `shares`; full output after the
    last time. With `time_constant` (s) instead: y(t) = 1 - (1 - shares[0]) exp(-t / tau).

    Every pose starts from cold lamps, switched off to turn the load over, and pays its own
    warm-up; `poses` are the shares of the seconds of full output that fall to each. (Lamps that
    are still warm start faster, so the times err on the long side.) Times of a cycle are lit
    times, all poses together.
    """

    times: tuple[float, ...] = (0.0,)
    shares: tuple[float, ...] = (1.0,)
    time_constant: float | None = None
    poses: tuple[float, ...] = (1.0,)

    @property
    def of_one_pose(self) -> "WarmUpCurve":
        """Output after each start from cold lamps (definition)."""
        return replace(self, poses=(1.0,))

    def share(self, t: float) -> float:
        """Output at time t (s) after a start as a share of full output (definition)."""
        if self.time_constant is not None:
            return 1.0 - (1.0 - self.shares[0]) * math.exp(-t / self.time_constant)
        return float(np.interp(t, self.times, self.shares)) if t < self.times[-1] else 1.0

    def effective_seconds(self, t: float) -> float:
        """Seconds of full output in t (s): the integral of the share in one pose (definition).

        Of a cycle, the inverse of `time_for`, which rises.
        """
        if len(self.poses) > 1:
            return _seconds_of_cycle(self, t)
        if self.time_constant is not None:
            tau = self.time_constant
            return t - (1.0 - self.shares[0]) * tau * -math.expm1(-t / tau)
        if t <= 0.0:
            return 0.0
        knots = [time for time in self.times if time < t]
        whole = 0.0
        for start, end in zip(knots, [*knots[1:], t], strict=True):
            late = self.share(end) if end < self.times[-1] else self.shares[-1]
            if start >= self.times[-1]:
                whole += end - start
            else:
                end_inside = min(end, self.times[-1])
                whole += 0.5 * (self.share(start) + late) * (end_inside - start)
                whole += end - end_inside
        return whole

    def time_for(self, seconds: float) -> float:
        """Smallest t (s) with `effective_seconds(t)` >= `seconds`; inf stays inf."""
        if len(self.poses) > 1:
            return sum(self.of_one_pose.time_for(share * seconds) for share in self.poses)
        if not math.isfinite(seconds):
            return math.inf
        high = max(seconds, 1.0)
        while self.effective_seconds(high) < seconds:
            high *= 2.0
        return _smallest(lambda t: self.effective_seconds(t) >= seconds, high)

    def pose_times(self, t: float) -> tuple[float, ...]:
        """Lit time (s) of each pose in a cycle of t (s); inf stays inf."""
        whole = self.effective_seconds(t) if math.isfinite(t) else math.inf
        return tuple(self.of_one_pose.time_for(share * whole) for share in self.poses)


def _smallest(enough: Callable[[float], bool], high: float) -> float:
    """Smallest number from 0 to `high` that is enough, by bisection; `high` is."""
    low, steps = 0.0, 0
    # As a rule no number is left between the two after some 55 steps.
    while low < (middle := 0.5 * (low + high)) < high and steps < STEPS:
        steps += 1
        if enough(middle):
            high = middle
        else:
            low = middle
    return high


@lru_cache(maxsize=1024)
def _seconds_of_cycle(curve: WarmUpCurve, t: float) -> float:
    # Warm-up can only make the lit time longer.
    return _smallest(lambda seconds: curve.time_for(seconds) >= t, max(t, 0.0))


def exposure_time(
    irradiance: float, target_dose: float, safety_factor: float, warm_up: WarmUpCurve
) -> float:
    """Seconds until the dose reaches safety factor x target; inf where no light arrives.

    Smallest t with E * integral of the warm-up share over 0..t >= safety factor * H.

    Parameters
    ----------
    irradiance : float
        E, W/m2, at full output of the (aged, dirty, warm) lamps.
    target_dose : float
        H, J/m2.
    safety_factor : float
        Multiplies the dose asked for; at least 1.

    Source: H = integral of E dt (definition of radiant exposure).

    >>> constant = WarmUpCurve()
    >>> round(exposure_time(12.0, 10_000.0, 1.2, constant), 6)  # 1 J/cm2 at 1.2 mW/cm2
    1000.0
    >>> slow = WarmUpCurve(times=(0.0, 300.0), shares=(0.5, 1.0))  # loses a quarter of 5 min
    >>> round(exposure_time(12.0, 10_000.0, 1.2, slow), 6)
    1075.0
    >>> exposure_time(0.0, 10_000.0, 1.2, constant)
    inf
    """
    if not irradiance > 0.0:
        return math.inf
    return warm_up.time_for(safety_factor * target_dose / irradiance)


@dataclass(frozen=True)
class Requirement:
    """What every judged face-side must get, and how the lamps come to full output.

    >>> asked = Requirement(dose=10_000.0, safety_factor=1.2, warm_up=WarmUpCurve())  # 1 J/cm2
    >>> round(asked.time(12.0), 6)
    1000.0
    >>> round(asked.week_irradiance, 4)
    0.0198
    """

    dose: float  # J/m2
    safety_factor: float
    warm_up: WarmUpCurve

    def time(self, irradiance: float) -> float:
        """Seconds that an irradiance (W/m2) takes: see `exposure_time`."""
        return exposure_time(irradiance, self.dose, self.safety_factor, self.warm_up)

    @property
    def week_irradiance(self) -> float:
        """Irradiance (W/m2) that takes `LONGEST_TIME`; less than this is too dark to wait for."""
        return self.safety_factor * self.dose / LONGEST_TIME
