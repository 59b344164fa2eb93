"""Counter-based random numbers: Philox 4x32-10.

A random number is a pure function of (seed, photon index, bounce, purpose). Threads, their number,
and interruptions therefore cannot change a result.

Source: Salmon, Moraes, Dror, Shaw, "Parallel random numbers: as easy as 1, 2, 3", SC11 (2011).
"""

import numpy as np

from raysim.kernels.compile import kernel

# Multipliers and Weyl constants of Philox 4x32, Salmon et al. 2011, section 4.3.
MULTIPLIER_0 = np.uint64(0xD2511F53)
MULTIPLIER_1 = np.uint64(0xCD9E8D57)
WEYL_0 = np.uint64(0x9E3779B9)
WEYL_1 = np.uint64(0xBB67AE85)
MASK = np.uint64(0xFFFFFFFF)
SHIFT = np.uint64(32)
TO_UNIT = 2.0**-32
ZERO_STEP, ONE_STEP = np.uint64(0), np.uint64(1)

# The fourth counter word names the purpose, so that no two uses share a number.
EMISSION = np.uint64(1)
SCATTERING = np.uint64(2)
BACKWARD_START = np.uint64(3)
BACKWARD_SCATTERING = np.uint64(4)
BACKWARD_LAMP = np.uint64(5)
BACKWARD_SHIFT = np.uint64(6)


@kernel
def philox(c0, c1, c2, c3, key0, key1):
    """Four random 32-bit words (each in a uint64) of one counter and key.

    Parameters
    ----------
    c0, c1, c2, c3 : uint64
        Counter words, each below 2**32.
    key0, key1 : uint64
        Key words, each below 2**32.

    Source: Salmon et al. 2011, section 4.3, ten rounds.
    """
    for _ in range(10):
        product0 = MULTIPLIER_0 * c0
        product1 = MULTIPLIER_1 * c2
        c0 = (product1 >> SHIFT) ^ c1 ^ key0
        c1 = product1 & MASK
        c2 = (product0 >> SHIFT) ^ c3 ^ key1
        c3 = product0 & MASK
        key0 = (key0 + WEYL_0) & MASK
        key1 = (key1 + WEYL_1) & MASK
    return c0, c1, c2, c3


@kernel
def uniforms(c0, c1, c2, c3, key0, key1):
    """Four uniform numbers in the open interval (0, 1), multiples of 2**-33 (definition)."""
    a, b, c, d = philox(c0, c1, c2, c3, key0, key1)
    return (
        (np.float64(a) + 0.5) * TO_UNIT,
        (np.float64(b) + 0.5) * TO_UNIT,
        (np.float64(c) + 0.5) * TO_UNIT,
        (np.float64(d) + 0.5) * TO_UNIT,
    )


def split_word(value: int) -> tuple[np.uint64, np.uint64]:
    """Low and high 32-bit halves of a 64-bit seed or index (definition)."""
    return np.uint64(value & 0xFFFFFFFF), np.uint64((value >> 32) & 0xFFFFFFFF)
