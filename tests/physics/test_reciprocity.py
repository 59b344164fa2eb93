"""Photons from the lamps and paths from the faces must say the same.

The two estimators share surfaces and intersections but neither emission, weights nor sums: photons
are counted, paths are weighed. Helmholtz reciprocity makes their expectations equal.

Where the first case is black, `case 1 - case 0` is the reflected light alone, and it is proportional
at least to the reflectance under test: a 1 % error in any material is an error of 1 % or more.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from agreement import agrees
from built_scenes import (
    BLACK,
    LOSSLESS,
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
from raysim.scene.triangles import SceneTriangles
from raysim.tracing import Target

WIDE = (((0.2, 0.05, 0.2), (0.2, 0.35, 0.2), 0.06),)
TWIN = (((0.1, 0.05, 0.2), (0.1, 0.35, 0.2), 0.04), ((0.2, 0.05, 0.2), (0.2, 0.35, 0.2), 0.04))
POWER = 4.9
UNDER = rectangle((0.0, 0.0, 0.1), (0.4, 0.0, 0.0), (0.0, 0.4, 0.0))


def room(walls, tubes=WIDE, tube_surface=LOSSLESS, floor=None, more=()):
    """Closed box with one lamp; the walls, two faces each, are its first pieces, floor first."""
    by_name = box_walls(0.0, 0.4)
    names = ("floor", "ceiling", "left", "right", "front", "back")
    pieces = [Piece(by_name[name], walls) for name in names]
    pieces[0] = Piece(by_name["floor"], floor or walls)
    return scene_of([*pieces, *more], [Lamp(tubes, POWER, tube_surface)])


def sheet_in_room(sheet):
    """Lossless room with a sheet from wall to wall under the lamp."""
    return room(LOSSLESS, more=[Piece(UNDER, sheet, two_sided=True)])


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
    "diffuse": Case(room(surface(0.0, 0.8, 0.9)), 4.0 * POWER, 5.0),
    "mixed": Case(room(surface(0.0, 0.8, 0.89, specular=0.75)), 4.0 * POWER, 5.0),
    "mirror": Case(room(surface(0.0, 0.8, 0.9, specular=1.0)), 4.0 * POWER, 5.0),
    "twin tubes": Case(room(LOSSLESS, TWIN, surface(0.0, 0.8, 0.9)), None, 5.0),
    "mirrored tubes": Case(room(LOSSLESS, TWIN, surface(0.0, 0.8, 0.9, specular=1.0)), None, 5.0),
    "sheet, back": Case(
        sheet_in_room(surface(0.0, 0.8, 0.9)), 4.0 * POWER, 5.0, faces=(12, 13)
    ),
    "sheet, through": Case(
        sheet_in_room(surface(0.0, transmittance=(0.0, 0.8, 0.9))),
        0.8 / 0.36 * POWER,
        1.64 / 0.36,
        faces=(12, 13),
        side=1,
    ),
}


def both_estimates(scene, faces, side, photons, paths, altered=None, dark_case=True):
    """Power (W) on faces taken together, forward and backward: two pairs of mean and error.

    `altered` takes the place of the scene for the backward paths; `dark_case` says that case 0 is
    without the light in question and is to be taken off.
    """
    faces = np.asarray(faces)
    group = np.where(np.isin(np.arange(len(scene.areas)), faces), 0, 1)
    forward = forward_blocks(scene, photons, 11, group)[:, :, 0, 0, side]
    target = Target(5, tuple(faces), (side,) * len(faces))
    backward = adjoint_blocks(altered or scene, [target], paths, 12)[:, :, 0, 0]
    backward = backward * scene.areas[faces].sum()
    return [mean_and_error(b[:, 1] - dark_case * b[:, 0]) for b in (forward, backward)]


def same(forward, backward, catches=0.01):
    """Whether two means with errors agree."""
    error = np.hypot(forward[1], backward[1])
    return agrees(forward[0], error, backward[0], catches, DEGREES)


@pytest.mark.parametrize("material", ONE_MATERIAL)
def test_light_that_one_material_sends_on(material):
    case = ONE_MATERIAL[material]
    catches = 0.01 * case.sensitivity  # of the light: 1 % of the material's number
    estimates = both_estimates(case.scene, case.faces, case.side, 100_000, 100_000)
    assert same(*estimates, catches)
    if case.truth is not None:
        for mean, error in estimates:
            assert agrees(mean, error, case.truth, catches, DEGREES)


# Index, extinction, hemispherical mean R at 253.7 nm, from the Fresnel equations: aluminium (Rakic
# 1995), titanium dioxide (Siefke 2016). All light on the walls is about P / (1 - R), whose
# logarithmic derivative is R / (1 - R).
SMOOTH = {"aluminium": (0.1905, 2.9773, 0.9253), "titanium dioxide": (2.5057, 1.4988, 0.3355)}


@pytest.mark.parametrize("material", SMOOTH)
def test_light_in_a_smooth_room(material):
    index, extinction, mean = SMOOTH[material]
    scene = room(smooth(index, extinction))
    count = 100_000 if mean > 0.9 else 3_000_000
    estimates = both_estimates(scene, range(12), 0, count, count, dark_case=False)
    assert same(*estimates, 0.01 * mean / (1.0 - mean))


def test_every_face_of_a_mixed_room_by_lamp_and_case():
    # Lambertian, mixed, mirror, two kinds of Fresnel walls; a ball; two sheets that transmit; a
    # single and a twin tube of another reflectance: 108 face-sides, each by lamp and case.
    scene = busy_scene(LINING, TUBE_SURFACE, SHEET, detail=1)
    walls, ball, sheets = np.arange(48), np.arange(48, 128), np.arange(128, 132)
    print(len(scene.areas))
