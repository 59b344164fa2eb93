"""Steps of a backward path: where it starts, which tube it looks at, and how it goes on."""

import numpy as np
import pytest
from agreement import agrees, all_agree, fits
from closed_forms import tube_irradiance

from raysim.kernels.backward import start_of_path, way_on
from raysim.kernels.compile import kernel
from raysim.kernels.direct import (
    choice_of_tubes,
    chosen_tube,
    direct_irradiance,
    seen_tube_point,
)
from raysim.kernels.hierarchy import build_tree
from raysim.kernels.records import Starts
from raysim.kernels.surfaces import ABSORBED, REFLECTED, TRANSMITTED
from raysim.kernels.traverse import new_scratch

# Two targets: one triangle, and three of areas 1 : 3 : 0.5 about each other's heads.
CORNERS = np.array(
    [
        [[0, 0, 9], [1, 0, 9], [0, 1, 9]],
        [[0, 0, 0], [1, 0, 0], [0, 2, 0]],
        [[0, 0, 1], [3, 0, 1], [0, 2, 1]],
        [[0, 0, 2], [1, 0, 2], [0, 1, 2]],
    ],
    float,
)
NORMALS = np.array([[0, 0, 1], [0, 0, 1], [0, 0, -1], [0, 0, 1]], float)
STARTS = Starts(
    first=np.array([0, 1, 4]),
    stream=np.array([1, 2], np.uint64),
    share=np.array([1.0, 1 / 4.5, 4 / 4.5, 1.0]),
    corners=CORNERS.reshape(-1, 9),
    normals=NORMALS,
    primitive=np.array([40, 41, 42, 43]),
    reads=np.zeros(2, bool),
)


@kernel
def _path_starts(starts, target, u, out):
    for i in range(len(u)):
        x, y, z, nx, ny, nz, primitive = start_of_path(starts, target, u[i, 0], u[i, 1])
        out[i, 0], out[i, 1], out[i, 2], out[i, 6] = x, y, z, primitive
        out[i, 3], out[i, 4], out[i, 5] = nx, ny, nz


def test_paths_start_evenly_over_the_area_of_a_target():
    out = np.empty((2_000_000, 7))
    _path_starts(STARTS, 1, np.random.default_rng(1).random((len(out), 2)), out)
    member = out[:, 6].astype(int) - 40
    assert np.array_equal(out[:, 3:6], NORMALS[member])
    assert np.abs(out[:, 2] - CORNERS[member, 0, 2]).max() < 1e-14
    assert fits(np.bincount(member, minlength=4)[1:], np.array([1.0, 3.0, 0.5]) / 4.5)
    # In the middle one, by strips of x: a right triangle narrows towards its tip.
    x, y = out[member == 2, :2].T
    assert (y <= 2.0 * (1.0 - x / 3.0) + 1e-12).all()
    edges = np.linspace(0.0, 3.0, 11)
    strips = np.diff(1.0 - (1.0 - edges / 3.0) ** 2)
    assert fits(np.histogram(x, edges)[0], strips)
    assert fits(np.histogram(y / (2.0 * (1.0 - x / 3.0)), 10, (0.0, 1.0))[0], np.full(10, 0.1))


def test_a_target_of_one_face_starts_there():
    out = np.empty((1_000, 7))
    _path_starts(STARTS, 0, np.random.default_rng(2).random((len(out), 2)), out)
    assert (out[:, 6] == 40).all()
    assert np.abs(out[:, 2] - 9.0).max() < 1e-14


def random_tubes(count, seed):
    """Tubes in a cube of 1 m, tilted at random."""
    random = np.random.default_rng(seed)
    axes = random.normal(size=(count, 3))
    axes /= np.linalg.norm(axes, axis=1)[:, None]
    size = random.uniform(0.05, 0.6, (count, 1)), random.uniform(0.005, 0.1, (count, 1))
    return np.hstack([random.uniform(-0.5, 0.5, (count, 3)), axes, *size])


def test_only_tubes_wholly_below_the_horizon_are_left_out():
    tubes, random = random_tubes(40, 3), np.random.default_rng(4)
    choice, below, above = np.zeros(40), 0, 0
    for _ in range(300):
        at, normal = random.uniform(-0.5, 0.5, 3), random.normal(size=3)
        normal /= np.linalg.norm(normal)
        total = choice_of_tubes(tubes, np.ones(40), *at, *normal, choice)
        assert total == pytest.approx(choice.sum(), rel=1e-12)
        # Highest point of a cylinder: the higher end, and the rim across the axis.
        ends = np.stack([tubes[:, :3], tubes[:, :3] + tubes[:, 3:6] * tubes[:, 6:7]])
        rim = tubes[:, 7] * np.sqrt(1.0 - np.minimum((tubes[:, 3:6] @ normal) ** 2, 1.0))
        highest = ((ends - at) @ normal).max(axis=0) + rim
        assert (choice[highest > 1e-12] > 0.0).all()
        below, above = below + (choice == 0.0).sum(), above + (highest > 0.0).sum()
    assert below > 1_000
    assert above > 1_000


