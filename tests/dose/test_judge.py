"""From irradiance per face-side to the worst spot, the patches and the time."""

import math
from dataclasses import replace

import numpy as np
import pytest

from raysim.dose.exposure import Requirement, WarmUpCurve
from raysim.dose.judge import CaseEstimate, judge_case, place_words
from raysim.dose.result import EnergyAccount
from raysim.estimate.discs import PATCH_AREA, Discs, discs_about
from raysim.estimate.face_sides import judged_sites, weighted_percentile
from raysim.library.surfaces import find_surface
from raysim.scene.place import BOX_WALLS
from raysim.scene.triangles import (
    INSIDE,
    OUTSIDE,
    Body,
    LampRating,
    Part,
    SceneTriangles,
    wall_body,
)

STEP = 0.002  # m, mesh of the sheets


def sheet(size, corner=(0.0, 0.0, 0.0), across=(0.0, 0.0, 1.0), step=STEP):
    """Triangles (n, 3, 3) of a square sheet of side `size` m, first along x, then `across`."""
    steps = np.linspace(0.0, size, round(size / step) + 1)
    x, z = np.meshgrid(steps, steps, indexing="ij")
    at = np.array(corner) + x[..., None] * np.array([1.0, 0, 0]) + z[..., None] * np.array(across)
    a, b, c, d = at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]
    return np.concatenate([np.stack([a, b, c], axis=2), np.stack([a, c, d], axis=2)]).reshape(
        -1, 3, 3
    )


def scene_of(sheets, bodies=None, two_sided=True) -> SceneTriangles:
    """Scene of judged sheets; sheet i is part i, of body bodies[i]."""
    bodies = list(range(len(sheets))) if bodies is None else bodies
    corners = np.concatenate(sheets)
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(cross, axis=1)
    part = np.repeat(np.arange(len(sheets), dtype=np.int32), [len(s) for s in sheets])
    return SceneTriangles(
        corners=corners,
        normals=cross / length[:, None],
        areas=0.5 * length,
        face_part=part,
        judged=np.tile([True, two_sided], (len(corners), 1)),
        parts=tuple(Part(b, f"part {i}", 0, two_sided) for i, b in enumerate(bodies)),
        bodies=tuple(Body(f"body {b}", "object", True) for b in sorted(set(bodies))),
        surfaces=(find_surface("respirator fabric"),),
        lamps=(LampRating("l", 1.0, 0.0, 0, 0),),
        tubes=(),
    )


# ---------------------------------------------------------------- distributions


def test_percentiles_weigh_by_area():
    values = np.array([4.0, 1.0, 3.0, 2.0])
    areas = np.array([1.0, 1.0, 1.0, 97.0])
    # One of a hundred area sites lies at 1, the next ninety-seven at 2.
    assert weighted_percentile(values, areas, 0.01) == 1.0
    assert weighted_percentile(values, areas, 0.0101) == 2.0
    assert weighted_percentile(values, areas, 0.05) == 2.0
    assert weighted_percentile(values, areas, 0.985) == 3.0
    assert weighted_percentile(values, areas, 0.995) == 4.0
    assert weighted_percentile(values, areas, 1.0) == 4.0


def test_percentiles_do_not_depend_on_how_the_mesh_was_drawn():
    random = np.random.default_rng(5)
    values, areas = random.gamma(2.0, size=300), random.uniform(0.1, 1.0, 300)
    pieces = random.integers(1, 5, 300)
    split_values = np.repeat(values, pieces)
    split_areas = np.repeat(areas / pieces, pieces)
    for share in (0.01, 0.05, 0.5, 0.9):
        whole = weighted_percentile(values, areas, share)
        assert weighted_percentile(split_values, split_areas, share) == whole


