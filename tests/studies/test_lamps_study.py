"""Lamps with known answers: symmetric boxes, a matrix against photons and `dose`, broken runs."""

import json
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from agreement import all_agree
from hung import BLACK, between_tubes
from running import SMALL_BATCH, batches_of
from small_scenes import box, small_scene, write_scene

import raysim
from raysim.base.errors import RaysimError
from raysim.estimate.bounds import batch_mean, count_variance
from raysim.estimate.face_sides import judged_sites
from raysim.output.files.lamps_record import lamps_record
from raysim.studies.lamps import LampClearances, LampGrid, study
from raysim.studies.lamps.choice import Field
from raysim.studies.lamps.kinds import kinds_of
from raysim.studies.lamps.places import LampRoom, listed_places, too_near
from raysim.studies.lamps.programme import solve
from raysim.studies.lamps.proof import Known, Proof
from raysim.studies.lamps.sources import Sources
from raysim.transport.options import RunOptions
from raysim.transport.photons import PhotonRun

OPTIONS = RunOptions(3, threads=2)
NONE = LampClearances(0.0, 0.0, 0.0, 0.0, 0.0)


def level(y, z=0.2):
    """A line from left to right."""
    return (0.06, y, z), (0.34, y, z)


def upright(x, y):
    """A line from the floor to the ceiling of the cube."""
    return (x, y, 0.06), (x, y, 0.34)


def found_among(scene, lines, numbers, **asked):
    """Study of listed places without clearances."""
    return study(scene, numbers=numbers, places=lines, clearances=NONE, options=OPTIONS, **asked)


def middles(found, number):
    """Middle of each lamp of the best choice of a number, mm."""
    one = next(one for one in found.numbers if one.number == number)
    places = [found.places[k] for k in one.choices[0]]
    return [tuple(np.rint(500.0 * np.add(p.start, p.end)).astype(int)) for p in places]


def test_one_lamp_for_two_sides_goes_to_the_centre_line(tmp_path):
    """Anywhere else one side of the sheet gets nothing, in a black box."""
    scene = between_tubes(tmp_path, at=[200, 200, 250])
    found = found_among(scene, [level(y, 0.34) for y in (0.1, 0.15, 0.2, 0.25, 0.3)], [1, 2])
    assert middles(found, 1) == [(200, 200, 340)]
    (_, y, _), (_, v, _) = middles(found, 2)
    assert y + v == 400
    # One lamp: nothing is left without it, and the bound lies above what it gives.
    best = found.numbers[0]
    assert best.best.left == (0.0,)
    assert best.most > best.best.worst.lower_bound
    assert found.numbers[1].best.worst.lower_bound > best.best.worst.irradiance


def test_two_lamps_for_two_sides_are_mirrored(tmp_path):
    scene = between_tubes(tmp_path, at=[200, 200, 250])
    ys = (0.05, 0.1, 0.15, 0.25, 0.3, 0.35)
    found = found_among(scene, [level(y, z) for y in ys for z in (0.1, 0.2, 0.3)], [2])
    (x, y, z), (u, v, w) = sorted(middles(found, 2))
    assert (x, z) == (u, w)
    assert y + v == 400
    assert y < 200 < v


def of_few_faces():
    """The small scene with a plate of larger faces: each takes more of the light."""
    data = small_scene()
    data["object"][0]["edge"] = 40
    return data


@pytest.fixture(scope="module")
def bright(tmp_path_factory):
    """Candidates as sources in a small box of foil."""
    scene = raysim.load_scene(write_scene(tmp_path_factory.mktemp("bright"), of_few_faces()))
    lines = [((x, y, 0.06), (x, y, 0.29)) for x in (0.05, 0.15, 0.25) for y in (0.05, 0.2)]
    places = listed_places(kinds_of(scene.written), lines)
    sources = Sources(scene, places, OPTIONS)
    sources.count_photons(lambda what, done, whole: None)
    return sources


