"""A diffuse box with six unlike walls, against a linear solve of the radiosity equations.

Direct light on each patch comes from the closed form of the tube, exchange between patches from
closed forms of view factors; radiosity is taken as constant over a patch, and what that costs is
taken off by halving the patches (Richardson). The tube is thin (1e-4 of the area of the walls) and
absorbs nothing, so that it is no obstacle worth counting.

Source: Gebhart, Heat Transfer, 2nd ed. (1971); Incropera, ch. 13.
"""

import numpy as np
import pytest
from agreement import all_agree
from built_scenes import LOSSLESS, WALLS, Lamp, Piece, box_walls, scene_of, surface
from measuring import DEGREES, forward_blocks, mean_and_error
from radiosity import arriving, direct_power, patch_areas, view_factors, wall_patches

SIZE = (0.3, 0.4, 0.5)
RADIUS, WATTS = 2e-4, 4.9
TUBE = (0.11, 0.3, 0.08, 0.24)  # x, z, y from, y to: off the middle in all three
# Walls left, right, front, back, floor, ceiling in the three cases.
RHO = np.array(
    [
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.9, 0.2, 0.5, 0.7, 0.05, 0.8],
        [0.95, 0.6, 0.9, 0.75, 0.9, 0.97],
    ]
)


def solved(n, case, groups):
    """Power (W) on each of the groups x groups parts of every wall, patches n x n a wall."""
    areas = patch_areas(wall_patches(SIZE, n))
    direct = direct_power(SIZE, n, TUBE, RADIUS, WATTS)
    power = arriving(view_factors(SIZE, n), areas, np.repeat(RHO[case], n * n), direct)
    step = n // groups
    power = power.reshape(6, groups, step, groups, step).sum(axis=(2, 4))
    return power.ravel()


def truth(case, groups=2):
    """Limit of fine patches, W; and how far the finer solve was from it."""
    coarse, fine = solved(8, case, groups), solved(16, case, groups)
    limit = fine + (fine - coarse) / 3.0  # error of piecewise constants falls as h^2
    return limit, np.abs(limit / fine - 1.0).max()


# Photons, and the errors caught on quarters (1 to 14 % of the light) and on whole walls.
FORMS = [(2_500_000, 0.045, 0.02), pytest.param((12_000_000, 0.02, 0.01), marks=pytest.mark.slow)]


@pytest.fixture(scope="module", params=FORMS, ids=("short", "long"))
def traced(request):
    """Power (W) on the quarters of every wall: mean and error, (cases, 24); and what is caught."""
    photons, *catches = request.param
    walls = box_walls((0.0, 0.0, 0.0), SIZE, 2)
    pieces = [Piece(walls[name], surface(*RHO[:, i])) for i, name in enumerate(WALLS)]
    x, z, y0, y1 = TUBE
    lamp = Lamp((((x, y0, z), (x, y1, z), RADIUS),), WATTS, LOSSLESS)
    quarters = np.repeat(np.arange(24), 2)
    blocks = forward_blocks(scene_of(pieces, [lamp]), photons, 41, quarters)[:, :, 0, :, 0]
    return *mean_and_error(blocks), *catches


def by_wall(mean, error):
    """Sums over the quarters of each wall and their errors."""
    return mean.reshape(6, 4).sum(axis=1), np.sqrt((error.reshape(6, 4) ** 2).sum(axis=1))


def test_the_direct_light_of_the_closed_forms_is_all_of_it():
    # Up to the order of radius / length, 2e-3: the end walls see a line, not a tube.
    assert direct_power(SIZE, 8, TUBE, RADIUS, WATTS).sum() == pytest.approx(WATTS, rel=3e-4)


def test_every_patch_sends_its_light_somewhere():
    assert view_factors(SIZE, 8).sum(axis=1) == pytest.approx(1.0, abs=1e-12)


def test_the_solve_has_converged():
    for case in (1, 2):
        assert truth(case)[1] < 0.002


@pytest.mark.parametrize("case", range(3), ids=("black", "unlike", "bright"))
def test_every_quarter_of_six_unlike_walls(traced, case):
    mean, error, catches, catches_on_walls = traced
    limit, _ = truth(case)
    assert all_agree(mean[case], error[case], limit, catches, DEGREES)
    walls, wall_error = by_wall(mean[case], error[case])
    assert all_agree(walls, wall_error, limit.reshape(6, 4).sum(axis=1), catches_on_walls, DEGREES)


def test_one_wall_one_per_cent_darker_is_seen(traced):
    # The left wall 0.9405 in place of 0.95; 5 % less of its own light goes on.
    mean, error, _, catches = traced
    rho = np.repeat(RHO[2] * [0.99, 1.0, 1.0, 1.0, 1.0, 1.0], 64)
    direct = direct_power(SIZE, 8, TUBE, RADIUS, WATTS)
    areas = patch_areas(wall_patches(SIZE, 8))
    wrong = arriving(view_factors(SIZE, 8), areas, rho, direct).reshape(6, -1).sum(axis=1)
    assert not all_agree(*by_wall(mean[2], error[2]), wrong, catches, DEGREES)
