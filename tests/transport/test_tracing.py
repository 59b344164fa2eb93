"""Runs give the same numbers however they are cut up, and arrays mean what they say."""

import dataclasses

import numpy as np
import pytest
from built_scenes import (
    BLACK,
    LINING,
    SHEET,
    TUBE_SURFACE,
    Lamp,
    Piece,
    box,
    busy_scene,
    scene_of,
    surface,
)

from raysim.kernels.records import LOST
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.paths import PATH_BATCHES, BackwardRun
from raysim.transport.photons import PhotonRun
from raysim.transport.starts import Start

SCENE = busy_scene(LINING, TUBE_SURFACE, SHEET, detail=1)
ARRAYS = kernel_scene(SCENE)
ROUNDING = 1e-6  # of sums of paths, which are kept in single precision
TARGETS = [
    Start(3, (0,), (0,)),
    Start(9, (8, 9), (0, 0)),
    Start(4, (32, 33, 34), (0, 1, 1)),
    Start(1 << 31, at=np.array([0.2, 0.1, 0.2]), facing=np.array([0.0, 0.6, 0.8])),
]


def forward(threads, portions, seed=5, batch=3_000):
    """Every tally of a run over the given portions of batches."""
    run = PhotonRun(ARRAYS, seed, threads, batch_photons=batch)
    for batches in portions:
        run.add_batches(batches)
    return [*run.arrivals(), run.bodies(), run.fates(), np.array(run.segments), run.photons]


def backward(threads, portions, seed=5):
    """Sums of a run over the given portions of paths per batch, and its rays."""
    run = BackwardRun(ARRAYS, SCENE, seed, threads, cases=slice(0, 3))
    run.add_starts(TARGETS)
    everyone = np.arange(len(TARGETS))
    for paths in portions:
        run.add_paths(everyone, np.full(len(TARGETS), paths))
    return run.batch_irradiance(everyone), run.rays


def equal(first, second):
    """Whether two lists of arrays are the same to the last bit."""
    return all(np.array_equal(a, b) for a, b in zip(first, second, strict=True))


def test_photons_are_counted_alike_by_any_number_of_threads():
    alone = forward(1, [7])
    assert alone[0].sum() > 100_000
    for threads in (2, 3, 8):
        assert equal(alone, forward(threads, [7]))


def test_photons_are_counted_alike_in_any_portions():
    whole = forward(2, [12])
    for portions in ([1] * 12, [5, 7], [1, 10, 1]):
        assert equal(whole, forward(2, portions))
    assert not equal(whole, forward(2, [12], seed=6))


def test_counts_left_to_one_worker_are_the_same_and_go_on():
    several, one = (PhotonRun(ARRAYS, 5, threads, batch_photons=3_000) for threads in (3, 1))
    several.add_batches(5)
    several.leave_to_one_worker()
    one.add_batches(5)
    assert equal(several.tallies().values(), one.tallies().values())
    assert several._total.nbytes == one._total.nbytes
    for run in (several, one):
        run.add_batches(2)
    assert equal(several.tallies().values(), one.tallies().values())


def test_more_batches_add_to_those_before():
    fewer, more = forward(2, [4]), forward(2, [8])
    assert (more[0] >= fewer[0]).all()
    assert (more[-1] == 2 * fewer[-1]).all()


def test_paths_are_summed_alike_by_any_number_of_threads():
    alone, rays = backward(1, [40])
    assert (alone.sum(axis=(1, 2, 3)) > 0.0).all()
    for threads in (2, 3, 8):
        sums, others = backward(threads, [40])
        assert np.array_equal(alone, sums)
        assert rays == others


def test_paths_are_the_same_ones_in_any_portions():
    whole, rays = backward(2, [40])
    for portions in ([10] * 4, [1, 39]):
        parts, others = backward(2, portions)
        assert rays == others
        assert np.abs(parts - whole).max() < ROUNDING * whole.max()


def test_a_target_gives_the_same_numbers_in_any_company():
    together, _ = backward(2, [20])
    for number, target in enumerate(TARGETS):
        run = BackwardRun(ARRAYS, SCENE, 5, 2, cases=slice(0, 3))
        run.add_starts([target])
        run.add_paths(np.array([0]), np.array([20]))
        assert np.array_equal(run.batch_irradiance(np.array([0]))[0], together[number])