def test_the_matrix_agrees_with_photons_face_by_face(bright):
    sites = judged_sites(bright.triangles)
    direct, rest = bright.batches(sites.targets(np.arange(len(sites.faces))), 384, 384, 5)
    mean, error = batch_mean(direct + rest)
    run = PhotonRun(bright.arrays, 99, 2, batch_photons=6 * 32_768)
    run.add_batches(64)
    total, squares = (t[0][:, sites.faces, sites.sides] for t in run.arrivals())
    scale = (bright.factors * bright.arrays.lamp_watts / run.photons)[:, None] / sites.areas
    counted = total * scale
    spread = np.sqrt(count_variance(total, squares, run.batches)) * scale
    whole = np.hypot(error, spread.T)
    assert all_agree(mean, whole, counted.T, catches=0.3)
    assert abs((mean / counted.T).mean() - 1.0) < 0.01


def test_the_matrix_agrees_with_dose_where_no_tube_is_in_the_way(tmp_path):
    scene = between_tubes(tmp_path, watts=(2.0, 2.0))
    places = listed_places(kinds_of(scene.written), [level(0.05), level(0.35)])
    sources = Sources(scene, places, OPTIONS)
    sites = judged_sites(sources.triangles)
    direct, _ = sources.batches(sites.targets(np.arange(len(sites.faces))), 1, 64, 5)
    mean, error = batch_mean(direct.sum(axis=2)[..., None])
    result = raysim.simulate(scene, photons=12_000_000, seed=11)
    case = result.cases["cautious"]
    light = case.irradiance[sites.faces, sites.sides]
    spread = case.standard_error[sites.faces, sites.sides]
    assert all_agree(mean[:, 0], np.hypot(error[:, 0], spread), light, catches=0.25)


def test_the_proof_lies_above_every_choice_by_other_numbers(bright):
    sites = judged_sites(bright.triangles)
    rows = np.arange(len(sites.faces))

    def matrix(paths, seed):
        return batch_mean(sum(bright.batches(sites.targets(rows), paths, 12 * paths, seed)))[0]

    known = Known(rows, matrix(4, 5), np.ones((6, 6), bool))
    fine = Field(matrix(256, 9), known.apart)
    for number in (1, 2, 3):
        proof = Proof(bright, sites, known, 0.03)
        truth = max(fine.worst(one) for one in combinations(range(6), number))
        proof.look_closer(tuple(range(number)), 2)
        few = solve(proof.field, tuple(range(number))).bound
        proof.look_closer(tuple(range(number)), 40)
        most = solve(proof.field, tuple(range(number))).bound
        assert 1.0 < most / truth < 1.25
        assert most <= few
        assert proof.spent <= 40
        assert (proof.upper[proof.looks > 0] > fine.light[proof.looks > 0]).all()


def test_a_lamp_that_is_a_source_alone_shades_nothing(bright):
    """The light of a lamp is the same whichever others are there."""
    starts = judged_sites(bright.triangles).targets(np.arange(4))
    alone = bright.batches(starts, 512, 64, 5, np.array([2]))
    both = bright.batches(starts, 512, 128, 6, np.array([2, 3]))
    one, two = (batch_mean(d + r) for d, r in (alone, both))
    assert all_agree(one[0][:, 0], np.hypot(one[1][:, 0], two[1][:, 0]), two[0][:, 0], 0.2)


def test_same_for_any_number_of_threads_and_stopped_early(tmp_path):
    scene = raysim.load_scene(write_scene(tmp_path, of_few_faces()))
    lines = [((x, 0.05, 0.06), (x, 0.05, 0.29)) for x in (0.05, 0.15, 0.25)]
    asked = {"numbers": [1, 2], "places": lines, "precision": 0.9}

    def told(options):
        with batches_of(SMALL_BATCH):
            found = study(scene, options=options, **asked)
        return json.dumps(lamps_record(found, ""), default=str), found

    one, found = told(RunOptions(5, threads=1))
    assert one == told(RunOptions(5, threads=3))[0]
    assert not found.interrupted
    assert len(found.numbers) == 2

    def stop(step):
        def progress(what, done, whole):
            if what == "tracing the best, tubes in the way" and done >= step:
                raise KeyboardInterrupt

        return replace(OPTIONS, progress=progress)

    with batches_of(SMALL_BATCH):
        with pytest.raises(KeyboardInterrupt):
            study(scene, options=stop(0), **asked)
        found = study(scene, options=stop(1), **asked)
    assert found.interrupted
    assert [one.number for one in found.numbers] == [2]


