"""Photons from the lamps and paths from the faces must say the same.

The two estimators share surfaces and intersections but neither emission, weights nor sums: photons
are counted, paths are weighed. Helmholtz reciprocity makes their expectations equal.

Where the first case is black, `case 1 - case 0` is the reflected light alone, and it is proportional
at least to the reflectance under test: a 1 % error in any material is an error of 1 % or more.
"""

import numpy as np
import pytest
from agreement import all_agree, z_limit
from built_scenes import (
    BLACK,
    Lamp,
    Piece,
    box,
    box_walls,
    icosphere,
    rectangle,
    scene_of,
    smooth,
    surface,
)
from measuring import DEGREES, adjoint_blocks, forward_blocks, mean_and_error
from raysim.tracing import Target

# Wide tubes in narrow rooms: backward paths then meet them often, which keeps the noise low.
WIDE = (((0.2, 0.05, 0.2), (0.2, 0.35, 0.2), 0.08),)
TWIN = (((0.05, 0.02, 0.05), (0.05, 0.28, 0.05), 0.04), ((0.15, 0.02, 0.05), (0.15, 0.28, 0.05), 0.04))
TIGHT = (0.2, 0.3, 0.1)
UNDER = rectangle((0.0, 0.0, 0.1), (0.4, 0.0, 0.0), (0.0, 0.4, 0.0))


def lined(lining, tubes=WIDE, tube_surface=BLACK, size=(0.4, 0.4, 0.4), more=()):
    """Closed box of one lining with one lamp and further pieces; the first two faces are target."""
    walls = box_walls(0.0, size)
    pieces = [Piece(np.concatenate([walls["floor"], walls["ceiling"]]), lining)]
    pieces += [Piece(walls[name], lining) for name in ("left", "right", "front", "back")]
    return scene_of([*pieces, *more], [Lamp(tubes, 4.9, tube_surface)])


ONE_MATERIAL = {
    "diffuse": lined(surface(0.0, 0.7, 0.8)),
    "mixed": lined(surface(0.0, 0.75, 0.89, specular=0.75)),
    "mirror": lined(surface(0.0, 0.8, 0.9, specular=1.0)),
    "tubes of a lamp": lined(BLACK, TWIN, surface(0.0, 0.8, 0.9), TIGHT),
    "mirrored tubes": lined(BLACK, TWIN, surface(0.0, 0.9, 0.95, specular=1.0), TIGHT),
    "sheet, back": lined(BLACK, more=[Piece(UNDER, surface(0.0, 0.9, 0.95), True)]),
    "sheet, through": lined(
        BLACK, more=[Piece(UNDER, surface(0.0, transmittance=(0.0, 0.9, 0.95)), True)]
    ),
}


def both_estimates(scene, faces, side, photons, paths, altered=None, reflected_only=True):
    """Power (W) on faces taken together, forward and backward: two pairs of mean and error.

    `altered` takes the place of the scene for the backward paths.
    """
    group = np.where(np.isin(np.arange(len(scene.areas)), faces), 0, 1)
    forward = forward_blocks(scene, photons, 11, group)[:, :, 0, 0, side]
    target = Target(5, tuple(faces), (side,) * len(faces))
    backward = adjoint_blocks(altered or scene, [target], paths, 12)[:, :, 0, 0]
    backward = backward * scene.areas[faces].sum()
    estimates = []
    for blocks in (forward, backward):
        dark = blocks[:, 0] if reflected_only else 0.0
        estimates.append(mean_and_error(blocks[:, 1] - dark))
    return estimates


def same(forward, backward, catches=0.01):
    """Whether two means with errors agree."""
    error = np.hypot(forward[1], backward[1])
    return all_agree(forward[0], error, backward[0], catches=catches, degrees=DEGREES)


@pytest.mark.parametrize("material", ONE_MATERIAL)
def test_reflected_light_of_one_material(material):
    scene = ONE_MATERIAL[material]
    assert same(*both_estimates(scene, np.arange(12), 0, 3_000_000, 1_500_000))