@pytest.mark.parametrize("room", [2 * PATH_BATCHES * 2 * 3 * 8, 2**28])  # bytes; of two targets
def test_later_targets_leave_earlier_ones_alone(room, monkeypatch):
    """Whether their sums move to a larger room or stay where they are; nor does a look change."""
    monkeypatch.setattr("raysim.transport.paths.FIRST_ROOM", room)
    run = BackwardRun(ARRAYS, SCENE, 5, 2, cases=slice(0, 3))
    run.add_starts(TARGETS[:2])
    run.add_paths(np.arange(2), np.array([20, 3]))
    run.add_starts(TARGETS[2:])
    run.add_paths(np.array([3, 2]), np.array([20, 20]))
    run.add_paths(np.array([1]), np.array([17]))
    together, _ = backward(2, [20])
    assert run.paths.tolist() == [20, 20, 20, 20]
    got = run.batch_irradiance(np.arange(4))
    assert np.array_equal(run.batch_irradiance(np.arange(4)), got)
    assert np.array_equal(got[[0, 2, 3]], together[[0, 2, 3]])
    assert got[1].mean(axis=0) == pytest.approx(together[1].mean(axis=0), rel=ROUNDING)
    assert together.shape == (4, PATH_BATCHES, 2, 3)


def test_photons_are_shared_out_by_watts_and_in_whole_turns():
    lamps = [
        Lamp((((0.1, 0.1, 0.1), (0.3, 0.1, 0.1), 0.01),), 1.0),
        Lamp(tuple(((0.1, y, 0.3), (0.3, y, 0.3), 0.01) for y in (0.1, 0.2, 0.3)), 2.5),
        Lamp((((0.1, 0.3, 0.1), (0.3, 0.3, 0.1), 0.01),), 1e-9),
    ]
    run = PhotonRun(
        kernel_scene(scene_of([Piece(box(0.0, 0.4), BLACK)], lamps)), 1, 2, batch_photons=7_000
    )
    run.add_batches(2)
    assert run.batch_photons.tolist() == [2_000, 4_999 + 2, 1]
    assert run.photons.tolist() == [4_000, 10_002, 2]
    assert (run.bodies()[1].sum(axis=1) == run.photons).all()


def test_kernel_arrays_are_the_scene_in_another_order():
    geometry = ARRAYS.geometry
    assert sorted(ARRAYS.order) == list(range(len(SCENE.areas)))
    assert (ARRAYS.order[ARRAYS.position] == np.arange(len(SCENE.areas))).all()
    blocks = geometry.blocks.reshape(-1, 10, 4).transpose(0, 2, 1).reshape(-1, 10)
    blocks = blocks[np.isfinite(blocks[:, 9])]
    corners = blocks[np.argsort(blocks[:, 9]), :9].reshape(-1, 3, 3).transpose(0, 2, 1)
    assert (corners[ARRAYS.position] == SCENE.corners).all()
    assert (geometry.normals[ARRAYS.position] == SCENE.normals).all()
    faces = len(SCENE.areas)
    parts = [SCENE.parts[part] for part in SCENE.face_part]
    assert geometry.two_sided[ARRAYS.position].tolist() == [p.two_sided for p in parts]
    assert geometry.body[:faces][ARRAYS.position].tolist() == [p.body for p in parts]
    assert geometry.surface[:faces][ARRAYS.position].tolist() == [p.surface for p in parts]
    assert geometry.body[faces:].tolist() == [9, 10, 10]
    assert geometry.tube_lamp.tolist() == [0, 1, 1]


def test_tubes_carry_their_lamps_watts():
    # Exitance times mantle, summed over the tubes of a lamp, is the lamp's power (definition).
    geometry = ARRAYS.geometry
    mantle = 2.0 * np.pi * geometry.tubes[:, 7] * geometry.tubes[:, 6]
    watts = np.bincount(geometry.tube_lamp, geometry.tube_exitance * mantle)
    assert watts == pytest.approx([4.9, 3.3], rel=1e-14)
    for row, tube in zip(geometry.tubes, SCENE.tubes, strict=True):
        assert row[:3] == pytest.approx(tube.start)
        assert row[:3] + row[6] * row[3:6] == pytest.approx(tube.end, abs=1e-15)
        assert np.linalg.norm(row[3:6]) == pytest.approx(1.0, rel=1e-15)