def test_places_keep_clear_and_fill_the_box(tmp_path):
    scene = raysim.load_scene(write_scene(tmp_path))
    room = LampRoom(scene.triangles, scene.written.chamber.inside, LampClearances())
    kept, none, spacing = room.grid(kinds_of(scene.written), LampGrid("xyz", most=80))
    assert 20 < len(kept) <= 80
    assert spacing > 0.02
    ends = np.array([[place.start, place.end] for place in kept])
    for low, high in zip(ends.min(axis=1), ends.max(axis=1), strict=True):
        across = high - low < 1e-9
        assert (low[across] >= 0.018 - 1e-6).all()  # radius and clearance
        assert (high[across] <= np.array([0.3, 0.25, 0.35])[across] - 0.018 + 1e-6).all()
    plate = box([40, 0.001, 40], [130, 125, 150]).vertices * 0.001
    middle = plate.mean(axis=0)
    for place in kept:
        start, way = np.array(place.start), np.subtract(place.end, place.start)
        along = np.clip((middle - start) @ way / (way @ way), 0.0, 1.0)
        assert np.linalg.norm(middle - start - along * way) > 0.038
    assert sum(none.values()) > 0


def test_lamps_that_cross_are_not_taken_together(tmp_path):
    scene = raysim.load_scene(write_scene(tmp_path, small_scene()))
    lines = [
        ((0.05, 0.125, 0.1), (0.25, 0.125, 0.1)),
        ((0.15, 0.05, 0.11), (0.15, 0.2, 0.11)),
        ((0.05, 0.125, 0.2), (0.25, 0.125, 0.2)),
    ]
    near = too_near(listed_places(kinds_of(scene.written), lines), 0.02)
    assert near[0, 1]
    assert near[1, 0]
    assert near.sum() == 2


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"lamps": ["T8 15 V"]}, 'did you mean "T8 15 W"'),
        ({"lamps": ["T8 30 W"]}, "longer than the box"),
        ({"numbers": []}, "no number of lamps"),
        ({"numbers": [0]}, "number of lamps 0 is out of range"),
        ({"numbers": [99]}, "number of lamps 99 is out of range"),
        ({"places": [((0.0, 0.0, 0.0), (0.0, 0.0, 0.3))]}, "0 of 1 places"),
        ({"places": LampGrid("z", spacing=0.001)}, "Mend: a larger --spacing"),
        ({"precision": 2.0}, "precision 2.0 is out of range"),
    ],
)
def test_bad_input_is_one_line(tmp_path, asked, words):
    scene = raysim.load_scene(write_scene(tmp_path))
    with pytest.raises(RaysimError) as error:
        study(scene, options=OPTIONS, **asked)
    assert words in str(error.value)
    assert "\n" not in str(error.value)


def test_prices_are_counted_and_two_currencies_refused(tmp_path):
    scene = between_tubes(tmp_path, lining={"reflectance": 0.5})
    prices = tmp_path / "prices.toml"
    name = "lamp, 16 mm with an arc of 280 mm, ozone-free"
    prices.write_text(f'[price]\n"{name}" = "9.5 EUR"\nhinge = "2 EUR"\n')
    with batches_of(SMALL_BATCH):
        found = found_among(scene, [level(0.05), level(0.1)], [2], prices=prices, precision=0.3)
    (one,) = found.numbers
    assert one.cost == pytest.approx(19.0)
    assert one.unpriced == 4  # holder and ballast of each
    assert found.currency == "EUR"
    prices.write_text(f'[price]\n"{name}" = "9.5 EUR"\nhinge = "2 USD"\n')
    with pytest.raises(RaysimError, match="EUR and USD cannot be added"):
        found_among(scene, [level(0.05)], [1], prices=prices)


def test_a_wall_of_the_library_lamp_is_known(tmp_path):
    """Lamps of the library have a surface even where no lamp of the scene has that one."""
    scene = between_tubes(tmp_path, lining={"reflectance": 0.5})
    assert BLACK["reflectance"] == 0.0
    with batches_of(SMALL_BATCH):
        found = study(
            scene,
            numbers=[1],
            lamps=["T5 6 W"],
            places=[upright(0.1, 0.06), upright(0.3, 0.06)],
            precision=0.3,
            options=OPTIONS,
        )
    assert found.places[0].kind.name == "T5 6 W"
    assert np.isfinite(found.best.best.time)
