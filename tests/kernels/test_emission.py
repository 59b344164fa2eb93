"""Light leaves a tilted tube evenly and after Lambert's law; normals of a tube."""

import numpy as np
import pytest
from agreement import fits

from raysim.kernels.compile import kernel
from raysim.kernels.emission import emitted_ray, mantle_point, tube_normal

START, AXIS = np.array([0.3, -1.2, 2.5]), np.array([2.0, -3.0, 6.0]) / 7.0
LENGTH, RADIUS = 0.36, 0.013
TUBES = np.array([[9.0] * 8, [*START, *AXIS, LENGTH, RADIUS]])


@kernel
def _emitted(tubes, i, u, out):
    for k in range(len(u)):
        out[k] = emitted_ray(tubes, i, u[k, 0], u[k, 1], u[k, 2], u[k, 3])


@pytest.fixture(scope="module")
def light():
    """Emitted rays in a frame of this test's own.

    Axial position, angle, cosine to the normal, turn about the normal, and distance from the axis,
    all (rays,).
    """
    out = np.empty((2_000_000, 6))
    _emitted(TUBES, 1, np.random.default_rng(1).random((len(out), 4)), out)
    way = out[:, :3] - START
    axial = way @ AXIS
    across = way - axial[:, None] * AXIS
    distance = np.linalg.norm(across, axis=1)
    normal = across / distance[:, None]
    east = np.cross(AXIS, [0.0, 0.0, 1.0])
    east /= np.linalg.norm(east)
    angle = np.arctan2(normal @ np.cross(AXIS, east), normal @ east)
    direction = out[:, 3:]
    assert np.abs(np.linalg.norm(direction, axis=1) - 1.0).max() < 1e-12
    cosine = (direction * normal).sum(axis=1)
    turn = np.arctan2((direction * np.cross(AXIS, normal)).sum(axis=1), direction @ AXIS)
    return axial, angle, cosine, turn, distance


def test_origins_lie_on_the_mantle_and_rays_leave_it(light):
    axial, _, cosine, _, distance = light
    assert np.abs(distance - RADIUS).max() < 1e-14
    assert axial.min() > 0.0
    assert axial.max() < LENGTH
    assert cosine.min() > 0.0


def test_places_are_even_over_the_mantle(light):
    counts = np.histogram2d(*light[:2], (9, 16), [(0.0, LENGTH), (-np.pi, np.pi)])[0]
    assert counts.sum() == len(light[0])
    assert fits(counts, np.full(144, 1 / 144))


def test_directions_follow_lambert(light):
    counts = np.histogram2d(*light[2:4], (9, 16), [(0.0, 1.0), (-np.pi, np.pi)])[0]
    assert counts.sum() == len(light[0])
    edges = np.linspace(0.0, 1.0, 10)
    assert fits(counts, np.outer(np.diff(edges**2), np.full(16, 1 / 16)))


@pytest.mark.parametrize("where", [0, 1])
@pytest.mark.parametrize("way", [2, 3])
def test_place_and_direction_are_independent(light, where, way):
    ranks = [(np.argsort(np.argsort(light[k])) * 10) // len(light[k]) for k in (where, way)]
    counts = np.bincount(10 * ranks[0] + ranks[1], minlength=100)
    assert fits(counts, np.full(100, 0.01))


def test_normals_of_mantle_and_ends():
    for axial, angle in ((0.1, 0.3), (0.35, 4.0), (1e-6, 1.0)):
        x, y, z, nx, ny, nz = mantle_point(TUBES, 1, axial, angle)
        got = tube_normal(TUBES, 1, x, y, z)
        assert got == pytest.approx((nx, ny, nz, True), abs=1e-9)
        assert abs(np.dot((nx, ny, nz), AXIS)) < 1e-14
        assert np.dot(np.array([x, y, z]) - START, AXIS) == pytest.approx(axial, abs=1e-14)
    inward = np.cross(AXIS, [1.0, 0.0, 0.0])
    for share in (0.0, 0.5, 0.999):
        point = START + share * RADIUS * inward / np.linalg.norm(inward)
        assert tube_normal(TUBES, 1, *point) == pytest.approx((*-AXIS, False), abs=1e-12)
        far = point + LENGTH * AXIS
        assert tube_normal(TUBES, 1, *far) == pytest.approx((*AXIS, False), abs=1e-12)