def test_a_summary_by_hand():
    """Three triangles of 1, 2 and 1 cm2, far from one another."""
    legs = [[0.02, 0.01], [0.02, 0.02], [0.02, 0.01]]
    corners = [[[k, 0, 0], [k + a, 0, 0], [k, 0, b]] for k, (a, b) in enumerate(legs)]
    scene = scene_of([np.array(corners)], two_sided=False)
    values = np.array([2.0, 4.0, 8.0])
    even = values + np.array([0.0, 1.0, -1.0])
    estimate = CaseEstimate(
        *(np.stack([v, v], 1) for v in (values, 0.0 * values, 0.9 * values, even))
    )
    told = judge_case(
        scene,
        judged_sites(scene),
        estimate,
        Requirement(1e4, 1.2, WarmUpCurve()),
        name="cautious",
        lamp_factor=1.0,
        sure=np.ones(3, bool),
        bright=np.ones(3, bool),
        energy=EnergyAccount(1.0, {}, 0.0, 1.0),
    ).summary
    assert told.area_m2 == pytest.approx(4e-4)
    assert (told.worst, told.best, told.worst_1cm2) == (2.0, 8.0, 2.0)
    assert told.bound == 1.8
    assert told.mean == pytest.approx((2.0 + 10.0 + 7.0) / 4.0)
    assert (told.percentile_1, told.percentile_5) == (2.0, 2.0)


# ---------------------------------------------------------------- the 1 cm2 around a face-side


def pairs(discs):
    """Owner and member, as groups, of all pairs."""
    return np.repeat(np.arange(len(discs.first) - 1), np.diff(discs.first)), discs.within


def test_a_disc_holds_the_face_sides_within_its_radius():
    scene = scene_of([sheet(0.03)])
    faces, sides = np.nonzero(scene.judged)
    discs = discs_about(scene, faces, sides, PATCH_AREA)
    owner, member = pairs(discs)
    radius = math.sqrt(1e-4 / math.pi)
    assert radius == pytest.approx(5.642e-3, abs=1e-6)
    centroids = scene.centroids[faces]
    distance = np.linalg.norm(centroids[:, None] - centroids[None], axis=2)
    expected = (distance <= radius) & (sides[:, None] == sides[None])
    found = np.zeros_like(expected)
    found[owner, member] = True
    assert np.array_equal(found, expected)
    assert len(owner) == expected.sum(), "a pair stands twice"
    assert np.array_equal(discs.members(7), np.flatnonzero(expected[7]))
    # In the middle of the sheet the members cover about the area they should.
    middle = int(np.linalg.norm(centroids - [0.015, 0.0, 0.015], axis=1).argmin())
    area = scene.areas[faces[member[owner == middle]]].sum()
    assert area == pytest.approx(1e-4, rel=0.1)


def test_a_disc_keeps_to_its_part_its_side_and_its_layer():
    # Two layers of a fold 1 mm apart, the second facing the other way, and a part beside.
    layers = [sheet(0.02), sheet(0.02, (0.0, 0.001, 0.0))[:, ::-1], sheet(0.02, (0.02, 0.0, 0.0))]
    joined = scene_of([np.concatenate(layers[:2]), layers[2]], [0, 0])
    faces, sides = np.nonzero(joined.judged)
    owner, member = pairs(discs_about(joined, faces, sides, PATCH_AREA))
    part = joined.face_part[faces]
    assert (part[owner] == part[member]).all()
    assert (sides[owner] == sides[member]).all()
    turned = (joined.normals[faces[owner]] * joined.normals[faces[member]]).sum(axis=1)
    assert (turned > 0.5).all()
    lone = [np.bincount(owner)[part == k].max() for k in (0, 1)]
    assert lone[0] == lone[1]


def three_units():
    """Discs of three units: the first holds two of them, the last all."""
    first, within = np.array([0, 2, 3, 6]), np.array([0, 1, 1, 0, 1, 2])
    return Discs(np.array([1.0, 2.0, 1.0]), np.arange(3), first, within)


def test_disc_means_weigh_by_area():
    means = three_units().means(np.array([1.0, 4.0, 10.0]))
    assert means == pytest.approx([9.0 / 3.0, 4.0, (1.0 + 8.0 + 10.0) / 4.0])


def test_errors_of_disc_means_are_those_of_independent_values():
    discs, errors = three_units(), np.array([0.3, 0.4, 0.5])
    found = discs.errors(errors)
    by_hand = [math.hypot(0.3, 0.8) / 3.0, 0.4, math.hypot(0.3, 0.8, 0.5) / 4.0]
    assert found == pytest.approx(by_hand)
    drawn = np.random.default_rng(3).normal(0.0, errors, (20_000, 3))
    spread = np.std([discs.means(row) for row in drawn], axis=0)
    assert spread == pytest.approx(found, rel=4.0 / math.sqrt(2 * 20_000))


