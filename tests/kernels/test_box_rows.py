"""Boxes of eight numbers: the vector instruction says what the plain loop says, bit for bit."""

import numpy as np

from raysim.kernels.bounds import (
    BOX,
    MINUS_HIGH,
    empty,
    enlarge,
    enlarge_one_by_one,
    half_area,
)
from raysim.kernels.compile import kernel


@kernel
def enlarge_all(boxes, others):
    """Enlarge row by row, from within a kernel."""
    for i in range(boxes.shape[0]):
        enlarge(boxes, i, others, i)


def rows(low, high):
    """Boxes in rows of eight."""
    boxes = np.zeros((len(low), BOX), np.float32)
    boxes[:, :3], boxes[:, MINUS_HIGH : MINUS_HIGH + 3] = low, -high
    return boxes


def test_a_box_enlarged_holds_both():
    random = np.random.default_rng(1)
    low = random.integers(-4, 5, (2, 500, 3)).astype(np.float32)
    high = low + random.integers(0, 4, low.shape).astype(np.float32)
    boxes = rows(low[0], high[0])
    enlarge_all(boxes, rows(low[1], high[1]))
    assert (boxes == rows(low.min(axis=0), high.max(axis=0))).all()


def test_awkward_numbers_are_those_of_the_plain_loop():
    random = np.random.default_rng(2)
    values = np.array([-np.inf, -1.0, 0.0, 1e-45, 1.0, 3.4e38, np.inf, np.nan], np.float32)
    boxes, others = random.choice(values, (2, 2_000, BOX))
    plain = boxes.copy()
    for i in range(len(plain)):
        enlarge_one_by_one(plain, i, others, i)
    before = boxes.copy()
    enlarge_all(boxes, others)
    assert np.array_equal(boxes, plain, equal_nan=True)
    assert (np.isnan(boxes) == (np.isnan(before) & np.isnan(others))).all()


def test_a_box_that_held_nothing_becomes_the_other_one():
    one = rows(np.array([[1.0, 2.0, 3.0]]), np.array([[2.0, 4.0, 7.0]]))
    nothing = np.zeros((1, BOX), np.float32)
    empty(nothing, 0)
    assert not np.isfinite(half_area(nothing, 0))
    enlarge_all(nothing, one)
    assert (nothing == one).all()
    assert half_area(one, 0) == 1.0 * 2.0 + 2.0 * 4.0 + 4.0 * 1.0
