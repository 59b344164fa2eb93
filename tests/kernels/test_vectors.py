"""Local frames and mirror directions."""

import numpy as np
import pytest

from raysim.kernels.vectors import dot, from_local, mirrored, normalised, tangents

AWKWARD = [
    (0.0, 0.0, 1.0),
    (0.0, 0.0, -1.0),
    (0.0, -0.0, -1.0),
    (1.0, 0.0, 0.0),
    (1.0, 0.0, -0.0),
    (0.0, -1.0, -0.0),
    (1e-9, 0.0, -1.0),
    (0.6, -0.8, 1e-300),
]


def unit_vectors(count=500):
    """Awkward and random unit vectors."""
    random = np.random.default_rng(1).normal(size=(count, 3))
    return [*AWKWARD, *(random / np.linalg.norm(random, axis=1)[:, None])]


def test_frames_are_orthonormal_and_right_handed():
    for n in unit_vectors():
        frame = np.array([*tangents(*n), *n]).reshape(3, 3)
        assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-14)
        assert np.linalg.det(frame) == pytest.approx(1.0, abs=1e-14)
        assert from_local(0.0, 0.0, 1.0, *n) == pytest.approx(tuple(n), abs=1e-15)
        assert from_local(0.3, -0.5, 0.2, *n) == pytest.approx(
            tuple(np.array([0.3, -0.5, 0.2]) @ frame), abs=1e-14
        )


def test_mirror_turns_only_the_part_along_the_normal():
    for n, d in zip(unit_vectors(), unit_vectors()[::-1], strict=True):
        r = np.array(mirrored(*d, *n))
        assert np.dot(r, n) == pytest.approx(-np.dot(d, n), abs=1e-14)
        assert np.cross(r, n) == pytest.approx(np.cross(d, n), abs=1e-14)
        assert np.linalg.norm(r) == pytest.approx(1.0, abs=1e-14)


def test_products_and_lengths():
    assert dot(1.0, 2.0, 3.0, -4.0, 5.0, 6.0) == 24.0
    assert normalised(3.0, 0.0, -4.0) == pytest.approx((0.6, 0.0, -0.8), rel=1e-15)