def test_surface_table_has_a_column_for_each_case():
    table = ARRAYS.surfaces
    mixed = SCENE.surfaces.index(LINING[1])
    sheet = SCENE.surfaces.index(SHEET)
    assert table.reflectance[mixed].tolist() == [0.6, 0.75, 0.89]
    assert table.specular[mixed] == 0.75
    assert table.transmittance[sheet].tolist() == [0.2, 0.25, 0.3]
    smooth = SCENE.surfaces.index(LINING[2])
    assert table.kind[[mixed, smooth]].tolist() == [0, 1]
    assert table.specular[smooth] == 1.0


def test_bounces_beyond_the_limit_are_lost_not_forgotten():
    scene = scene_of(
        [Piece(box(0.0, 0.4), surface(1.0))],
        [Lamp((((0.1, 0.2, 0.2), (0.3, 0.2, 0.2), 0.01),), 1.0)],
    )
    run = PhotonRun(kernel_scene(scene), 1, 2, batch_photons=2_000, max_bounces=3)
    run.add_batches(2)
    account = run.bodies().sum(axis=2) + run.fates().sum(axis=2)
    assert (account == run.photons).all()
    assert (run.fates()[:, :, LOST] > 0.8 * run.photons).all()
    assert run.segments <= 3 * run.photons.sum()


def test_a_scene_without_triangles_can_be_traced():
    scene = scene_of([], [Lamp((((0.0, 0.0, 0.0), (0.2, 0.0, 0.0), 0.01),), 2.0)])
    run = PhotonRun(kernel_scene(scene), 1, 2, batch_photons=1_000)
    run.add_batches(1)
    assert run.fates()[:, 0, 0].tolist() == [1_000] * 3


@pytest.mark.parametrize("scale", [1e-2, 1e2])
def test_irradiance_goes_with_the_inverse_square_of_the_size(scale):
    # The same scene drawn larger: the same photons meet the same faces.
    small = busy_scene(LINING, TUBE_SURFACE, SHEET, detail=1)
    large = dataclasses.replace(
        small,
        corners=small.corners * scale,
        areas=small.areas * scale**2,
        tubes=tuple(
            dataclasses.replace(
                t, start=t.start * scale, end=t.end * scale, radius=t.radius * scale
            )
            for t in small.tubes
        ),
    )
    counts = []
    for scene in (small, large):
        run = PhotonRun(kernel_scene(scene), 3, 2, batch_photons=20_000)
        run.add_batches(2)
        counts.append(run.arrivals()[0])
    # Rounding may send a photon past an edge: far fewer than one in ten thousand.
    assert np.abs(counts[0] - counts[1]).sum() < 1e-4 * counts[0].sum()


def test_a_meter_lying_on_a_wall_reads_what_the_wall_gets():
    # A point in the plane of a wall must not be shaded by that wall.
    lamp = Lamp((((0.1, 0.2, 0.3), (0.3, 0.2, 0.3), 0.013),), 4.9, surface(0.5))
    scene = scene_of([Piece(box(0.0, 0.4), surface(0.8))], [lamp])
    spots = [((0.21, 0.17, 0.0), (0.0, 0.0, 1.0)), ((0.0, 0.17, 0.13), (1.0, 0.0, 0.0))]
    for at, facing in spots:
        pair = [
            Start(7, at=np.array(at) + lift * np.array(facing), facing=np.array(facing))
            for lift in (0.0, 1e-6)
        ]
        run = BackwardRun(kernel_scene(scene), scene, 1, 2, cases=slice(1, 2))
        run.add_starts(pair)
        run.add_paths(np.arange(2), np.full(2, 500))
        on, above = run.batch_irradiance(np.arange(2))[:, :, 0, 0].mean(axis=1)
        assert on == pytest.approx(above, rel=0.01)