def test_a_linear_field_keeps_its_value_in_the_middle_of_a_disc():
    scene = scene_of([sheet(0.03)], two_sided=False)
    faces, sides = np.nonzero(scene.judged)
    x = scene.centroids[faces, 0]
    means = discs_about(scene, faces, sides, PATCH_AREA).means(3.0 + 100.0 * x)
    inner = np.abs(scene.centroids[faces] - [0.015, 0.0, 0.015]).max(axis=1) < 0.007
    assert np.abs(means[inner] - (3.0 + 100.0 * x[inner])).max() < 0.05


def test_face_sides_that_lie_densely_are_taken_together(monkeypatch):
    layers = [sheet(0.03, step=0.001), sheet(0.03, (0.0, 0.0002, 0.0), step=0.001)[:, ::-1]]
    scene = scene_of([np.concatenate(layers)])
    faces, sides = np.nonzero(scene.judged)
    values = np.sin(100.0 * scene.centroids[faces]).sum(axis=1) + 5.0 * sides
    exact = discs_about(scene, faces, sides, PATCH_AREA)
    monkeypatch.setattr("raysim.estimate.discs.MOST_PAIRS", 100_000)
    coarse = discs_about(scene, faces, sides, PATCH_AREA)
    assert len(coarse.within) < len(exact.within) / 3
    for unit in (0, 500, len(faces) - 1):
        own = coarse.members(unit)
        assert unit in own
        assert (sides[own] == sides[unit]).all()
        assert (scene.normals[faces[own]] @ scene.normals[faces[unit]] > 0.5).all()
    middle = np.abs(scene.centroids[faces] - [0.015, 0.0, 0.015]).max(axis=1) < 0.009
    areas = [scene.areas[faces[coarse.members(k)]].sum() for k in np.flatnonzero(middle)[::97]]
    assert np.allclose(areas, 1e-4, rtol=0.15)
    assert np.abs(coarse.means(values) - exact.means(values)).max() < 0.1
    # The errors of many independent values shrink as they do one by one.
    ones = np.ones(len(faces))
    assert np.allclose(coarse.errors(ones)[middle], exact.errors(ones)[middle], rtol=0.1)


# ---------------------------------------------------------------- words and spots


@pytest.mark.parametrize(
    ("point", "words"),
    [
        ((0.0, 0.0, 0.0), "bottom, left, door side"),
        ((0.3, 0.3, 0.3), "top, right, rear side"),
        ((0.15, 0.15, 0.15), "middle"),
        ((0.15, 0.15, 0.29), "top"),
        ((0.02, 0.15, 0.15), "left"),
        ((0.15, 0.29, 0.15), "rear side"),
    ],
)
def test_places_are_said_as_seen_from_the_door(point, words):
    block = scene_of([sheet(0.3), sheet(0.3, across=(0.0, 1.0, 0.0))], [0, 0])
    box = replace(block, bodies=(*block.bodies, *map(wall_body, BOX_WALLS)))
    assert place_words(box, 0, np.array(point)) == words
    # A drum has neither door nor left side; nor has an attic whose mesh names some walls like that.
    for walls in ([""], ["front", "left", "roof"]):
        drum = replace(block, bodies=(*block.bodies, *map(wall_body, walls)))
        axes = {"left": "small x", "right": "large x", "door side": "small y"}
        axes |= {"rear side": "large y"}
        said = ", ".join(axes.get(word, word) for word in words.split(", "))
        assert place_words(drum, 0, np.array(point)) == said


# ---------------------------------------------------------------- a whole case


def judged(
    irradiance, lower, trusted=None, scene=None, target=1e4, safety=1.2, bright=None, error=None
):
    """Judge one case of a scene of two bodies, W/m2."""
    scene = scene or scene_of([sheet(0.004), sheet(0.004, (0.02, 0.0, 0.0))])
    sites = judged_sites(scene)
    error = 0.01 * irradiance if error is None else error
    estimate = CaseEstimate(irradiance, error, lower, irradiance)
    everyone = np.ones(len(sites.faces), bool)
    trusted = everyone if trusted is None else trusted[scene.judged]
    bright = everyone if bright is None else bright[scene.judged]
    warm_up = WarmUpCurve((0.0, 300.0), (0.5, 1.0))
    energy = EnergyAccount(1.0, {}, 0.0, 1.0)
    return judge_case(
        scene,
        sites,
        estimate,
        Requirement(target, safety, warm_up),
        name="cautious",
        lamp_factor=0.7,
        sure=trusted,
        bright=bright,
        energy=energy,
    )


