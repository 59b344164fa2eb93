"""The cases travel together, one bit each: what that must not change."""

import dataclasses

import numpy as np
import pytest
from agreement import agrees
from built_scenes import (
    LINING,
    ROOM_POWER,
    SHEET,
    TUBE_SURFACE,
    Piece,
    busy_scene,
    rectangle,
    room,
    surface,
)
from measuring import DEGREES, adjoint_blocks, forward_blocks, mean_and_error

from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.photons import PhotonRun
from raysim.transport.starts import Start

CASES = ("low", "expected", "high")


@pytest.fixture(scope="module")
def together():
    """Scene whose surfaces differ between all three cases."""
    return busy_scene(LINING, TUBE_SURFACE, SHEET, detail=1)


def alone(scene, case):
    """The same scene with the numbers of one case in all three."""

    def only(s):
        back = (s.reflectance_low, s.reflectance, s.reflectance_high)[case]
        through = (s.transmittance_low, s.transmittance, s.transmittance_high)[case]
        return dataclasses.replace(
            s,
            **dict.fromkeys(("reflectance_low", "reflectance", "reflectance_high"), back),
            **dict.fromkeys(("transmittance_low", "transmittance", "transmittance_high"), through),
        )

    return dataclasses.replace(scene, surfaces=tuple(only(s) for s in scene.surfaces))


@pytest.mark.parametrize("case", range(3), ids=CASES)
def test_photons_of_a_case_fly_as_if_they_flew_alone(together, case):
    # Not only on the average: with one seed the very same photons arrive.
    runs = [
        PhotonRun(kernel_scene(scene), seed=4, threads=2, batch_photons=20_000)
        for scene in (together, alone(together, case))
    ]
    for run in runs:
        run.add_batches(4)
    assert (runs[0].arrivals()[0][case] == runs[1].arrivals()[0][case]).all()
    assert (runs[0].arrivals()[1][case] == runs[1].arrivals()[1][case]).all()
    assert (runs[0].bodies()[case] == runs[1].bodies()[case]).all()
    assert (runs[0].fates()[case] == runs[1].fates()[case]).all()
    assert runs[1].arrivals()[0][case].sum() > 100_000


def test_a_case_that_rides_rarely_is_counted_on_its_share_of_the_photons(together):
    arrays = kernel_scene(together)
    stride = (1, 1, 4)
    often, rarely = (
        PhotonRun(arrays, 4, 2, batch_photons=20_000, stride=s) for s in (None, stride)
    )
    often.batch_photons = rarely.batch_photons  # rounded to whole turns of four
    often.add_batches(4)
    rarely.add_batches(4)
    for case in (0, 1):  # not one of their photons flies another way
        assert (often.arrivals()[0][case] == rarely.arrivals()[0][case]).all()
        assert (often.bodies()[case] == rarely.bodies()[case]).all()
    ended = rarely.bodies().sum(axis=2) + rarely.fates().sum(axis=2)
    assert (ended == rarely.photons // np.array(stride)[:, None]).all()
    assert rarely.segments < often.segments
    # The same photons fly the same ways, so the quarter's counts lie within the whole's.
    assert (rarely.arrivals()[0][2] <= often.arrivals()[0][2]).all()
    quarter, whole = (run.arrivals()[0][2].sum() for run in (rarely, often))
    # A photon arrives so often: a geometric number, whose spread is about its mean.
    photons = rarely.photons_by_case[2].sum()
    mean = whole / often.photons.sum()
    assert agrees(quarter / photons, mean / np.sqrt(photons), mean, 0.08)


@pytest.mark.parametrize("company", ["together", "alone", "rarely"])
def test_weights_of_backward_paths_give_each_case_its_own_light(company):
    # Backward paths of several cases go on with the largest probability of any and make up for it
    # by weights. Conservation: where every surface absorbs 1 - a of what it meets and the lamp
    # nothing, P / (1 - a) arrives in all, of logarithmic derivative a / (1 - a).
    goes_on = (0.6, 0.7, 0.85)
    sheet = rectangle((0.0, 0.0, 0.1), (0.4, 0.0, 0.0), (0.0, 0.4, 0.0))
    leaky = surface(0.5, 0.5, 0.55, transmittance=(0.1, 0.2, 0.3))
    scene = room(surface(*goes_on, specular=0.4), more=[Piece(sheet, leaky, two_sided=True)])
    if company == "alone":
        scene = alone(scene, 0)
    faces, sides = np.array([(f, 0) for f in range(14)] + [(12, 1), (13, 1)]).T
    target = Start(1, tuple(faces), tuple(sides))
    stride = (1, 1, 4) if company == "rarely" else None
    blocks = adjoint_blocks(scene, [target], 600_000, 5, stride=stride)[:, :, 0, 0]
    for case in (0,) if company == "alone" else range(3):
        mean, error = mean_and_error(blocks[:, case] * scene.areas[faces].sum())
        on = goes_on[case]
        assert agrees(mean, error, ROOM_POWER / (1.0 - on), 0.01 * on / (1.0 - on), DEGREES)


def test_more_reflection_never_darkens_anything(together):
    blocks = forward_blocks(together, 200_000, 7)
    assert (blocks[:, 1] >= blocks[:, 0]).all()
    assert (blocks[:, 2] >= blocks[:, 1]).all()
