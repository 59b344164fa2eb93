"""Swap lamp and receiver: what A sends to B is what B sends to A (Helmholtz reciprocity).

Two black tubes of unlike size reach from wall to wall, so that their ends see no light. For
Lambertian emitters, area A times the share of its light that B absorbs must equal the same the other
way round, whatever mirrors, diffusers, Fresnel faces and sheets stand around them. Only photons
are used: no backward path takes part.
"""

import dataclasses

import numpy as np
from agreement import agrees
from built_scenes import (
    BLACK,
    LINING,
    SHEET,
    Lamp,
    Piece,
    box_walls,
    icosphere,
    rectangle,
    scene_of,
)

from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.photons import PhotonRun

SIZE = (0.4, 0.5, 0.6)
SMALL, LARGE = 0.04, 0.07


def furnished():
    """Box of all kinds of surfaces with a ball, a sheet and the two tubes, 1 W each."""
    walls = box_walls((0.0, 0.0, 0.0), SIZE, 2)
    pieces = [Piece(wall, LINING[i % len(LINING)]) for i, wall in enumerate(walls.values())]
    pieces.append(Piece(icosphere(0.07, 2, (0.25, 0.3, 0.12))[0], LINING[-1]))
    sheet = rectangle((0.05, 0.2, 0.25), (0.3, 0.02, 0.0), (0.0, 0.0, 0.15))
    pieces.append(Piece(sheet, SHEET, two_sided=True))
    tubes = [(0.12, 0.15, SMALL), (0.38, 0.42, LARGE)]
    lamps = [Lamp((((0.0, y, z), (SIZE[0], y, z), r),), 1.0, BLACK) for y, z, r in tubes]
    return scene_of(pieces, lamps)


def test_small_to_large_is_large_to_small():
    run = PhotonRun(kernel_scene(furnished()), 71, 2)
    run.add_batches(150)
    photons, bodies = run.photons, run.bodies()
    for case in range(3):
        there, back = bodies[case, 0, -1], bodies[case, 1, -2]
        ratio = (there / photons[0] * SMALL) / (back / photons[1] * LARGE)
        error = ratio * np.sqrt(1.0 / there + 1.0 / back)
        assert agrees(ratio, error, 1.0, 0.03)
    # And it is not the tubes' view of each other that is tested: most of it has been reflected.
    direct = PhotonRun(kernel_scene(_black(furnished())), 72, 2)
    direct.add_batches(20)
    share = direct.bodies()[1, 0, -1] / direct.photons[0]
    assert share < 0.5 * bodies[1, 0, -1] / photons[0]


def _black(scene):
    """The scene with every surface black."""
    return dataclasses.replace(scene, surfaces=(BLACK,) * len(scene.surfaces))
