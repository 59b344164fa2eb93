"""The timer over the life of the lamps, and after an interruption."""

import math
from dataclasses import dataclass

from raysim.base.figures import Figures
from raysim.dose.exposure import WarmUpCurve
from raysim.dose.lamp_output import in_use_factor, output_at, temperature_factor
from raysim.dose.result import Result
from raysim.scene.file.written import LampsBehaviour

ROWS = 5  # ages of the table, from new to the rated life, and one beyond


@dataclass(frozen=True)
class TimeAtAge(Figures):
    """Exposure time (s) with all lamps of one age (h); `output` is their share of the rating."""

    hours: float
    output: float
    seconds: float


@dataclass(frozen=True)
class LampLife(Figures):
    """How long the timer setting holds.

    Attributes
    ----------
    table : tuple of TimeAtAge
        From new lamps to beyond the rated life.
    holds_until : float
        Lamp hours at which the timer setting stops being long enough, whichever lamp gets there.
    cycles_left : int
        Cycles until the oldest lamp gets there.
    replace_below : float
        Replace a lamp when a meter at a marked spot reads less than this share of what it read
        with the lamp new, whatever its hours.
    """

    table: tuple[TimeAtAge, ...]
    holds_until: float
    cycles_left: int
    replace_below: float


def behaviour_of(result: Result) -> LampsBehaviour:
    """What the scene says of its lamps in use; the defaults where there is no scene."""
    return result.written.lamps_behaviour if result.written else LampsBehaviour()


def time_at_age(result: Result, hours: float) -> TimeAtAge:
    """Exposure time with all lamps `hours` old, in the warm, dusty box of the cautious case.

    The bound that sets the timer grows with the output of the lamps; where their factors differ
    the largest is taken out of it, which errs to a longer time.

    Source: irradiance is proportional to lamp output (linear transport).
    """
    behaviour = behaviour_of(result)
    output = output_at(hours, behaviour) * in_use_factor(behaviour)
    best = max(
        output_at(max(lamp.hours, behaviour.rated_hours), behaviour)
        for lamp in result.triangles.lamps
    ) * in_use_factor(behaviour)
    bound = result.bound * output / best if best > 0.0 else 0.0
    seconds = result.requirement.time(bound)
    return TimeAtAge(hours, output, seconds)


@dataclass(frozen=True)
class TimeInAir(Figures):
    """Exposure time (s) in air of so many degrees C; `output` is the curve's share at that."""

    degrees: float
    output: float
    seconds: float


def times_in_air(result: Result) -> tuple[TimeInAir, ...]:
    """Exposure times over the temperatures of the curve, lamps as the timer takes them otherwise.

    Source: irradiance is proportional to lamp output (linear transport).
    """
    behaviour, bound = behaviour_of(result), result.bound
    curve, taken = behaviour.output_curve, temperature_factor(behaviour)
    return tuple(
        TimeInAir(
            degrees,
            share,
            result.requirement.time(bound * share / taken),
        )
        for degrees, share in zip(curve.degrees, curve.shares, strict=True)
    )


def lamp_life(result: Result) -> LampLife | None:
    """Times over the life of the lamps; None without a finite timer."""
    if not math.isfinite(result.timer):
        return None
    behaviour = behaviour_of(result)
    hours = [lamp.hours for lamp in result.triangles.lamps]
    oldest = max(hours)
    # One lamp past its life lends its age to none of the others, which the timer takes at theirs.
    holds = max(min(hours), behaviour.rated_hours)
    ages = [behaviour.rated_hours * k / (ROWS - 1) for k in range(ROWS)]
    ages += [1.25 * behaviour.rated_hours, *([oldest] if oldest not in (0.0, *ages) else [])]
    left = max(holds - oldest, 0.0) * 3600.0 / result.timer
    return LampLife(
        tuple(time_at_age(result, hours) for hours in sorted(ages)),
        holds,
        math.floor(left + 1e-9),
        output_at(holds, behaviour),
    )


def seconds_to_add(warm_up: WarmUpCurve, timer: float, ran: float) -> float:
    """What a second, cold start must run (s) after a cycle was broken off at `ran`.

    Smallest t with L(ran) + L(t) >= L(timer), L the integral of the warm-up share: doses add up,
    and every start pays its own warm-up.

    Source: interrupting the exposure did not change the kill, Cadnum et al. 2016 [read]; doses
    add (definition).
    """
    if not 0.0 <= ran <= timer:
        raise ValueError("a cycle breaks off between its start and its end")
    missing = warm_up.effective_seconds(timer) - warm_up.effective_seconds(ran)
    return warm_up.time_for(missing) if missing > 0.0 else 0.0
