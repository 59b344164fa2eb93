"""Where the light goes: furnaces, black rooms and the account of every photon."""

import numpy as np
import pytest
from agreement import all_agree
from built_scenes import (
    BLACK,
    LINING,
    LOSSLESS,
    SHEET,
    TUBE_SURFACE,
    Lamp,
    Piece,
    box,
    busy_scene,
    flipped,
    scene_of,
    surface,
)

from raysim.kernels.records import ESCAPED, LOST, NOT_FINITE
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.photons import PhotonRun


def traced(scene, batches, seed=1, batch=8_192, **limits):
    """A run of so many batches, two workers."""
    run = PhotonRun(kernel_scene(scene), seed, 2, batch_photons=batch, **limits)
    run.add_batches(batches)
    return run


@pytest.mark.parametrize("specular", [0.0, 0.4, 1.0])
def test_a_furnace_loses_nothing_in_a_thousand_bounces(specular):
    lossless = surface(1.0, specular=specular)
    sheet = surface(0.6, transmittance=(0.4, 0.4, 0.4))
    scene = busy_scene([lossless], LOSSLESS, sheet)
    run = traced(scene, 2, batch=700, max_bounces=1_000)
    photons = int(run.photons.sum())
    # Every photon is still on its way when it is stopped: all of 1.4 million segments were flown.
    assert run.segments == 1_000 * photons >= 1_390_000
    assert (run.bodies() == 0).all()
    assert (run.fates()[:, :, LOST] == run.photons).all()
    assert (run.fates()[:, :, [ESCAPED, NOT_FINITE]] == 0).all()


def test_black_surfaces_give_direct_light_only():
    scene = busy_scene([BLACK], BLACK, BLACK)
    run = traced(scene, 8)
    assert run.segments == run.photons.sum()
    assert (run.bodies().sum(axis=2) == run.photons).all()
    on_tubes = run.bodies()[:, :, -2:].sum(axis=2)
    assert (run.arrivals()[0].sum(axis=(2, 3)) == run.photons - on_tubes).all()
    assert (run.fates() == 0).all()


@pytest.mark.parametrize("closed", [True, False])
def test_every_photon_is_accounted_for(closed):
    scene = busy_scene(LINING, TUBE_SURFACE, SHEET, closed)
    run = traced(scene, 16)
    account = run.bodies().sum(axis=2) + run.fates().sum(axis=2)
    assert (account == run.photons).all()
    fates = run.fates()
    assert (fates[:, :, [LOST, NOT_FINITE]] == 0).all()
    assert (fates[:, :, ESCAPED] == 0).all() if closed else (fates[:, :, ESCAPED] > 0).all()


def test_what_arrives_goes_on_as_the_surface_says():
    # Given the arrivals on all bodies of one surface, r + t of them go on: a binomial count.
    scene = busy_scene(LINING, TUBE_SURFACE, SHEET)
    run = traced(scene, 240)
    arrivals = run.arrivals()[0].sum(axis=(1, 3))
    absorbed = run.bodies().sum(axis=1)
    for number, s in enumerate(scene.surfaces):
        own = [p.surface == number for p in scene.parts]
        if s.is_fresnel or not any(own):
            continue
        low, expected, high = s.transmittance_low, s.transmittance, s.transmittance_high
        on = np.array(
            [s.reflectance_low + low, s.reflectance + expected, s.reflectance_high + high]
        )
        hits = arrivals[:, np.array(own)[scene.face_part]].sum(axis=1)
        went_on = hits - absorbed[:, np.flatnonzero(own)].sum(axis=1)
        assert all_agree(went_on / hits, np.sqrt(on * (1.0 - on) / hits), on)


def test_the_back_of_a_one_sided_surface_counts_as_lost():
    scene = scene_of(
        [Piece(flipped(box(0.0, 0.4)), LOSSLESS)],
        [Lamp((((0.1, 0.2, 0.2), (0.3, 0.2, 0.2), 0.01),), 1.0)],
    )
    run = traced(scene, 2)
    assert (run.fates()[:, :, LOST] == run.photons).all()
    assert (run.arrivals()[0] == 0).all()
