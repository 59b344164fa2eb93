"""What lamps do in use: warm-up, ageing, temperature, dirt."""

import numpy as np

from raysim.base.cases import BRIGHT, CAUTIOUS, EXPECTED
from raysim.dose.exposure import Requirement, WarmUpCurve
from raysim.library.assumptions import assumptions
from raysim.scene.file.written import LampsBehaviour, SceneAsWritten, WarmUp


def warm_up_curve(written: WarmUp) -> WarmUpCurve:
    """Warm-up curve of the keys `lamps_behaviour.warm_up`."""
    if written.curve is not None:
        times, shares = zip(*written.curve, strict=True)
        return WarmUpCurve(tuple(times), tuple(shares))
    if written.time_constant is not None:
        return WarmUpCurve((0.0,), (written.start,), written.time_constant)
    full = written.full_after
    if full is None:
        full = 60.0 * assumptions()["warm_up_time_min"].value
    if full == 0.0:
        return WarmUpCurve()
    return WarmUpCurve((0.0, full), (written.start, 1.0))


def output_at(hours: float, behaviour: LampsBehaviour) -> float:
    """Share of its rating that a lamp gives after so many hours, new, clean and cool otherwise.

    1 - (1 - `ageing`) hours / `rated_hours`, never below 0.

    Source: as `ageing_factor`.
    """
    return max(1.0 - (1.0 - behaviour.ageing) * hours / behaviour.rated_hours, 0.0)


def ageing_factor(hours: float, behaviour: LampsBehaviour) -> float:
    """Share of its rating that a lamp gives at the worse of its hours and its rated life.

    The loss is taken as proportional to the hours, `1 - ageing` at `rated_hours`, and never less
    than that: the timer must hold until the lamp is changed. Beyond it the loss goes on.

    Source: linear law is an assumption; the loss at rated life after Malley, UV Solutions (2020).
    """
    return output_at(max(hours, behaviour.rated_hours), behaviour)


def temperature_factor(behaviour: LampsBehaviour) -> float:
    """Share of its output that a lamp gives in the air of the box: the least over a cycle.

    By the curve where the scene gives the air's temperatures, else the stated factor.

    Source: curve and factor with their own sources in the data tables.
    """
    if behaviour.air is None:
        return behaviour.temperature
    return behaviour.output_curve.least(*behaviour.air)


def in_use_factor(behaviour: LampsBehaviour) -> float:
    """Share of its output that a lamp of any age gives in the warm, dusty box on its mains.

    Source: product of the stated factors of temperature, dirt and supply (definition).
    """
    return temperature_factor(behaviour) * behaviour.dirt * behaviour.supply


def requirement_of(written: SceneAsWritten) -> Requirement:
    """What a scene asks for; its lamps warm up once."""
    target, warm_up = written.target, warm_up_curve(written.lamps_behaviour.warm_up)
    return Requirement(target.dose, target.safety_factor, warm_up)


def lamp_factors(hours: list[float], behaviour: LampsBehaviour) -> dict[str, np.ndarray]:
    """Output of each lamp as a share of its rating, by case; each (lamps,) float64."""
    aged = np.array([ageing_factor(h, behaviour) for h in hours])
    new = np.ones(len(hours))
    return {
        CAUTIOUS: aged * in_use_factor(behaviour),
        EXPECTED: new,
        BRIGHT: new,
    }
