"""From irradiance to exposure time: warm-up, safety factor, target dose."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

# Nobody waits longer for one load (s); common practice, no source. How much longer than this a
# spot would take is not looked for with care.
LONGEST_TIME = 7 * 86_400.0


@dataclass(frozen=True)
class WarmUpCurve:
    """Output after switch-on as a share of full output.

    Piecewise linear through `times` (s, from zero on, rising) and `shares`; full output after the
    last time. With `time_constant` (s) instead: y(t) = 1 - (1 - shares[0]) exp(-t / tau).
    """

    times: tuple[float, ...] = (0.0,)
    shares: tuple[float, ...] = (1.0,)
    time_constant: float | None = None

    def share(self, t: float) -> float:
        """Output at time t (s) as a share of full output (definition)."""
        if self.time_constant is not None:
            return 1.0 - (1.0 - self.shares[0]) * math.exp(-t / self.time_constant)
        return float(np.interp(t, self.times, self.shares)) if t < self.times[-1] else 1.0

    def effective_seconds(self, t: float) -> float:
        """Integral of the share from 0 to t: seconds of full output (definition)."""
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
        """Smallest t (s) with `effective_seconds(t)` >= `seconds`; inf stays inf.

        Found by bisection, which needs only that output is never negative.
        """
        if not math.isfinite(seconds):
            return math.inf
        low, high = 0.0, max(seconds, 1.0)
        while self.effective_seconds(high) < seconds:
            high *= 2.0
        for _ in range(200):
            middle = 0.5 * (low + high)
            if self.effective_seconds(middle) < seconds:
                low = middle
            else:
                high = middle
        return high


@dataclass(frozen=True)
class CycleCurve(WarmUpCurve):
    """Output over a cycle of several poses, with the lamps switched off to turn the load over.

    Every pose starts from cold lamps and pays its own warm-up; `poses` are the shares of the
    seconds of full output that fall to each. (Lamps that are still warm start faster, so the
    times err on the long side.) Times are lit times, all poses together.
    """

    poses: tuple[float, ...] = (1.0,)

    @property
    def of_one_pose(self) -> WarmUpCurve:
        """Output after each start from cold lamps (definition)."""
        return WarmUpCurve(self.times, self.shares, self.time_constant)

    def time_for(self, seconds: float) -> float:
        """Lit time (s) of all poses until `seconds` of full output are shared out (definition)."""
        return sum(self.of_one_pose.time_for(share * seconds) for share in self.poses)

    def effective_seconds(self, t: float) -> float:
        """Seconds of full output in a cycle whose poses take t (s) together.

        Inverse of `time_for`, which rises.
        """
        return _seconds_of_cycle(self, t)

    def pose_times(self, t: float) -> tuple[float, ...]:
        """Lit time (s) of each pose in a cycle of t (s); inf stays inf."""
        if not math.isfinite(t):
            return (math.inf,) * len(self.poses)
        whole = self.effective_seconds(t)
        return tuple(self.of_one_pose.time_for(share * whole) for share in self.poses)


@lru_cache(maxsize=1024)
def _seconds_of_cycle(curve: CycleCurve, t: float) -> float:
    low, high = 0.0, max(t, 0.0)  # warm-up can only make the lit time longer
    for _ in range(64):
        middle = 0.5 * (low + high)
        if curve.time_for(middle) < t:
            low = middle
        else:
            high = middle
    return high


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
