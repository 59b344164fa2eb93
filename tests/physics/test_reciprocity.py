"""Photons from the lamps and paths from the faces must say the same.

The two estimators share surfaces and intersections but neither emission, weights nor sums: photons
are counted, paths are weighed. Helmholtz reciprocity makes their expectations equal.

Where the first case is black, `case 1 - case 0` is the reflected light alone: a 1 % error in any
material is an error of 1 % or more of it.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from agreement import agrees, all_agree
from built_scenes import (
    LINING,
    LOSSLESS,
    ROOM_POWER,
    SHEET,
    TUBE_SURFACE,
    busy_scene,
    room,
    sheet_in_room,
    smooth,
    surface,
)
from measuring import DEGREES, adjoint_blocks, forward_blocks, mean_and_error

from raysim.scene.triangles import SceneTriangles
from raysim.transport.starts import Start

TWIN = (((0.1, 0.05, 0.2), (0.1, 0.35, 0.2), 0.04), ((0.2, 0.05, 0.2), (0.2, 0.35, 0.2), 0.04))


@dataclass(frozen=True)
class Case:
    """Reflected (or transmitted) light in one scene.

    `truth` in W is exact where there is a number; `sensitivity` is d ln(it) / d ln(property).
    """

    scene: SceneTriangles
    truth: float | None
    sensitivity: float
    faces: tuple = tuple(range(12))
    side: int = 0


# In a closed room whose only absorber keeps 1 - rho of what it meets, it is met 1 / (1 - rho)
# times: light that comes back is P rho / (1 - rho), of logarithmic derivative 1 / (1 - rho). A
# black sheet that transmits t is met from below t + t^3 + ... = t / (1 - t^2) times.
ONE_MATERIAL = {
    "diffuse": Case(room(surface(0.0, 0.8, 0.9)), 4.0 * ROOM_POWER, 5.0),
    "mixed": Case(room(surface(0.0, 0.8, 0.89, specular=0.75)), 4.0 * ROOM_POWER, 5.0),
    "mirror": Case(room(surface(0.0, 0.8, 0.9, specular=1.0)), 4.0 * ROOM_POWER, 5.0),
    "twin tubes": Case(room(LOSSLESS, TWIN, surface(0.0, 0.8, 0.9)), None, 5.0),
    "mirrored tubes": Case(room(LOSSLESS, TWIN, surface(0.0, 0.8, 0.9, specular=1.0)), None, 5.0),
    "sheet, back": Case(
        sheet_in_room(surface(0.0, 0.8, 0.9)), 4.0 * ROOM_POWER, 5.0, faces=(12, 13)
    ),
    "sheet, through": Case(
        sheet_in_room(surface(0.0, transmittance=(0.0, 0.8, 0.9))),
        0.8 / 0.36 * ROOM_POWER,
        1.64 / 0.36,
        faces=(12, 13),
        side=1,
    ),
}


def photon_estimate(scene, faces, side, photons, dark_case=True):
    """Power (W) that photons bring to faces taken together: mean and error.

    `dark_case` says that case 0 is without the light in question and is to be taken off.
    """
    group = np.where(np.isin(np.arange(len(scene.areas)), faces), 0, 1)
    blocks = forward_blocks(scene, photons, 11, group)[:, :, 0, 0, side]
    return mean_and_error(blocks[:, 1] - dark_case * blocks[:, 0])


def path_estimate(scene, faces, side, paths, dark_case=True):
    """The same by backward paths."""
    target = Start(5, faces, (side,) * len(faces))
    blocks = adjoint_blocks(scene, [target], paths, 12)[:, :, 0, 0]
    return mean_and_error((blocks[:, 1] - dark_case * blocks[:, 0]) * scene.areas[[*faces]].sum())


def same(first, second, catches):
    """Whether two means with errors agree."""
    error = np.hypot(first[1], second[1])
    return agrees(first[0], error, second[0], catches, DEGREES)


COUNT = 75_000  # photons, and as many paths: each test asks whether they are enough


@cache
def photons_by(material):
    """What photons bring in the scene of one material: mean and error, W."""
    case = ONE_MATERIAL[material]
    return photon_estimate(case.scene, case.faces, case.side, COUNT)


@pytest.mark.parametrize(
    "material",
    [pytest.param(m, marks=pytest.mark.slow) if m == "mirrored tubes" else m for m in ONE_MATERIAL],
)
def test_light_that_one_material_sends_on(material):
    case = ONE_MATERIAL[material]
    catches = 0.01 * case.sensitivity  # of the light: 1 % of the material's number
    ahead = photons_by(material)
    back = path_estimate(case.scene, case.faces, case.side, COUNT)
    assert same(ahead, back, catches)
    if case.truth is not None:
        assert agrees(*ahead, case.truth, catches, DEGREES)
        assert agrees(*back, case.truth, catches, DEGREES)


# Index, extinction, hemispherical mean R at 253.7 nm, from the Fresnel equations: aluminium (Rakic
# 1995), titanium dioxide (Siefke 2016). All light on the walls is about P / (1 - R), whose
# logarithmic derivative is R / (1 - R).
SMOOTH = {"aluminium": (0.1905, 2.9773, 0.9253), "titanium dioxide": (2.5057, 1.4988, 0.3355)}


@pytest.mark.parametrize(
    "material", ["aluminium", pytest.param("titanium dioxide", marks=pytest.mark.slow)]
)
def test_light_in_a_smooth_room(material):
    index, extinction, mean = SMOOTH[material]
    scene = room(smooth(index, extinction))
    count = 100_000 if mean > 0.9 else 3_000_000
    walls = tuple(range(12))
    ahead = photon_estimate(scene, walls, 0, count, dark_case=False)
    back = path_estimate(scene, walls, 0, count, dark_case=False)
    assert same(ahead, back, 0.01 * mean / (1.0 - mean))


# Face-sides of the mixed room, paths from each, and the errors that would be seen on a single one
# and on the sum of them all.
MIXED_ROOM = {
    "walls": ([(face, 0) for face in range(12)], 130_000, 0.13, 0.025),
    "ball": ([(face, 0) for face in range(12, 32)], 60_000, 0.7, 0.07),
    "sheets": ([(face, side) for face in range(32, 36) for side in (0, 1)], 150_000, 0.2, 0.05),
}


@pytest.fixture(scope="module")
def mixed_room():
    """A scene of everything, and where photons arrive in it.

    Diffuse, mixed, mirror and two kinds of Fresnel walls, a smooth ball, two sheets that transmit,
    a single and a twin tube.
    """
    scene = busy_scene(LINING, TUBE_SURFACE, SHEET, detail=1)
    return scene, forward_blocks(scene, 3_000_000, 21)


@pytest.mark.parametrize("part", MIXED_ROOM)
def test_every_face_of_a_mixed_room_by_lamp_and_case(mixed_room, part):
    scene, forward = mixed_room
    sides, paths, catches, catches_in_sum = MIXED_ROOM[part]
    targets = [Start(1_000 + i, (f,), (s,)) for i, (f, s) in enumerate(sides)]
    backward = adjoint_blocks(scene, targets, paths, 22)
    faces, which = np.array(sides).T
    areas = scene.areas[faces]
    ahead = forward[..., faces, which] / areas
    for detect, weights in ((catches, np.eye(len(sides))), (catches_in_sum, areas[:, None])):
        (mean, error), (other, other_error) = (
            mean_and_error(blocks @ weights) for blocks in (ahead, backward)
        )
        assert all_agree(mean, np.hypot(error, other_error), other, detect, DEGREES)
