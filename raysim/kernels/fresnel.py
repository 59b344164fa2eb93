"""Smooth faces, whose reflectance follows Fresnel's equations."""

import math

from raysim.kernels.compile import kernel

# Columns of `Surfaces.numbers`: real and imaginary part of the refractive index n + ik
INDEX, EXTINCTION = 0, 1


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
def smooth_reflectance(numbers, surface, cosine):
    """`fresnel_reflectance` of a row of surfaces that follow it."""
    return fresnel_reflectance(cosine, numbers[surface, INDEX], numbers[surface, EXTINCTION])
