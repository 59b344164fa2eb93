"""Directions after a hit, in tilted frames: chi-square of diffuse and mixed, mirror exact."""

import numpy as np
import pytest
from agreement import fits

from raysim.kernels.compile import kernel
from raysim.kernels.history import scattered_direction
from raysim.kernels.surfaces import REFLECTED, TRANSMITTED

SAMPLES = 3_000_000


@kernel
def _scatter(kind, numbers, d, n, way, specular, u, out, mirror):
    for i in range(len(u)):
        out[i, 0], out[i, 1], out[i, 2], mirror[i] = scattered_direction(
            kind, numbers, 0, d[0], d[1], d[2], n[0], n[1], n[2],
            way, specular, u[i, 0], u[i, 1], u[i, 2],
        )  # fmt: skip


def scattered(normal, arriving, way, specular, seed):
    """Directions (samples, 3) after hits, and which of them are mirror reflections."""
    out, mirror = np.empty((SAMPLES, 3)), np.zeros(SAMPLES, bool)
    u = np.random.default_rng(seed).random((SAMPLES, 3))
    _scatter(
        np.zeros(1, np.int32), np.zeros((1, 4)), arriving, normal, way, specular, u, out, mirror
    )
    assert np.abs(np.linalg.norm(out, axis=1) - 1.0).max() < 1e-12
    return out, mirror


def frame(normal):
    """Two unit vectors at right angles to a normal, the first in the plane of x unless along it."""
    other = np.eye(3)[np.argmin(np.abs(normal))]
    first = np.cross(normal, other)
    first /= np.linalg.norm(first)
    return first, np.cross(normal, first)


def lambert_cells(directions, normal):
    """Counts in a grid of cosine squared (12) and turn (16): all alike after Lambert's law."""
    first, second = frame(normal)
    cosine = directions @ normal
    assert (cosine >= 0.0).all()
    turn = np.arctan2(directions @ second, directions @ first)
    return np.histogram2d(cosine**2, turn, (12, 16), ((0.0, 1.0), (-np.pi, np.pi)))[0]


NORMALS = [(0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.6, -0.64, 0.48), (-1.0, 0.0, 0.0)]
EVEN = np.full(12 * 16, 1.0 / (12 * 16))


@pytest.mark.parametrize("normal", NORMALS)
@pytest.mark.parametrize("way", [REFLECTED, TRANSMITTED], ids=("reflected", "transmitted"))
def test_diffuse_light_follows_lambert_in_any_frame(normal, way):
    normal = np.array(normal)
    first, _ = frame(normal)
    arriving = 0.8 * first - 0.6 * normal
    directions, mirror = scattered(normal, arriving, way, 0.0, 1)
    assert not mirror.any()
    leaving = normal if way == REFLECTED else -normal  # a sheet sends it on to its other side
    assert fits(lambert_cells(directions, leaving), EVEN)


@pytest.mark.parametrize("normal", NORMALS)
def test_mixed_light_is_part_mirror_part_lambert(normal):
    normal = np.array(normal)
    first, second = frame(normal)
    arriving = 0.48 * first + 0.64 * second - 0.6 * normal
    directions, mirror = scattered(normal, arriving, REFLECTED, 0.3, 2)
    assert fits([mirror.sum(), (~mirror).sum()], [0.3, 0.7])
    image = arriving - 2.0 * (arriving @ normal) * normal
    assert np.abs(directions[mirror] - image).max() < 1e-12
    assert fits(lambert_cells(directions[~mirror], normal), EVEN)


def test_a_transmitting_sheet_has_no_mirror_image_behind_it():
    normal = np.array([0.0, 0.0, 1.0])
    directions, mirror = scattered(normal, np.array([0.6, 0.0, -0.8]), TRANSMITTED, 1.0, 3)
    assert not mirror.any()
    assert fits(lambert_cells(directions, -normal), EVEN)