def test_tubes_are_chosen_by_their_weights():
    choice = np.array([0.0, 2.0, 0.5, 0.0, 1.5, 0.0])
    u = np.random.default_rng(5).random(600_000)
    picked = np.array([chosen_tube(choice, 4.0, value) for value in u[:50_000]])
    expected = choice[picked[:, 0].astype(int)] / 4.0
    assert np.array_equal(picked[:, 1], expected)
    counts = np.bincount(picked[:, 0].astype(int), minlength=6)
    assert (counts[choice == 0.0] == 0).all()
    assert fits(counts[choice > 0.0], choice[choice > 0.0] / 4.0, catches=0.05)
    assert chosen_tube(choice, 4.0, 1.0 - 2.0**-33) == (4, 0.375)
    assert chosen_tube(choice, 4.0, 2.0**-33) == (1, 0.5)


def test_points_chosen_on_a_tube_face_the_viewer():
    random = np.random.default_rng(6)
    for tube in random_tubes(20, 7):
        for _ in range(50):
            viewer, u = random.uniform(-1.0, 1.0, 3), random.random(2)
            *point, nx, ny, nz, density = seen_tube_point(tube[None], 0, *viewer, *u)
            way = viewer - tube[:3]
            across = way - (way @ tube[3:6]) * tube[3:6]
            if np.linalg.norm(across) <= tube[7]:
                assert density == 0.0
                continue
            point, normal = np.array(point), np.array([nx, ny, nz])
            along = (point - tube[:3]) @ tube[3:6]
            assert -1e-12 < along < tube[6] + 1e-12
            assert point == pytest.approx(
                tube[:3] + along * tube[3:6] + tube[7] * normal, abs=1e-12
            )
            assert normal @ tube[3:6] == pytest.approx(0.0, abs=1e-12)
            assert (viewer - point) @ normal >= -1e-12
            assert density > 0.0


@kernel(allocates=True)
def _direct(nodes, blocks, tubes, exitance, at, facing, u, choice, out):
    stack, distances = new_scratch()
    (x, y, z), (nx, ny, nz) = at, facing
    total = choice_of_tubes(tubes, exitance, x, y, z, nx, ny, nz, choice)
    for i in range(len(u)):
        value, tube, _ = direct_irradiance(
            nodes, blocks, tubes, tubes, 0, exitance, x, y, z, nx, ny, nz, -1,
            u[i, 0], u[i, 1], u[i, 2], total, choice, stack, distances,
        )  # fmt: skip
        out[tube, 0] += value
        out[tube, 1] += value * value


def test_direct_light_is_told_apart_by_tube():
    # Two parallel tubes on either side of a point; each with its own exitance and distance.
    radius, length, distances = 0.01, 0.4, np.array([0.1, 0.25])
    tubes = np.array([[x, 0.0, 0.0, 0.0, 0.0, 1.0, length, radius] for x in (-0.1, 0.25)])
    exitance = np.array([50.0, 200.0])
    nodes, blocks, _ = build_tree(np.zeros((0, 3, 3)))
    number, facing = 1_200_000, np.array([0.0, 1.0, 0.0])
    out = np.zeros((2, 2))
    u = np.random.default_rng(8).random((number, 3))
    at = np.array([0.0, -0.1, 0.3])  # below both; the normal makes an angle with each
    _direct(nodes, blocks, tubes, exitance, at, facing, u, np.zeros(2), out)
    mean = out[:, 0] / number
    error = np.sqrt((out[:, 1] / number - mean**2) / number)
    distances = np.hypot(distances, 0.1)
    watts = exitance * 2.0 * np.pi * radius * length
    truth = tube_irradiance(watts, radius, length, distances, 0.3) * 0.1 / distances
    assert all_agree(mean, error, truth)


WAYS = {
    # Reflectances and transmittances of two cases, Fresnel reflectance or -1.
    "constant": ([0.3, 0.6], [0.0, 0.0], -1.0),
    "sheet": ([0.2, 0.5], [0.1, 0.3], -1.0),
    "see-through": ([0.0, 0.0], [0.2, 0.4], -1.0),
    "smooth": ([0.9, 0.9], [0.0, 0.0], 0.25),
    "dark in one case": ([0.0, 0.4], [0.0, 0.2], -1.0),
}


@kernel(allocates=True)
def _ways(angular, reflectance, transmittance, first, u, out):
    weight = np.ones(2)
    for i in range(len(u)):
        weight[:] = 1.0
        way = way_on(angular, reflectance, transmittance, 0, first, u[i], weight)
        if way != ABSORBED:
            out[way] += weight


@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("surface", WAYS)
def test_weights_make_up_for_the_roulette(surface, first):
    # The mean weight that goes each way is the case's own reflectance and transmittance.
    back, through, angular = WAYS[surface]
    out, number = np.zeros((3, 2)), 4_000_000
    tables = np.array([back]), np.array([through])
    _ways(angular, *tables, first, np.random.default_rng(9).random(number), out)
    assert (out[ABSORBED] == 0.0).all()
    for way, expected in (
        (REFLECTED, back if angular < 0.0 else [angular] * 2),
        (TRANSMITTED, through),
    ):
        for case in range(2):
            if expected[case] == 0.0:
                assert out[way, case] == 0.0
                continue
            weight = expected[case] / max(expected)  # at the least; the first hit gives less noise
            error = np.sqrt(expected[case] * weight / number)
            assert agrees(out[way, case] / number, error, expected[case])
