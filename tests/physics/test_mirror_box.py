"""A box of mirrors and a pair of parallel mirrors, against the sum over the images of the lamp.

Up to 400 images in a row and 70,000 in space. The tube is thin, 2e-4 m in a box of half a metre,
and absorbs nothing; that it stands in the way of its own images scatters less than 1e-3 of them.

Source: image method of geometrical optics; see `images.py`.
"""

from functools import cache

import numpy as np
import pytest
from agreement import all_agree
from built_scenes import BLACK, LOSSLESS, WALLS, Lamp, Piece, box_walls, scene_of, smooth, surface
from closed_forms import fresnel
from images import image_power
from measuring import DEGREES, forward_blocks, mean_and_error
from radiosity import wall_patches

SIZE = np.array([0.3, 0.4, 0.5])
RADIUS, WATTS = 2e-4, 4.9
TUBE = (0.11, 0.3, 0.08, 0.24)  # x, z, y from, y to
ALUMINIUM = (0.1905, 2.9773)  # n, k at 253.7 nm, Rakic 1995


def mirror(*rho):
    """Ideal mirror; reflectances of the three cases."""
    return surface(*rho, specular=1.0)


# Walls left, right, front, back, floor, ceiling; reflectances low, expected, high.
PARALLEL = [mirror(0.5, 0.8, 0.95), mirror(0.6, 0.7, 0.95)] + [BLACK] * 4
UNLIKE = [
    mirror(0.5, 0.7, 0.75),
    mirror(0.5, 0.5, 0.75),
    mirror(0.5, 0.7, 0.75),
    mirror(0.5, 0.6, 0.75),
    mirror(0.5, 0.75, 0.75),
    mirror(0.5, 0.65, 0.75),
]
METAL = [smooth(*ALUMINIUM)] * 2 + [BLACK] * 2 + [smooth(1.5728)] * 2


def reflectances(walls, case):
    """Reflectance by axis, end and cosine; and its largest value, (3, 2)."""
    table = np.array([(s.reflectance_low, s.reflectance, s.reflectance_high)[case] for s in walls])

    def at(axis, end, cosine):
        wall = walls[2 * axis + end]
        if wall.is_fresnel:
            return fresnel(cosine, wall.refractive_index, wall.extinction)
        return table[2 * axis + end]

    # Glass at grazing incidence reflects all, but grazing light meets it seldom.
    largest = [
        0.93 if s.extinction else 0.7 if s.is_fresnel else table[i] for i, s in enumerate(walls)
    ]
    return at, np.array(largest).reshape(3, 2)


def image_sums(walls, case):
    """Power (W) on the quarters of all walls by the image method, (24,)."""
    at, largest = reflectances(walls, case)
    receivers = [divmod(q // 4, 2) for q in range(24)]  # axis and end of each quarter's wall
    return np.array(
        [
            image_power(SIZE, at, largest, TUBE, WATTS, patch, receiver)
            for patch, receiver in zip(wall_patches(SIZE, 2), receivers, strict=True)
        ]
    )


def traced(walls, photons):
    """Power (W) on all quarters of walls: mean and error, (cases, 24)."""
    corners = box_walls((0.0, 0.0, 0.0), tuple(SIZE), 2)
    pieces = [Piece(corners[name], s) for name, s in zip(WALLS, walls, strict=True)]
    x, z, y0, y1 = TUBE
    lamp = Lamp((((x, y0, z), (x, y1, z), RADIUS),), WATTS, LOSSLESS)
    groups = np.repeat(np.arange(24), 2)
    return mean_and_error(
        forward_blocks(scene_of(pieces, [lamp]), photons, 51, groups)[:, :, 0, :, 0]
    )


BOXES = {"parallel mirrors": PARALLEL, "six unlike mirrors": UNLIKE, "metal and glass": METAL}
# Photons, and the errors caught on quarters of walls and on whole walls.
FORMS = {"short": (3_000_000, 0.035, 0.017), "long": (20_000_000, 0.015, 0.007)}


@cache
def traced_once(box, form):
    """Power on the quarters of the walls by photons, traced once for all cases."""
    return traced(BOXES[box], FORMS[form][0])


@cache
def images_once(box, case):
    """Power on the quarters of the walls by images, summed once for all tests."""
    return image_sums(BOXES[box], case)


def compare(box, case, form, planted=1.0):
    """Whether photons and images agree on all quarters and on all walls."""
    _, catches, on_walls = FORMS[form]
    (mean, error), truth = traced_once(box, form), planted * images_once(box, case)
    quarters = all_agree(mean[case], error[case], truth, catches, DEGREES)
    mean, truth = mean[case].reshape(6, 4).sum(axis=1), truth.reshape(6, 4).sum(axis=1)
    error = np.sqrt((error[case].reshape(6, 4) ** 2).sum(axis=1))
    return quarters and all_agree(mean, error, truth, on_walls, DEGREES)


CASES = [(box, case) for box in BOXES for case in range(1 if box == "metal and glass" else 3)]


@pytest.mark.parametrize(("box", "case"), CASES)
def test_quarters_of_mirror_walls_show_all_images(box, case):
    assert compare(box, case, "short")


@pytest.mark.slow
@pytest.mark.parametrize(("box", "case"), CASES)
def test_quarters_of_mirror_walls_show_all_images_longer(box, case):
    assert compare(box, case, "long")


@pytest.mark.parametrize("case", [0, 2])
def test_the_images_pay_for_all_that_is_absorbed(case):
    # What arrives, less what goes on, is the power of the lamp.
    absorbed = images_once("six unlike mirrors", case).reshape(6, 4).sum(axis=1)
    absorbed *= 1.0 - np.array([(s.reflectance_low, 0.0, s.reflectance_high)[case] for s in UNLIKE])
    assert absorbed.sum() == pytest.approx(WATTS, rel=1e-4)


@pytest.mark.parametrize(
    ("form", "by"), [("short", 0.03), pytest.param("long", 0.01, marks=pytest.mark.slow)]
)
def test_dimmer_mirrors_are_seen(form, by):
    # The planted error: both mirrors of the pair reflect a little less.
    dim = [mirror(*((1.0 - by) * np.array(r))) for r in ((0.5, 0.8, 0.95), (0.6, 0.7, 0.95))]
    ratio = image_sums(dim + [BLACK] * 4, 2) / images_once("parallel mirrors", 2)
    assert not compare("parallel mirrors", 2, form, planted=ratio)
