"""Shifted lattice of backward paths: uniform, unbiased, evener than independent numbers."""

import numpy as np
import pytest
from agreement import fits

from raysim.kernels.compile import kernel
from raysim.kernels.lattice import STEP_0, STEP_1, STEP_2, STEP_3, lattice_point
from raysim.kernels.random_numbers import ZERO_STEP, split_word

SAMPLES = 2_000_000
KEY = split_word(20_261_125)


@kernel
def _fill(stream, first, key0, key1, out):
    for batch in range(out.shape[0]):
        for i in range(out.shape[1]):
            point = lattice_point(np.uint64(batch), stream, first + i, ZERO_STEP, key0, key1)
            out[batch, i, 0], out[batch, i, 1], out[batch, i, 2], out[batch, i, 3] = point


def points(batches, places, stream=7, first=0):
    """Points (batches, places, 4)."""
    out = np.empty((batches, places, 4))
    _fill(np.uint64(stream), first, *KEY, out)
    return out


def test_steps_are_powers_of_the_golden_ratio_of_four_dimensions():
    golden = 1.0 / STEP_0
    assert golden**5 == pytest.approx(golden + 1.0, abs=1e-12)
    assert pytest.approx([STEP_0**k for k in (2, 3, 4)], rel=1e-15) == [STEP_1, STEP_2, STEP_3]


def test_every_place_is_uniform_over_the_batches():
    for place in (0, 1, 1_000_003):
        found = points(SAMPLES, 1, first=place)[:, 0]
        assert ((found > 0.0) & (found < 1.0)).all()
        for column in found.T:
            assert fits(np.histogram(column, 20, (0.0, 1.0))[0], np.full(20, 0.05))


def test_batches_and_streams_have_shifts_of_their_own():
    first = points(200, 1)[:, 0]
    other = points(200, 1, stream=8)[:, 0]
    assert len(np.unique(first)) == first.size
    assert np.abs(np.corrcoef(first[:, 0], other[:, 0])[0, 1]) < 0.3
    assert np.abs(np.corrcoef(first[:-1, 1], first[1:, 1])[0, 1]) < 0.3


@pytest.mark.parametrize("dimensions", [(0, 1), (2, 3), (0, 1, 2, 3)])
def test_means_are_unbiased_and_scatter_far_less_than_those_of_independent_numbers(dimensions):
    batches, places = 300, 64
    found = points(batches, places)[..., list(dimensions)]
    inside = (np.square(found).sum(axis=-1) < 0.6).mean(axis=1)
    random = np.random.default_rng(4).random((200_000, len(dimensions)))
    share = (np.square(random).sum(axis=1) < 0.6).mean()
    error = inside.std(ddof=1) / np.sqrt(batches)
    truth_error = np.sqrt(share * (1.0 - share) / len(random))
    assert abs(inside.mean() - share) < 4.0 * np.hypot(error, truth_error)
    assert error < 0.7 * np.sqrt(share * (1.0 - share) / places / batches)


def test_one_shift_for_all_batches_would_not_do():
    # The planted error: without shifts of their own, batches would agree and claim no error.
    same = np.array([points(1, 64)[0] for _ in range(4)])
    assert np.square(same).sum(axis=-1).mean(axis=1).std() == 0.0
    assert np.square(points(4, 64)).sum(axis=-1).mean(axis=1).std() > 0.0
