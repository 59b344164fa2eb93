"""Arrays of mostly zeros come back to the last bit, and parts that do not fit are refused."""

import numpy as np
import pytest

from raysim.dose.sparse_arrays import PLACES, SHAPE, SMALLEST, VALUES, with_zeros, without_zeros

MANY = SMALLEST // 8


def bits(array):
    """All bytes of an array, with its form."""
    return array.dtype, array.shape, array.tobytes()


def arrays():
    """Large and small arrays, with zeros of both signs, infinity and no number."""
    rng = np.random.default_rng(5)
    shape = (3, MANY, 5)
    sums = np.where(rng.random(shape) < 0.3, rng.standard_normal(shape), 0.0)
    sums[0, :4, 0] = [-0.0, np.nan, np.inf, 5e-324]
    return {
        "paths.sums": sums,
        "counts": rng.integers(-1, 2, MANY + 3),
        "none": np.zeros(MANY + 1),
        "turned": sums[..., 0].T,
        "small": np.zeros(7),
        "one": np.array(4),
        "flags": np.zeros(SMALLEST + 1, bool),
    }


def test_every_bit_comes_back_in_less_room():
    given = arrays()
    kept = without_zeros(given)
    back = with_zeros(kept)
    assert back.keys() == given.keys()
    assert all(bits(back[name]) == bits(given[name]) for name in given)
    assert kept["paths.sums" + VALUES].nbytes < 0.4 * given["paths.sums"].nbytes
    assert kept["small"] is given["small"]


@pytest.mark.parametrize("part", [PLACES, VALUES, SHAPE])
def test_parts_that_do_not_fit_are_refused(part):
    kept = without_zeros({"counts": arrays()["counts"]})
    broken = kept | {"counts" + part: kept["counts" + part][:-1]}
    with pytest.raises(ValueError, match=r"."):
        with_zeros(broken)
    if part != SHAPE:
        del broken["counts" + part]
        with pytest.raises(KeyError):
            with_zeros(broken)
