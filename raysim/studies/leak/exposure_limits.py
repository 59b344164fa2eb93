"""How long a person may stay in stray 254 nm light.

Two ways to state the same light: *unweighted*, what a 254 nm meter shows, and *effective*, times
the actinic weight at 254 nm. Limits exist in both; mixing them is an error of a factor of two, so
every figure here says which it is.

A safety factor divides a person's time. (It multiplies an exposure time: the other way round.)
"""

from raysim.base.units import J_M2_PER_MJ_CM2
from raysim.library.assumptions import assumptions

DAY = 86_400.0  # s
EYE, SKIN = "exposure_limit_mJ_cm2", "exposure_limit_skin_mJ_cm2"


def exposure_limit(key: str = EYE) -> float:
    """Limit of the dose in one day, unweighted 254 nm, J/m2.

    Source: NIOSH 1972, ISO 15858:2016 and others, beside the number in the assumptions.
    """
    return assumptions()[key].value * J_M2_PER_MJ_CM2


def effective(unweighted: float) -> float:
    """Effective irradiance or dose of an unweighted one at 254 nm, same unit.

    Source: actinic weight S(254 nm), ICNIRP 2004, in the assumptions.
    """
    return assumptions()["spectral_weight_254nm"].value * unweighted


def permissible_time(
    unweighted: float, safety_factor: float = 1.0, limit: float | None = None
) -> float:
    """Seconds a person may stay in a day, at most a whole day.

    t = limit / (safety factor x E); longer days get no larger dose.

    Parameters
    ----------
    unweighted : float
        E, W/m2, irradiance at 254 nm as a meter shows it.
    safety_factor : float
        At least 1; divides the time.
    limit : float, optional
        Unweighted dose, J/m2; that of the eye by default.

    Source: definition of the limits as doses in a day, ICNIRP 2004.

    >>> round(permissible_time(0.002))  # 0.2 uW/cm2: 6 mJ/cm2 after 30000 s
    30000
    >>> round(permissible_time(0.002, safety_factor=2.0))
    15000
    """
    if safety_factor < 1.0 or unweighted < 0.0:
        raise ValueError("a safety factor is at least 1, and an irradiance not below 0")
    dose = exposure_limit() if limit is None else limit
    if unweighted * safety_factor * DAY <= dose:
        return DAY
    return dose / (safety_factor * unweighted)
