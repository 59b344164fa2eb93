"""Evenly spread numbers for the first steps of backward paths, with a random shift per batch.

Points of one batch fill the unit cube more evenly than independent ones would, so that means over
it scatter less. Every point by itself is uniform, and the shifts of batches are independent: means
stay unbiased, and the spread of batch means gives their error.

Source: Kronecker sequence (Weyl 1916) with powers of the generalised golden ratio as steps
(Roberts, "The unreasonable effectiveness of quasirandom sequences", 2018, from memory); random
shift after Cranley and Patterson, "Randomization of number theoretic methods for multiple
integration", SIAM J. Numer. Anal. 13 (1976).
"""

import math

from raysim.kernels.compile import kernel
from raysim.kernels.random_numbers import BACKWARD_SHIFT, uniforms

# Real root above 1 of x**5 = x + 1, and its inverse powers: steps in four dimensions.
GOLDEN = 1.1673039782614187
STEP_0, STEP_1, STEP_2, STEP_3 = (GOLDEN**-power for power in (1, 2, 3, 4))
LEAST = 2.0**-33  # no number is 0 or 1


@kernel
def stepped(shift, place, step):
    """Number at `place` (0, 1, ...) of a sequence that starts at `shift`, in (0, 1)."""
    number = shift + place * step
    return min(max(number - math.floor(number), LEAST), 1.0 - LEAST)


@kernel
def lattice_point(batch, stream, place, use, key0, key1):
    """Four numbers in (0, 1): point `place` of a batch; each alone is uniform.

    Parameters
    ----------
    batch, stream : uint64
        Words of the random counter that the shift is drawn with.
    place : int
        Number of the path within its batch.
    use : uint64
        Word of the counter: another use of the lattice has shifts of its own.
    """
    s0, s1, s2, s3 = uniforms(batch, stream, use, BACKWARD_SHIFT, key0, key1)
    return (
        stepped(s0, place, STEP_0),
        stepped(s1, place, STEP_1),
        stepped(s2, place, STEP_2),
        stepped(s3, place, STEP_3),
    )
