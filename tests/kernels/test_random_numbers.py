"""Philox 4x32-10 and the uniform numbers made of it."""

import numpy as np
import pytest
from agreement import fits

from raysim.kernels.compile import kernel
from raysim.kernels.random_numbers import (
    BACKWARD_LAMP,
    BACKWARD_SCATTERING,
    BACKWARD_START,
    EMISSION,
    SCATTERING,
    philox,
    split_word,
    uniforms,
)

# Counter, key, output: known-answer file of Random123, Salmon et al. 2011 (from memory).
KNOWN = [
    ((0, 0, 0, 0), (0, 0), (0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8)),
    ((0xFFFFFFFF,) * 4, (0xFFFFFFFF,) * 2, (0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD)),
    (
        (0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344),
        (0xA4093822, 0x299F31D0),
        (0xD16CFE09, 0x94FDCCEB, 0x5001E420, 0x24126EA1),
    ),
]


def words(values):
    """The values as the unsigned words that the kernels take."""
    return [np.uint64(value) for value in values]


@pytest.mark.parametrize(("counter", "key", "answer"), KNOWN)
@pytest.mark.parametrize("mode", ["compiled", "python"])
def test_known_answers(counter, key, answer, mode):
    function = philox if mode == "compiled" else philox.py_func
    with np.errstate(over="ignore"):
        got = function(*words(counter), *words(key))
    assert tuple(int(word) for word in got) == answer


@kernel
def _many(count, c1, c2, c3, key0, key1, out):
    for i in range(count):
        out[i, 0], out[i, 1], out[i, 2], out[i, 3] = uniforms(np.uint64(i), c1, c2, c3, key0, key1)


def many(count, c1=0, c2=0, c3=1, seed=1):
    """Uniform numbers of counters (0 ..., c1, c2, c3), (count, 4)."""
    out = np.empty((count, 4))
    _many(count, *words((c1, c2, c3)), *split_word(seed), out)
    return out


def test_numbers_are_uniform_and_independent():
    out = many(600_000)
    assert ((out > 0.0) & (out < 1.0)).all()
    for i in range(4):
        assert fits(np.histogram(out[:, i], 64, (0.0, 1.0))[0], np.full(64, 1 / 64), 0.015)
        for j in range(i):
            pairs = np.histogram2d(out[:, i], out[:, j], 10, [(0.0, 1.0)] * 2)[0]
            assert fits(pairs, np.full(100, 0.01), 0.02)
    successive = np.histogram2d(out[:-1, 0], out[1:, 0], 10, [(0.0, 1.0)] * 2)[0]
    assert fits(successive, np.full(100, 0.01), 0.02)


def test_every_word_of_the_counter_and_of_the_key_counts():
    first = many(100)
    others = [many(100, c1=1), many(100, c2=1), many(100, c3=2), many(100, seed=2)]
    others += [many(100, seed=1 + (1 << 32)), many(100, seed=1 + (1 << 63))]
    stacked = np.array([first, *others])
    assert len(np.unique(stacked.round(9))) == stacked.size
    assert np.array_equal(first, many(100))


def test_neighbouring_seeds_are_unrelated():
    pairs = np.histogram2d(many(600_000, seed=7)[:, 0], many(600_000, seed=8)[:, 0], 10)[0]
    assert fits(pairs, np.full(100, 0.01), 0.02)


def test_ends_of_the_interval_are_out_of_reach():
    # The smallest and largest word give 2^-33 and 1 - 2^-33.
    low, high = 0.5 * 2.0**-32, (2.0**32 - 0.5) * 2.0**-32
    assert 0.0 < low < high < 1.0
    assert many(10).min() >= low
    assert many(10).max() <= high


def test_purposes_never_share_a_counter():
    purposes = [EMISSION, SCATTERING, BACKWARD_START, BACKWARD_SCATTERING, BACKWARD_LAMP]
    assert len({int(p) for p in purposes}) == 5
    assert all(0 < int(p) < 256 for p in purposes)  # the rest of the word holds lamp or path


def test_split_word():
    assert split_word(0x1234567_89ABCDEF) == (np.uint64(0x89ABCDEF), np.uint64(0x1234567))
    assert split_word(2**64 - 1) == (np.uint64(0xFFFFFFFF), np.uint64(0xFFFFFFFF))