def level(value=10.0):
    """Irradiance (16 faces, 2) of the two small sheets, all alike."""
    return np.full((16, 2), value)


def test_units_are_the_judged_face_sides_in_order():
    scene = scene_of([sheet(0.004), sheet(0.004, (0.02, 0.0, 0.0))], two_sided=False)
    sites = judged_sites(scene)
    assert sites.faces.tolist() == list(range(16))
    assert (sites.sides == OUTSIDE).all()
    assert sites.areas == pytest.approx(np.full(16, 2e-6))
    assert sites.bodies.tolist() == [0] * 8 + [1] * 8


def test_worst_and_best_are_named_with_object_side_and_place():
    irradiance = level()
    irradiance[11, INSIDE], irradiance[3, OUTSIDE] = 2.0, 50.0
    case = judged(irradiance, 0.9 * irradiance)
    assert (case.worst.object, case.worst.part) == ("body 1", "part 1")
    assert (case.worst.side, case.worst.face) == ("inside", 11)
    assert case.worst.irradiance == 2.0
    assert case.worst.standard_error == 0.02
    assert case.worst.lower_bound == pytest.approx(1.8)
    assert (case.best.object, case.best.side, case.best.face) == ("body 0", "outside", 3)
    assert [spot.face for spot in case.worst_per_object] == [0, 11]
    assert [entry.name for entry in case.per_object] == ["body 0", "body 1"]
    assert [entry.worst for entry in case.per_object] == [10.0, 2.0]
    assert case.summary.area_m2 == pytest.approx(2 * 16 * 2e-6)


def test_the_bound_is_the_smallest_of_all_bounds_not_that_of_the_worst():
    # One face-side looks brighter than the worst, but is known far less well.
    irradiance, lower = level(), 0.98 * level()
    irradiance[2, OUTSIDE], lower[2, OUTSIDE] = 5.0, 4.9
    irradiance[9, INSIDE], lower[9, INSIDE] = 6.0, 1.0
    case = judged(irradiance, lower)
    assert case.worst.irradiance == 5.0
    assert case.bound == 1.0
    assert case.precision == pytest.approx(0.8)
    # 1.2 x 10 kJ/m2 at 1 W/m2, and 75 s lost while warming up.
    assert case.exposure_time == pytest.approx(12_000.0 + 75.0, rel=1e-12)


def test_only_bright_face_sides_are_named_best():
    irradiance = level()
    irradiance[3, INSIDE], irradiance[5, OUTSIDE] = 40.0, 30.0  # the first by noise alone
    bright = np.zeros((16, 2), bool)
    bright[5, OUTSIDE] = bright[2, INSIDE] = True
    case = judged(irradiance, 0.9 * irradiance, bright=bright)
    assert (case.best.face, case.best.side, case.best.irradiance) == (5, "outside", 30.0)


def test_the_best_of_all_is_the_best_of_its_object_and_of_no_object_more():
    """Noise on faces that were not traced closely is not printed as light."""
    irradiance = level()
    irradiance[3, INSIDE], irradiance[5, OUTSIDE] = 40.0, 30.0
    irradiance[11, INSIDE] = 90.0  # one noisy face of the other body
    bright = np.zeros((16, 2), bool)
    bright[5, OUTSIDE] = bright[2, INSIDE] = True
    error = 0.01 * level()
    error[11, INSIDE] = 45.0
    case = judged(irradiance, 0.9 * irradiance, bright=bright, error=error)
    assert case.summary.best == case.best.irradiance == 30.0
    own, other = (entry.best for entry in case.per_object)
    assert own == 30.0
    assert 10.0 <= other <= 30.0


