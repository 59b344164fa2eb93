"""Lamp ratings: from the irradiance at 1 m to UVC watts, and back."""

import math


def keitz_power(irradiance: float, distance: float, length: float) -> float:
    """Radiant power (W) of a tube from the irradiance (W/m2) facing its middle.

    P = E 2 pi^2 D L / (2 alpha + sin 2 alpha), alpha = atan(L / 2D)

    Parameters
    ----------
    irradiance : float
        W/m2, on a detector that faces the middle of the lamp.
    distance : float
        D, m, from the lamp's axis.
    length : float
        L, arc length, m.

    Source: Keitz, "Light Calculations and Measurements", 2nd ed. (1971); identical to the
    inverted Lambertian line (IOA/IUVA proceedings, Los Angeles, 2007).

    >>> watts = keitz_power(irradiance=0.48, distance=1.0, length=0.36)  # 48 uW/cm2 at 1 m
    >>> round(watts, 2)
    4.84
    >>> round(keitz_irradiance(watts, distance=1.0, length=0.36), 6)
    0.48
    """
    alpha = math.atan(length / (2.0 * distance))
    shape = 2.0 * alpha + math.sin(2.0 * alpha)
    return irradiance * 2.0 * math.pi**2 * distance * length / shape


def keitz_irradiance(power: float, distance: float, length: float) -> float:
    """Irradiance (W/m2) facing the middle of a tube of `power` W; inverse of `keitz_power`.

    Source: Keitz 1971.
    """
    return power / keitz_power(1.0, distance, length)
