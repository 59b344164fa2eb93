"""What a thread of a graphics card does, run as plain Python: the same light as the processor's.

No card is needed: the functions are those that are compiled for it, with a stand-in for
`numba.cuda` of a single thread. On a machine with a card `benchmarks/card.py` compares the rest.
"""

import math

import numpy as np
import pytest
from boxes import three_lamps
from small_scenes import small_scene, write_scene

import raysim
from raysim.base.errors import RaysimError
from raysim.kernels import card, card_paths, card_photons
from raysim.kernels.traverse import ANY, NEAREST, NOTHING, nearest_hit, new_scratch
from raysim.transport.cuda import INSTEAD, for_pairs, refuse_too_bright, triangles_of
from raysim.transport.device import on_device
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.known import known_light, nothing_known
from raysim.transport.paths import BackwardRun
from raysim.transport.photons import PhotonRun
from raysim.transport.remade import remade
from raysim.transport.starts import face_start
from raysim.transport.tiles import tiles_of


def as_plain(function, **names):
    """A function for the card as plain Python, with all that it calls."""
    return remade(function, lambda copy: copy, INSTEAD, {"card": card.card} | names)


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    return three_lamps(tmp_path_factory.mktemp("card"))


@pytest.fixture(scope="module")
def arrays(scene):
    return kernel_scene(scene.triangles)


def test_triangles_are_found_again_in_the_blocks(scene, arrays):
    corners = triangles_of(arrays.geometry.blocks, len(arrays.order))
    assert (corners == scene.triangles.corners[arrays.order]).all()


@pytest.mark.parametrize("any_hit", [NEAREST, ANY])
def test_rays_hit_what_they_hit_on_the_processor(scene, arrays, any_hit):
    find, pairs = as_plain(card.nearest_hit), for_pairs(arrays.geometry)
    rng, geometry = np.random.default_rng(3), arrays.geometry
    stacks = np.zeros(card.DEEPEST, np.int32), np.zeros(card.DEEPEST, np.float32)
    triangles, met = len(arrays.order), 0
    for _ in range(200):
        at = rng.uniform(0.01, 0.24, 3)
        way = rng.normal(size=3)
        way /= np.linalg.norm(way)
        rest = (geometry.tubes, triangles, *at, *way, math.inf, NOTHING, NOTHING, any_hit)
        own = find(pairs.nodes, pairs.blocks, *rest, *stacks)
        there = nearest_hit(geometry.nodes, geometry.blocks, *rest, *new_scratch())
        assert (own[1] >= 0) == (there[1] >= 0)
        if any_hit == NEAREST:
            assert own[1] == there[1]
            assert own[0] == pytest.approx(there[0], rel=1e-12)
            met += own[1] < triangles - 12  # the plate, not a wall
    assert any_hit == ANY or met > 3


def test_photons_end_where_they_end_on_the_processor(scene, arrays):
    tiles = tiles_of(arrays, scene.triangles)
    run = PhotonRun(arrays, 5, 1, batch_photons=60, tiles=tiles, groups=2)
    run.add_batches(3)
    work = card_photons.Work(0, 3, run.batch_photons, int(run.batch_photons.sum()))
    lamps, sides, cases = run._total.shape[1:]
    arrivals = np.zeros((3, lamps, sides, 1), np.uint64)
    taken, flown = np.zeros(1, np.int64), np.zeros(1, np.int64)
    own = {name: np.zeros_like(getattr(run, f"_{name}")[0]) for name in run._COUNTS[:4]}
    own_tiles = np.zeros_like(run._tiles[0])
    as_plain(card_photons.fly_photons)(
        for_pairs(arrays.geometry), arrays.surfaces, arrays.lamp_tubes, run.rules, work, taken,
        arrivals, own["bodies"], own["fates"], flown,
    )  # fmt: skip
    as_plain(card_photons.add_batches)(
        work, 2, arrivals, run._tile, own_tiles, own["total"], own["squares"]
    )
    assert flown[0] == run.segments > 300
    for name, tally in own.items():
        assert (tally == getattr(run, f"_{name}")[0]).all(), name
    assert (own_tiles == run._tiles[0]).all()
    assert not arrivals.any()


@pytest.mark.parametrize("reads", [False, True])
def test_paths_score_what_they_score_on_the_processor(scene, arrays, reads):
    known = nothing_known(arrays)
    if reads:
        photons = PhotonRun(arrays, 5, 1, tiles=tiles_of(arrays, scene.triangles), groups=2)
        photons.add_batches(2)
        known = known_light(photons, scene.triangles)
    run = BackwardRun(arrays, scene.triangles, 7, 1, batches=2, known=known)
    chosen = np.flatnonzero(scene.triangles.judged.any(axis=1))[:4]
    run.add_starts([face_start(int(face), 0) for face in chosen])
    everyone, paths = np.arange(len(chosen)), np.full(len(chosen), 3)
    starts = run._targets.starts(arrays, scene.triangles, everyone)
    starts = starts._replace(reads=run.reads[everyone])
    run.add_paths(everyone, paths)
    sums, rays = np.zeros((len(chosen), *run._sums.shape[1:])), np.zeros(1, np.int64)
    as_plain(card_paths.trace_paths)(
        for_pairs(arrays.geometry), run.surfaces, known, starts, run.rules,
        card_paths.PathWork(everyone, np.zeros_like(paths), paths), 2, sums, rays,
    )  # fmt: skip
    assert rays[0] == run.rays
    assert run.reads.all() == reads
    np.testing.assert_allclose(sums, run._sums[: len(chosen)], rtol=1e-6)
    assert sums.any()


def test_pieces_of_a_target_are_added_in_their_order():
    first, pieces = np.array([0, 2, 2]), np.array([2, 0, 3])
    sums = np.random.default_rng(1).random((5, 2, 2, 3))
    found = np.full((3, 2, 2, 3), np.nan)
    as_plain(card_paths.add_pieces)(first, pieces, sums, found)
    assert (found[0] == sums[0] + sums[1]).all()
    assert not found[1].any()
    assert (found[2] == sums[2] + sums[3] + sums[4]).all()


def test_more_than_three_cases_take_more_words():
    arrivals = np.zeros((2, 2), np.uint64)
    count = as_plain(card_photons.count_arrival)
    count(arrivals, 1, 0b10110, 5)
    count(arrivals, 1, 0b00110, 5)
    fields = [int(arrivals[1, k // 3]) >> (21 * (k % 3)) & (2**21 - 1) for k in range(5)]
    assert fields == [0, 2, 2, 0, 1]


def test_surfaces_too_bright_for_the_fields_of_counts_are_refused(arrays):
    bright = arrays.surfaces._replace(reflectance=np.full_like(arrays.surfaces.reflectance, 0.99))
    refuse_too_bright(bright, 8_192)
    # Half of 100 hits of each of 32,768 photons, and half as many again: more than 2**21.
    with pytest.raises(RaysimError, match=r"sends back 99\.0% .* room for 98\.8%"):
        refuse_too_bright(bright, 32_768)


def test_without_a_card_one_line_says_so(tmp_path):
    with pytest.raises(RaysimError, match="no graphics card"), on_device("cuda"):
        raysim.simulate(raysim.load_scene(write_scene(tmp_path, small_scene())))