def test_where_nothing_was_traced_closely_a_square_centimetre_stands_for_the_best():
    """The brightest of many noisy faces lies far above the truth; the mean about it does not."""
    random = np.random.default_rng(8)
    sheets = scene_of([sheet(0.03), sheet(0.03, (0.05, 0.0, 0.0))])
    counts = random.poisson(1.5, sheets.judged.shape)
    irradiance, error = 10.0 * counts / 1.5, 10.0 * np.sqrt(np.maximum(counts, 1)) / 1.5
    nobody = np.zeros_like(sheets.judged)
    case = judged(irradiance, np.zeros_like(irradiance), nobody, sheets, bright=nobody, error=error)
    assert irradiance.max() > 25.0
    assert 10.0 < case.best.irradiance < 15.0
    assert case.summary.best == case.best.irradiance
    assert all(entry.best <= case.best.irradiance for entry in case.per_object)


def test_only_trusted_face_sides_are_named_worst_but_all_are_bounded():
    irradiance, lower = level(), 0.9 * level()
    error = 0.01 * level()
    irradiance[2, OUTSIDE], lower[2, OUTSIDE], error[2, OUTSIDE] = 3.0, 0.5, 1.0  # a noisy count
    irradiance[9, INSIDE], lower[9, INSIDE] = 4.0, 3.9
    trusted = np.zeros((16, 2), bool)
    trusted[9, INSIDE] = trusted[1, OUTSIDE] = True
    case = judged(irradiance, lower, trusted, error=error)
    assert (case.worst.face, case.worst.irradiance) == (9, 4.0)
    assert case.bound == 0.5


def test_a_spot_known_to_be_too_dark_is_named_before_one_that_is_hardly_known():
    # 1.2 x 10 kJ/m2 in a week: less than 0.0198 W/m2 is too dark to wait for.
    irradiance, lower, error = level(), 0.9 * level(), 0.01 * level()
    trusted = np.zeros((16, 2), bool)
    irradiance[2, OUTSIDE], lower[2, OUTSIDE], error[2, OUTSIDE] = 0.004, 0.001, 0.001
    irradiance[9, INSIDE], lower[9, INSIDE], error[9, INSIDE] = 0.0, 0.0, 0.02
    case = judged(irradiance, lower, trusted, error=error)
    assert (case.worst.face, case.worst.lower_bound) == (2, 0.001)
    assert (case.bound, case.exposure_time) == (0.0, np.inf)
    # The control: above what is too dark, the one that may be without any light is named.
    irradiance[2, OUTSIDE] = 0.03
    assert judged(irradiance, lower, trusted, error=error).worst.face == 9


def test_a_spot_given_up_as_hopelessly_dark_is_named_and_not_the_darkest_known_one():
    # As behind a slit: the run spent its rays, and 1e-5 of the light is known to 50 %.
    irradiance, lower, error = level(), 0.98 * level(), 0.01 * level()
    irradiance[12, INSIDE], lower[12, INSIDE], error[12, INSIDE] = 1e-4, 1e-9, 5e-5
    trusted = np.ones((16, 2), bool)
    trusted[12, INSIDE] = False
    case = judged(irradiance, lower, trusted, error=error)
    assert (case.worst.object, case.worst.face) == ("body 1", 12)
    assert case.worst.irradiance == 1e-4
    assert case.bound == 1e-9


def test_the_worst_of_each_object_is_no_fluke():
    # On each body one spot is known well, and another lies lower by its noise alone.
    irradiance, error = level(), 0.01 * level()
    for known, noisy, value in ((3, 5, 4.0), (10, 12, 6.0)):
        irradiance[known, OUTSIDE], error[known, OUTSIDE] = value, 0.01 * value
        irradiance[noisy, INSIDE], error[noisy, INSIDE] = 0.7 * value, 0.3 * value
    lower = irradiance - 2.0 * error
    trusted = np.zeros((16, 2), bool)
    trusted[3, OUTSIDE] = True
    case = judged(irradiance, lower, trusted, error=error)
    assert [spot.face for spot in case.worst_per_object] == [3, 10]
    assert [entry.worst for entry in case.per_object] == [4.0, 6.0]
    assert [entry.bound for entry in case.per_object] == pytest.approx([0.4, 0.6])
    assert case.summary.worst == 4.0
    assert case.bound == case.summary.bound == pytest.approx(0.4)


