"""How much a surface sends back, and whether as a mirror or as a diffuser."""

import math

from raysim.kernels.compile import kernel
from raysim.kernels.records import FRESNEL

ABSORBED = 0
REFLECTED = 1
TRANSMITTED = 2


@kernel
def fresnel_reflectance(cosine, index, extinction):
    """Reflectance (0 to 1) of a smooth face for unpolarised light that arrives through air.

    Parameters
    ----------
    cosine : float
        Cosine of the angle of incidence, 0 to 1.
    index, extinction : float
        Real and imaginary part of the refractive index n + ik.

    Source: Fresnel's equations for an absorbing medium, Born and Wolf, "Principles of Optics",
    7th ed., section 14.2 (form with squared moduli).
    """
    cos2 = cosine * cosine
    sin2 = 1.0 - cos2
    difference = index * index - extinction * extinction - sin2
    modulus = math.sqrt(difference * difference + 4.0 * index * index * extinction * extinction)
    a = math.sqrt(max(0.5 * (modulus + difference), 0.0))
    cross = 2.0 * a * cosine
    s = (modulus + cos2 - cross) / (modulus + cos2 + cross)
    square = cos2 * modulus + sin2 * sin2
    p = s * (square - cross * sin2) / (square + cross * sin2)
    return 0.5 * (s + p)


@kernel
def angular_reflectance(surfaces, surface, cosine):
    """Reflectance (0 to 1) of a surface that follows Fresnel; -1 if it has a constant one."""
    kind, index, extinction = surfaces
    if kind[surface] == FRESNEL:
        return fresnel_reflectance(cosine, index[surface], extinction[surface])
    return -1.0


@kernel
def case_fate(reflectance, transmittance, u):
    """ABSORBED, REFLECTED or TRANSMITTED for the uniform number u.

    Reflection takes the low end of u and transmission the high end. So cases that share u and
    differ only in their reflectance never go different ways: one ends, or both go on together.
    """
    if u < reflectance:
        return REFLECTED
    if u > 1.0 - transmittance:
        return TRANSMITTED
    return ABSORBED
