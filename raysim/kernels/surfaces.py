"""What becomes of a photon at a surface."""

from raysim.kernels.compile import kernel

ABSORBED = 0
REFLECTED = 1
TRANSMITTED = 2


@kernel
def case_fate(reflectance, transmittance, u):
    """ABSORBED, REFLECTED or TRANSMITTED for the uniform number u.

    Reflection takes the low end of u and transmission the high end, so that cases which share u
    and differ only in how much comes back can never part ways: one dies, the other goes on.
    """
    if u < reflectance:
        return REFLECTED
    if u > 1.0 - transmittance:
        return TRANSMITTED
    return ABSORBED