def test_the_darkest_spot_of_each_part_of_each_object_is_told_darkest_first():
    sheets = [sheet(0.004, (0.02 * k, 0.0, 0.0)) for k in range(4)]
    scene = scene_of(sheets, bodies=[0, 0, 1, 1])
    names = ("shell", "straps", "Shell", "straps")
    parts = tuple(replace(p, name=name) for p, name in zip(scene.parts, names, strict=True))
    irradiance = np.full((32, 2), 10.0)
    irradiance[5, INSIDE], irradiance[20, OUTSIDE], irradiance[30, INSIDE] = 4.0, 3.0, 6.0
    case = judged(irradiance, 0.9 * irradiance, scene=replace(scene, parts=parts))
    found = [(spot.part, spot.object, spot.face) for spot in case.worst_per_part]
    assert found[:3] == [("Shell", "body 1", 20), ("shell", "body 0", 5), ("straps", "body 1", 30)]
    assert [(part, body) for part, body, _ in found[3:]] == [("straps", "body 0")]


def test_the_object_of_the_named_spot_names_the_same():
    # A spot of the same object is darker, but was not among those that are named.
    irradiance, lower = level(), 0.9 * level()
    irradiance[2, OUTSIDE], irradiance[4, OUTSIDE] = 4.0, 3.0
    trusted = np.zeros((16, 2), bool)
    trusted[2, OUTSIDE] = True
    case = judged(irradiance, lower, trusted)
    assert case.worst.face == case.worst_per_object[0].face == 2


def test_the_worst_of_a_run_without_paths_is_no_fluke_either():
    irradiance, error = level(), 0.05 * level()
    irradiance[3, OUTSIDE], error[3, OUTSIDE] = 5.0, 0.5
    irradiance[9, INSIDE], error[9, INSIDE] = 4.0, 2.0
    case = judged(irradiance, 0.2 * level(), np.zeros((16, 2), bool), error=error)
    assert (case.worst.face, case.worst.side) == (3, "outside")


def test_a_dark_face_side_has_no_time():
    irradiance = level()
    irradiance[7, INSIDE] = 0.0
    case = judged(irradiance, 0.9 * irradiance)
    assert case.worst.face == 7
    assert case.bound == 0.0
    assert case.precision == 1.0
    assert case.exposure_time == math.inf


def test_a_face_side_that_may_be_dark_has_no_time_either():
    lower = 0.9 * level()
    lower[4, OUTSIDE] = 0.0
    case = judged(level(), lower)
    assert case.worst.irradiance == 10.0
    assert case.exposure_time == math.inf


def test_dose_and_safety_factor_multiply_the_effective_time():
    lower = 0.5 * level()
    one = judged(level(), lower, target=1e4, safety=1.0).exposure_time - 75.0
    assert one == pytest.approx(2000.0, rel=1e-12)
    assert judged(level(), lower, safety=1.5).exposure_time - 75.0 == pytest.approx(1.5 * one)
    double = judged(level(), lower, target=2e4, safety=1.0).exposure_time
    assert double - 75.0 == pytest.approx(2.0 * one)


def test_the_darkest_square_centimetre_is_reported_beside_the_darkest_face():
    scene = scene_of([sheet(0.03)], two_sided=False)
    irradiance = np.full((len(scene.areas), 2), 10.0)
    middle = int(np.linalg.norm(scene.centroids - [0.015, 0.0, 0.015], axis=1).argmin())
    irradiance[middle, OUTSIDE] = 0.0
    case = judged(irradiance, irradiance, scene=scene)
    assert case.summary.worst == 0.0
    # One face of 2 mm2 in about 100 mm2.
    assert case.summary.worst_1cm2 == pytest.approx(9.8, abs=0.03)
    assert case.summary.percentile_1 == 10.0


def test_of_thousands_that_are_hardly_known_no_fluke_is_named():
    # A run that ended before its precision: one lies low, by three of its errors, another is known.
    irradiance, error = level(), 0.05 * level()
    irradiance[3, OUTSIDE], error[3, OUTSIDE] = 5.0, 0.05
    irradiance[9, INSIDE], error[9, INSIDE] = 3.0, 0.65
    case = judged(irradiance, 0.2 * level(), np.zeros((16, 2), bool), error=error)
    assert (case.worst.face, case.worst.irradiance) == (3, 5.0)
    # The control: one that is darker by more than its errors is named, known or not.
    error[9, INSIDE] = 0.45
    case = judged(irradiance, 0.2 * level(), np.zeros((16, 2), bool), error=error)
    assert case.worst.face == 9
