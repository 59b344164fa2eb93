"""A long channel with mirror sides between diffuse ends: specular exchange factors.

Light that one end sends to the other by way of the sides comes from the images of that end: the
exchange factor is the sum over images of rho^(reflections) times the view factor of the image
(Siegel and Howell, Thermal Radiation Heat Transfer, ch. on specular surfaces). Unfolded, an end is
a plane of squares, whose factors are closed forms; light never turns back on the way, so no end
sees itself. The lamp stands in the middle; its direct light on the ends comes from `images.py`.
"""

from functools import cache

import numpy as np
import pytest
from agreement import agrees, all_agree
from built_scenes import BLACK, LOSSLESS, WALLS, Lamp, Piece, box_walls, scene_of, surface
from closed_forms import parallel_rectangles
from images import image_place, image_power
from measuring import DEGREES, forward_blocks, mean_and_error
from radiosity import wall_patches

SIZE = (0.2, 1.0, 0.2)  # ends are the front and back walls, 5 widths apart
RADIUS, WATTS = 2e-4, 4.9
TUBE = (0.1, 0.1, 0.44, 0.56)  # x, z, y from, y to
SIDES, ENDS = 0.8, 0.85  # mirrors; diffuse ends
PATCHES = 4  # along each edge of an end


def exchange_factor(p, q, reflectance):
    """Specular exchange factor from patch p of one end to patch q of the other."""
    total = 0.0
    reach = int(np.ceil(np.log(1e-5) / np.log(reflectance))) if reflectance < 1.0 else 100
    for mx in range(-reach, reach + 1):
        for mz in range(-(reach - abs(mx)), reach - abs(mx) + 1):
            x = np.sort(image_place(mx, q[:, 0], SIZE[0]))
            z = np.sort(image_place(mz, q[:, 2], SIZE[2]))
            factor = parallel_rectangles(p[:, 0], p[:, 2], x, z, SIZE[1])
            total += reflectance ** (abs(mx) + abs(mz)) * factor
    return total


@cache
def end_factors(n):
    """Exchange factors between the n x n patches of the two ends, (from, to)."""
    p, q = wall_patches(SIZE, n).reshape(6, n * n, 2, 3)[2:4]
    reach = int(np.ceil(np.log(1e-4) / np.log(SIDES)))
    p_x, p_z = (np.moveaxis(p[:, None, :, k], 2, 0) for k in (0, 2))
    total = np.zeros((n * n, n * n))
    for mx in range(-reach, reach + 1):
        for mz in range(-(reach - abs(mx)), reach - abs(mx) + 1):
            x = np.sort(np.moveaxis(image_place(mx, q[None, :, :, 0], SIZE[0]), 2, 0), axis=0)
            z = np.sort(np.moveaxis(image_place(mz, q[None, :, :, 2], SIZE[2]), 2, 0), axis=0)
            factor = parallel_rectangles(p_x, p_z, x, z, SIZE[1])
            total += SIDES ** (abs(mx) + abs(mz)) * factor
    return total


@cache
def solved(n):
    """Power (W) on the two ends: direct and by mirrors, and all of it with diffuse ends."""

    def side(axis, end, cosine):
        return SIDES if axis != 1 else 0.0

    brightest = np.array([[SIDES] * 2, [0.0] * 2, [SIDES] * 2])
    patches = wall_patches(SIZE, n).reshape(6, n * n, 2, 3)
    direct = np.array(
        [
            [
                image_power(SIZE, side, brightest, TUBE, WATTS, patch, (1, end))
                for patch in patches[2 + end]
            ]
            for end in range(2)
        ]
    )
    there = end_factors(n)
    size = n * n
    pair = np.zeros((2 * size, 2 * size))
    pair[size:, :size], pair[:size, size:] = ENDS * there.T, ENDS * there
    arrived = np.linalg.solve(np.eye(2 * size) - pair, direct.ravel())
    return direct.sum(axis=1), arrived.reshape(2, size).sum(axis=1)


def traced(photons, ends):
    """Power (W) on front and back end by blocks of photons, (blocks, cases, 2)."""
    walls = box_walls((0.0, 0.0, 0.0), SIZE)
    mirrors = surface(SIDES, specular=1.0)
    pieces = [Piece(walls[n], ends if n in ("front", "back") else mirrors) for n in WALLS]
    x, z, y0, y1 = TUBE
    lamp = Lamp((((x, y0, z), (x, y1, z), RADIUS),), WATTS, LOSSLESS)
    groups = np.array([2, 2, 2, 2, 0, 0, 1, 1, 2, 2, 2, 2])
    return forward_blocks(scene_of(pieces, [lamp]), photons, 61, groups)[:, :, 0, :2, 0]


FORMS = [(3_000_000, 0.02), pytest.param((20_000_000, 0.01), marks=pytest.mark.slow)]


@pytest.fixture(scope="module", params=FORMS, ids=("short", "long"))
def blocks(request):
    """Power on the ends, black, and diffuse with two reflectances; and what is caught."""
    photons, catches = request.param
    return traced(photons, surface(0.0, ENDS, 0.9)), catches


def test_the_factor_is_one_between_perfect_mirrors():
    # Nothing is lost on the way: the sum over all images of the far end is the whole half space.
    p, q = wall_patches(SIZE, 1)[2:4]
    assert exchange_factor(p, q, 1.0) == pytest.approx(1.0, abs=0.008)  # up to 100 widths off
    assert exchange_factor(p, q, 1e-9) == pytest.approx(
        parallel_rectangles((0, 0.2), (0, 0.2), (0, 0.2), (0, 0.2), 1.0), rel=1e-6
    )


def test_the_solve_has_converged():
    coarse, fine = solved(2)[1], solved(PATCHES)[1]
    assert abs(coarse / fine - 1.0).max() < 0.001


def test_direct_light_reaches_the_ends_by_the_mirrors(blocks):
    mean, error = mean_and_error(blocks[0][:, 0])
    assert all_agree(mean, error, solved(PATCHES)[0], blocks[1], DEGREES)


def test_diffuse_ends_exchange_light_by_the_mirrors(blocks):
    mean, error = mean_and_error(blocks[0][:, 1].sum(axis=1))
    assert agrees(mean, error, solved(PATCHES)[1].sum(), blocks[1], DEGREES)
    # The exchanged light alone, in which the factor stands as such.
    direct, arrived = solved(PATCHES)
    mean, error = mean_and_error((blocks[0][:, 1] - blocks[0][:, 0]).sum(axis=1))
    assert agrees(mean, error, (arrived - direct).sum(), 2.0 * blocks[1], DEGREES)


def test_diffuse_sides_in_place_of_mirrors_are_seen(blocks):
    walls = box_walls((0.0, 0.0, 0.0), SIZE)
    dull = surface(SIDES, specular=0.97)
    pieces = [Piece(walls[n], BLACK if n in ("front", "back") else dull) for n in WALLS]
    x, z, y0, y1 = TUBE
    lamp = Lamp((((x, y0, z), (x, y1, z), RADIUS),), WATTS, LOSSLESS)
    groups = np.array([1, 1, 1, 1, 0, 0, 0, 0, 1, 1, 1, 1])
    wrong = forward_blocks(scene_of(pieces, [lamp]), 2_000_000, 62, groups)[:, 1, 0, 0, 0]
    assert not agrees(*mean_and_error(wrong), solved(PATCHES)[0].sum(), 0.02, DEGREES)
