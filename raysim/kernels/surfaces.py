"""What becomes of a photon at a surface."""

from raysim.kernels.compile import kernel

ABSORBED = 0
REFLECTED = 1
TRANSMITTED = 2


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
