"""Linings along shared paths: the same light as traced alone, and sharper when compared."""

import json
from dataclasses import replace

import numpy as np
import pytest
from agreement import agrees, all_agree
from boxes import three_lamps
from running import contents, raysim_said
from small_scenes import small_scene, write_scene

import raysim
import raysim.library.surfaces
import raysim.studies.linings.bench
import raysim.studies.linings.compare
from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.estimate.bounds import batch_mean
from raysim.estimate.cells import in_cells
from raysim.estimate.face_sides import judged_sites
from raysim.estimate.refinement import forward_only
from raysim.library.surfaces import find_surface
from raysim.output.pictures.linings_chart import longest_drawn
from raysim.output.studies.linings import write
from raysim.output.words.linings import (
    alike,
    alike_words,
    answer,
    more_lines,
    time_words,
    wall_words,
)
from raysim.output.words.linings_tables import linings_table, walls_table
from raysim.output.words.numbers import least_time
from raysim.scene.file.written import Meter
from raysim.scene.triangles import Untreated
from raysim.studies.linings.bench import LiningBench
from raysim.studies.linings.columns import (
    BLACK,
    Variant,
    alike_lamps_as_one,
    column_scene,
    equally_glossy,
    glossy_and_bright,
    in_groups,
    lamps_summed,
    wall_surfaces,
)
from raysim.studies.linings.run import AS_WRITTEN
from raysim.studies.linings.run import study as study_of
from raysim.studies.tracer import WorstOfCases
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.known import known_beforehand
from raysim.transport.options import RunOptions
from raysim.transport.paths import PATH_BATCHES, ROUND_BATCHES, BackwardRun
from raysim.transport.photons import PhotonRun
from raysim.transport.starts import Start

DEGREES = PATH_BATCHES - 1
NAMES = (
    "expanded PTFE sheet, 0.5 mm or more",
    "aluminium sheet, polished",
    "aluminium foil, crumpled or hand-glued",
    "white paint",
    "household mirror",
    "bare plywood",
)


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    """Box of three lamps and a plate of a few faces."""
    return three_lamps(tmp_path_factory.mktemp("scene"), edge=130)


def variant(scene, name):
    """All walls lined with one library surface."""
    return Variant(name, (find_surface(name),) * len(wall_surfaces(scene.triangles)))


def traced(scene, group, paths, seed=5, faces=None):
    """Irradiance by batch (sites, batches, columns), all lamps at full rating, of some faces."""
    arrays = column_scene(scene.triangles, group)
    run = BackwardRun(arrays, scene.triangles, seed, 2)
    sites = judged_sites(scene.triangles)
    count = len(sites.faces) if faces is None else faces
    run.add_starts(sites.targets(np.arange(count)))
    run.add_paths(np.arange(count), np.full(count, paths))
    return run.batch_irradiance(np.arange(count)).sum(axis=2)


def lined(scene, walls):
    """Forward tallies of the scene with its walls lined: mean and error (cases, sites)."""
    parts = iter(walls)
    triangles = scene.triangles
    surfaces = triangles.surfaces + walls
    first = len(triangles.surfaces)
    relined = replace(
        triangles,
        surfaces=surfaces,
        parts=tuple(
            replace(part, surface=first + number)
            if triangles.bodies[part.body].kind == "wall" and next(parts)
            else part
            for number, part in enumerate(triangles.parts)
        ),
    )
    arrays = kernel_scene(relined)
    run = PhotonRun(arrays, 77, 2)
    run.add_batches(32)
    total, squares = run.arrivals()
    scale = arrays.lamp_watts / run.photons
    sites = judged_sites(triangles)
    at = (slice(None), slice(None), sites.faces, sites.sides)
    area = triangles.areas[sites.faces]
    mean = np.einsum("clu,l->cu", total[at], scale) / area
    spread = squares[at] - total[at] ** 2 / run.batches
    error = np.sqrt(np.einsum("clu,l->cu", np.maximum(spread, total[at]), scale**2)) / area
    return mean, error


@pytest.mark.parametrize("names", [NAMES[1:3], NAMES[3:4] + NAMES[5:]])
def test_shared_paths_agree_with_photons(scene, names):
    """Backward paths that serve unlike linings at once, against photons in each box alone.

    The first group is not one that the study would form: mirror shares of 0.75 and 0.5.
    """
    group = [variant(scene, name) for name in names]
    batches = traced(scene, group, 220)
    mean, error = batches.mean(axis=1), batches.std(axis=1, ddof=1) / 8.0
    for number, one in enumerate(group):
        photons, photon_error = lined(scene, one.walls)
        for case in (0, 1):
            column = 2 * number + case
            both = np.hypot(error[:, column], photon_error[case])
            # The linings of a group differ by far more than this.
            assert all_agree(mean[:, column], both, photons[case], catches=0.25, degrees=DEGREES)


def test_a_lining_alone_and_in_a_group_agree(scene):
    polished, mirror = variant(scene, NAMES[1]), variant(scene, "metallised polyester, metal side")
    together = traced(scene, [polished, mirror], 700, seed=5, faces=2)[..., :2]
    alone = traced(scene, [polished], 700, seed=6, faces=2)
    assert (together != alone).any()
    for unit in range(2):
        for case in range(2):
            one, other = together[unit, :, case], alone[unit, :, case]
            error = np.hypot(one.std(ddof=1), other.std(ddof=1)) / 8.0
            assert agrees(one.mean(), error, other.mean(), catches=0.15, degrees=DEGREES)


def test_a_group_of_one_has_the_weights_of_the_scene(scene):
    """Relined with what it has, the scene gives the very same numbers: weights are exactly one."""
    own = traced(scene, [Variant(AS_WRITTEN, wall_surfaces(scene.triangles))], 4)
    run = BackwardRun(kernel_scene(scene.triangles), scene.triangles, 5, 2, cases=slice(0, 2))
    sites = judged_sites(scene.triangles)
    run.add_starts(sites.targets(np.arange(len(sites.faces))))
    run.add_paths(np.arange(len(sites.faces)), np.full(len(sites.faces), 4))
    assert (run.batch_irradiance(np.arange(len(sites.faces))).sum(axis=2) == own).all()


@pytest.mark.parametrize(("shares", "kinds"), [((0.8, 0.8, 0.8), 1), ((0.8, 0.7, 0.8), 2)])
def test_lamps_of_like_output_may_share_a_tally(scene, shares, kinds):
    arrays = column_scene(scene.triangles, [variant(scene, NAMES[1])])
    factors = np.array([shares, [1.0] * 3])
    merged, few, kind = alike_lamps_as_one(arrays, factors)
    assert few.shape == (2, kinds)
    assert (few[:, kind] == factors).all()
    assert merged.lamp_watts.sum() == pytest.approx(arrays.lamp_watts.sum())
    sites = judged_sites(scene.triangles)
    light = []
    for one, output in ((arrays, factors), (merged, few)):
        run = BackwardRun(one, scene.triangles, 5, 2)
        run.add_starts(sites.targets(np.arange(2)))
        run.add_paths(np.arange(2), np.array([30, 30]))
        light.append(np.einsum("tblc,cl->tbc", run.batch_irradiance(np.arange(2)), output))
    assert light[0].min() >= 0.0
    assert light[0].max() > 0.0
    # Sums of paths are kept in single precision.
    assert np.abs(light[0] - light[1]).max() < 1e-6 * light[0].max()


def test_mirror_wall_is_an_image_source(tmp_path):
    """One perfect mirror wall, all else black: the light of the lamps and of their images.

    The plate faces the mirror behind it; the image of each lamp lies as far behind the wall.
    """
    scene = three_lamps(tmp_path, edge=130)
    mirror = raysim.library.surfaces.Surface("perfect mirror", 1.0, 1.0, 1.0, 1.0)
    names = [b.name for b in scene.triangles.bodies if b.kind == "wall"]
    behind = names.index("chamber: back")
    walls = tuple(mirror if k == behind else BLACK for k in range(len(names)))
    (pose,) = scene.poses
    surfaces = tuple(replace(BLACK, name=s.name) for s in scene.triangles.surfaces)
    triangles = replace(pose.triangles, surfaces=surfaces)
    dark = replace(scene, poses=(replace(pose, triangles=triangles),))
    batches = traced(dark, [Variant("mirror", walls)], 400)
    bare = traced(dark, [Variant("bare", (BLACK,) * len(names))], 400)
    gain = (batches - bare)[..., 1]
    sites = judged_sites(scene.triangles)
    inner = np.flatnonzero(sites.sides == 1)  # towards the back wall, which lies at y = 250 mm
    lamps = [(t.start, t.end, t.radius, t.lamp) for t in scene.triangles.tubes]
    from_image = np.zeros(len(inner))
    for number, unit in enumerate(inner):
        corners = scene.triangles.corners[sites.faces[unit]]
        for start, end, radius, lamp in lamps:
            watts = scene.triangles.lamps[lamp].uvc_W
            image = [np.array([p[0], 0.5 - p[1], p[2]]) for p in (start, end)]
            from_image[number] += irradiance_of_tube(corners, *image, radius, watts)
    # Tubes hide parts of each other's images: the sum is an upper limit, missed by little.
    mean, error = gain[inner].mean(axis=1), gain[inner].std(axis=1, ddof=1) / 8.0
    assert (mean < from_image + 5.0 * error).all()
    assert (mean > 0.9 * from_image - 5.0 * error).all()
    assert (error < 0.05 * from_image).all()


def irradiance_of_tube(corners, start, end, radius, watts, points=200):
    """Mean irradiance (W/m2) of a triangle that looks towards +y, from a thin glowing tube.

    Lambertian mantle seen from afar: radiant intensity per length of watts / (pi^2 length) times
    the sine to the axis (Keitz 1971); midpoint rule along the tube and over the triangle.
    """
    steps = (np.arange(points) + 0.5) / points
    along = start + steps[:, None] * (end - start)
    length = np.linalg.norm(end - start)
    axis = (end - start) / length
    weights = [(a, b, 1 - a - b) for a in (1 / 6, 2 / 3) for b in (1 / 6, 2 / 3) if a + b < 0.9]
    total = 0.0
    for weight in weights:
        way = along - np.array(weight) @ corners
        distance = np.linalg.norm(way, axis=1)
        sine = np.sqrt(1.0 - (way @ axis / distance) ** 2)
        cosine = np.maximum(way[:, 1] / distance, 0.0)
        intensity = watts / (np.pi**2 * length) * sine
        total += (intensity * cosine / distance**2).sum() * length / points / len(weights)
    return total


@pytest.fixture(scope="module")
def study(scene):
    """Six linings and the box as it is (foil); fewer paths than usual for each pair of them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(raysim.studies.linings.compare, "PAIRED_PATHS", 100_000)
        return study_of(
            scene,
            [find_surface(name) for name in NAMES],
            prices={"white paint": 4.0},
            walls=True,
            precision=0.03,
            options=RunOptions(seed=1, threads=2),
        )


def test_the_bright_beat_the_dark(study):
    names = [row.name for row in study.rows]
    assert names[0] == NAMES[0]
    assert set(names[-3:]) == {"white paint", "household mirror", "bare plywood"}
    by_name = {row.name: row for row in study.rows}
    for name in ("white paint", "household mirror"):
        assert 1.0 < by_name[name].gain[CAUTIOUS] < 1.4
    assert by_name[NAMES[0]].gain[CAUTIOUS] > 5.0
    assert by_name["white paint"].cost == pytest.approx(4.0 * by_name["white paint"].area)
    # 2 (0.3 x 0.25 + 0.3 x 0.35 + 0.25 x 0.35) m2
    assert by_name["white paint"].area == pytest.approx(0.535)


def test_bounds_and_times_agree_with_a_dose_run(scene, study):
    """The box as it is: the same worst face and time as the main job finds."""
    dose = raysim.simulate(scene, seed=9, photons=1_000_000, precision=0.03)
    row = next(row for row in study.rows if row.name == AS_WRITTEN)
    for case in (CAUTIOUS, EXPECTED):
        ours, theirs = row.cases[case], dose.cases[case]
        assert ours.settled
        assert ours.exposure_time == pytest.approx(theirs.exposure_time, rel=0.05)


@pytest.mark.parametrize(("irradiance", "says"), [(0.0, "No lining brings"), (1e-6, "found some")])
def test_without_a_time_the_answer_says_whether_light_was_found(study, irradiance, says):
    best = study.rows[0]
    worst = replace(best.cases[CAUTIOUS].worst, irradiance=irradiance)
    dark = replace(best.cases[CAUTIOUS], worst=worst, exposure_time=np.inf)
    row = replace(best, cases={**best.cases, CAUTIOUS: dark})
    assert says in answer(replace(study, rows=(row, *study.rows[1:])))


def test_linings_that_all_leave_a_spot_too_dark_have_no_winner(study):
    rows = tuple(
        replace(row, cases={name: replace(case, stopped=1e6) for name, case in row.cases.items()})
        for row in study.rows
    )
    dark = replace(study, rows=rows)
    assert "more than a week" in answer(dark)
    assert "Line the box" not in answer(dark)
    assert alike_words(dark) == ()
    assert linings_table(dark).rows[0][1] == "more than a week"


def test_the_verdict_is_that_of_the_table(study):
    """Ranges that do not overlap are told apart, each lining against every other.

    It was "cannot be told apart" for two that differed by sixteen standard errors.
    """
    rows = study.rows
    assert len(study.pairs) == len(rows) * (len(rows) - 1) / 2
    decided = 0
    for number, first in enumerate(rows):
        for second in rows[number + 1 :]:
            ours, theirs = first.cases[CAUTIOUS].worst, second.cases[CAUTIOUS].worst
            error = np.hypot(ours.standard_error, theirs.standard_error)
            if ours.lower_bound > second.most:
                decided += 1
                assert study.better(first, second)
                assert ours.irradiance > theirs.irradiance
            if first.cases[CAUTIOUS].settled and ours.irradiance - theirs.irradiance > 10 * error:
                assert study.better(first, second), (first.name, second.name)
    assert decided > 10
    for row in rows:
        worst = row.cases[CAUTIOUS].worst
        assert worst.irradiance - 4.0 * worst.standard_error < row.most < 1.1 * worst.irradiance


def test_the_same_paths_tell_what_the_ranges_leave_open(scene):
    """Common random numbers: a reflectance 0.3 % higher is seen, with bounds 10 % off."""
    foil = find_surface("foil")
    up = {
        f"reflectance{e}": 1.003 * getattr(foil, f"reflectance{e}") for e in ("_low", "", "_high")
    }
    brighter = replace(foil, name="brighter", **up)
    study = study_of(scene, [foil, brighter], walls=False, precision=0.1, options=RunOptions(3, 2))
    assert study.rows[0].name == "brighter"
    (pair,) = [p for p in study.pairs if (p.first, p.second) == ("brighter", foil.name)]
    assert pair.least < pair.most
    assert pair.same_paths > 0.0
    assert pair.told_apart


def test_a_lining_cannot_be_told_from_itself(scene):
    foil = find_surface("foil")
    study = study_of(
        scene,
        [foil],
        walls=False,
        precision=0.1,
        options=RunOptions(seed=3, threads=2),
    )
    (pair,) = study.pairs
    assert not pair.told_apart
    assert pair.same_paths == 0.0


def test_far_apart_linings_are_told_apart_where_many_faces_are_nearly_the_darkest(tmp_path):
    """Loose bounds leave hundreds of face-sides that could be the worst under the bright one."""
    scene = three_lamps(tmp_path, edge=12)
    ptfe, paint = find_surface("ePTFE"), find_surface("white paint")
    study = study_of(
        scene,
        [ptfe, paint],
        walls=False,
        precision=0.3,
        options=RunOptions(seed=3, threads=2),
    )
    assert [row.name for row in study.rows] == [ptfe.name, AS_WRITTEN, paint.name]
    for first, second in zip(study.rows[:-1], study.rows[1:], strict=True):
        brighter, darker = first.cases[CAUTIOUS].worst, second.cases[CAUTIOUS].worst
        assert brighter.lower_bound > 2.0 * darker.irradiance
        assert study.better(first, second)
    assert answer(study).startswith(f"Line the box with {ptfe.name}: ")


def test_the_answer_holds_the_box_against_the_best_not_against_its_neighbour(study):
    """Small steps that none can tell add up to one that can."""
    none = replace(
        study,
        pairs=tuple(level(pair) for pair in study.pairs),
    )
    assert answer(none).startswith("Keep the lining as it is")
    assert not any(row[-1] for row in linings_table(none).rows)  # nothing saves minutes
    best = study.rows[0].name
    apart = [
        apart_from(pair) if (pair.first, pair.second) == (best, AS_WRITTEN) else pair
        for pair in none.pairs
    ]
    told = answer(replace(none, pairs=tuple(apart)))
    assert told.startswith(f"Line the box with {NAMES[0]} or ")
    assert "as it is now" in told
    cheap = next(row for row in study.rows[1:] if row.name != AS_WRITTEN)
    priced = tuple(replace(row, cost=4.0 if row is cheap else 9.0) for row in study.rows)
    told = answer(replace(none, pairs=tuple(apart), rows=priced))
    assert told.startswith(f"Line the box with {cheap.name}: ")


def level(pair):
    """The pair, not told apart."""
    return replace(pair, least=1.0, most=2.0, same_paths=-np.inf)


def apart_from(pair):
    """The pair, told apart."""
    return replace(pair, least=2.0, most=1.0)


def test_numbers_of_the_table_say_no_more_digits_than_they_are_worth(study):
    dark = replace(
        study.black,
        cases={
            name: replace(case, exposure_time=4.5e8, settled=False)
            for name, case in study.black.cases.items()
        },
    )
    table = linings_table(replace(study, black=dark))
    assert table.rows[-1][1] == table.rows[-1][7] == "more than a week"
    big = replace(study.rows[0], gain={CAUTIOUS: 11163.85, EXPECTED: 11472.19})
    spot = study.black.cases[CAUTIOUS].worst
    lit, noise, none = (
        replace(
            study.black,
            cases={
                name: replace(case, worst=replace(spot, irradiance=light), settled=settled)
                for name, case in study.black.cases.items()
            },
        )
        for light, settled in ((0.01, True), (0.01, False), (1e-5, False))  # W/m2
    )
    for black, words in ((lit, "11,200"), (noise, "not settled"), (none, "from nothing")):
        rows = linings_table(replace(study, rows=(big, *study.rows[1:]), black=black)).rows
        assert rows[0][5] == words


def test_where_nothing_can_be_vouched_for_no_light_is_shown(study):
    """A black box of many folds seemed brighter than one with white paint: 0.02 mW/cm2."""
    guess = replace(study.black.cases[CAUTIOUS].worst, irradiance=0.2, lower_bound=0.0)
    cases = {
        name: replace(case, worst=guess, settled=False) for name, case in study.black.cases.items()
    }
    row = linings_table(replace(study, black=replace(study.black, cases=cases))).rows[-1]
    assert (row[2], row[6], row[8]) == ("not settled",) * 3
    known = linings_table(study).rows[-1]
    assert "not settled" not in (known[2], known[6], known[8])


def test_a_wall_that_brings_no_light_to_the_darkest_cell_has_no_gain(study):
    """It was given as 0 ± 0, and with a gain of 0 over the black box."""
    row = study.rows[0]
    none = replace(row.cases[CAUTIOUS].worst, irradiance=0.0, standard_error=0.0, lower_bound=0.0)
    cases = {name: replace(case, worst=none) for name, case in row.cases.items()}
    found = replace(study, walls=(row, replace(row, cases=cases, gain={CAUTIOUS: 0.0})))
    lit, dark = walls_table(found).rows
    assert dark[1:3] == ("not settled",) * 2
    assert "not settled" not in lit


def test_one_dark_lining_does_not_flatten_the_bars_of_the_good_ones(study):
    times = {row.name: row.cases[CAUTIOUS].exposure_time / 60.0 for row in study.rows}
    end = longest_drawn(study)
    assert end in times.values()
    shortest = min(times.values())
    assert end <= 8.0 * shortest
    assert all(time <= end for time in times.values() if time <= 8.0 * shortest)
    slow = replace(study.rows[-1].cases[CAUTIOUS], exposure_time=4.5e8)
    dark = replace(study.rows[-1], cases=study.rows[-1].cases | {CAUTIOUS: slow})
    assert longest_drawn(replace(study, rows=(*study.rows[:-1], dark))) <= end


def test_photon_counts_of_many_linings_are_those_of_each_alone(scene, monkeypatch):
    monkeypatch.setattr(raysim.studies.linings.bench, "PHOTONS", 500_000)
    group = [variant(scene, name) for name in ("white paint", "aluminium sheet, mill finish")]
    group.append(variant(scene, "household mirror"))
    assert in_groups(group, equally_glossy) == [[0, 1], [2]]
    state, _, _ = LiningBench(scene, RunOptions(5, 2)).counted(group, np.ones((6, 3)))
    for number, one in enumerate(group):
        photons, error = lined(scene, one.walls)
        for case in (0, 1):
            column = 2 * number + case
            both = np.hypot(error[case], state.forward_error[column])
            assert all_agree(state.mean[column], both, photons[case], catches=0.3)


def test_paths_that_read_counts_see_every_lining_as_the_plain_walk_does(tmp_path):
    """Linings of unlike gloss along the same paths, and lamps of two kinds."""
    scene = three_lamps(tmp_path, edge=30)
    names = ("white paint", "aluminium sheet, mill finish", "household mirror")
    group = [variant(scene, name) for name in names]
    bench = LiningBench(scene, RunOptions(5, 2))
    factors = np.tile([0.8, 0.7, 0.8], (6, 1))
    _, light, segments = bench.counted(group, factors)
    arrays, few, kind = alike_lamps_as_one(
        column_scene(scene.triangles, group, bench.bare), factors
    )
    light = lamps_summed(light, kind, few.shape[1])
    known = known_beforehand(arrays, scene.triangles, bench.tiles, light, segments)
    everyone, sums = np.arange(len(bench.sites.faces)), []
    for beforehand in (known, None):
        run = BackwardRun(arrays, scene.triangles, 5, 2, batches=ROUND_BATCHES, known=beforehand)
        run.add_starts(bench.sites.targets(everyone))
        assert run.reads.all() == (beforehand is known)
        run.add_paths(everyone, np.full(len(everyone), 40))
        sums.append(np.einsum("tblc,cl->cb", run.batch_irradiance(everyone), few))
    read, walked = (batch_mean(one) for one in sums)
    error = np.hypot(read[1], walked[1])
    assert all_agree(read[0], error, walked[0], catches=0.05)


def test_the_bound_of_every_lining_covers_every_judged_face_side(tmp_path):
    scene = three_lamps(tmp_path, edge=30)
    bench = LiningBench(scene, RunOptions(threads=2))
    group = [variant(scene, NAMES[1]), Variant(AS_WRITTEN, wall_surfaces(scene.triangles))]
    found = bench.worst_face(group, 0.1)
    assert len(found.sites.faces) == scene.triangles.judged.sum()
    assert found.state.reached
    for column in range(4):
        bound = found.state.bound[column]
        least = found.state.mean[column, found.worst_site(column)]
        assert (bound > 0.0).all()  # nobody was left out
        assert 0.85 * least < found.bound(column) == bound.min()
    dose = raysim.simulate(scene, seed=9, photons=1_000_000, precision=0.05)
    for column, case in ((2, CAUTIOUS), (3, EXPECTED)):
        truth = dose.cases[case].worst
        assert found.bound(column) < truth.irradiance + 3.0 * truth.standard_error
        assert found.best(column) == pytest.approx(dose.cases[case].best.irradiance, rel=0.1)


def test_a_spot_that_is_too_dark_is_named_before_one_that_is_known_well(scene):
    sites = judged_sites(scene.triangles)
    mean = np.ones((1, len(sites.faces)))
    mean[0, 7], mean[0, 5] = 1e-6, 2e-6
    state = forward_only(mean, np.where(mean < 1.0, mean, 0.01), 0.0 * mean)
    state.rounds[:] = 1
    dark = mean < 1.0
    found = WorstOfCases(scene.triangles, sites, state, dark)
    assert found.worst_site(0) == 7
    assert replace(found, dark=~(mean > 0.0)).worst_site(0) not in (5, 7)


def test_those_that_cannot_be_told_apart_are_named_together(study):
    pairs = study.pairs
    rows = tuple(followed(row) for row in study.rows)
    none = replace(study, rows=rows, pairs=tuple(level(pair) for pair in pairs))
    assert alike(none) == [[row.name for row in study.rows]]
    (line,) = alike_words(none)
    assert line.startswith("These 7 cannot be told apart")
    first = replace(none, pairs=(apart_from(pairs[0]), *none.pairs[1:]))
    assert alike(first) == [[row.name for row in study.rows[1:]]]
    every = replace(none, pairs=tuple(apart_from(pair) for pair in pairs))
    assert alike(every) == []


def followed(row):
    """The row as if it had not been stopped."""
    return replace(row, cases={k: replace(case, stopped=None) for k, case in row.cases.items()})


def test_what_takes_far_longer_than_the_best_is_not_followed_to_the_end(scene, monkeypatch):
    """Minutes went on linings that take days. The time that is told is the least."""
    monkeypatch.setattr(raysim.studies.linings.bench, "TOO_SLOW", 2.0)
    linings = [find_surface(name) for name in ("ePTFE", "white paint")]
    study = study_of(scene, linings, walls=False, precision=0.01, options=RunOptions(3, 2))
    best, own, paint = (row.cases[CAUTIOUS] for row in study.rows)
    assert best.stopped is None
    assert own.stopped < paint.stopped
    assert 2.0 * best.exposure_time < paint.stopped < paint.exposure_time
    assert not paint.dark
    assert time_words(paint) == least_time(paint.stopped)
    assert study.better(*study.rows[::2])
    bench = LiningBench(scene, RunOptions(3, 2))
    whole = bench.worst_face([variant(scene, "white paint")], 0.02).worst(0)
    assert paint.stopped < bench.requirement.time(whole.lower_bound)


def test_paint_and_mirror_are_told_apart_where_they_alone_are_tried(scene):
    """Then neither is too slow beside the other. Paint sends back 5 %, the mirror's low end 2 %."""
    paint, mirror = find_surface("white paint"), find_surface("household mirror")
    dark = replace(find_surface("foil"), name="black", reflectance_low=0.0, reflectance=0.0)
    written = scene.written.model_copy(
        update={"chamber": scene.written.chamber.model_copy(update={"lining": "white paint"})}
    )
    painted = raysim.scene.build.build_scene(scene.path, written)
    study = study_of(painted, [paint, mirror, dark], walls=False, options=RunOptions(3, 2))
    rows = {row.name: row for row in study.rows}
    assert all(row.cases[CAUTIOUS].stopped is None for row in rows.values())
    first, second = (r for r in study.rows if r.name in (paint.name, mirror.name))
    assert study.better(first, second)
    assert study.better(first, rows["black"])


@pytest.mark.parametrize(
    ("light", "gain", "says"),
    [
        (2.0, 4.0, "4.00 times what a bare black box does"),
        (2.0, np.inf, "which gets none in a bare black box"),
        (0.0, 1.0, "No wall lined by itself"),
    ],
)
def test_one_wall_is_told_without_a_gain_over_nothing(study, light, gain, says):
    """It was "none times what it gets in a bare black box"."""
    first = study.walls[0]
    worst = replace(first.cases[CAUTIOUS].worst, irradiance=light)
    case = replace(first.cases[CAUTIOUS], worst=worst)
    first = replace(first, gain={CAUTIOUS: gain}, cases={CAUTIOUS: case})
    (line,) = wall_words(replace(study, walls=(first,)))
    assert says in line
    assert "none times" not in line


def test_the_box_says_in_a_few_lines_what_to_do_and_what_to_doubt(study):
    assert len(more_lines(study)) == 1
    spot = Untreated("cup", "straps", "inside", (1,), 2e-5, "hook")
    point = Meter(name="m", at=(0.1, 0.1, 0.1), facing=(0.0, 0.0, 1.0), reading="0.1 mW/cm2")
    written = study.scene.written.model_copy(update={"meter": [point]})
    scene = replace(study.scene, untreated=(spot,), written=written)
    lines = more_lines(replace(study, scene=scene))
    assert len(lines) == 3
    assert "without the meter readings" in lines[1]
    assert lines[2].startswith("0.20 cm2 touch something")
    assert "cup, straps, inside" in lines[2]


def test_groups_keep_unlike_linings_apart(scene):
    variants = [variant(scene, name) for name in NAMES]
    groups = in_groups(variants, glossy_and_bright)
    together = [sorted(variants[k].name for k in group) for group in groups]
    assert ["bare plywood", "white paint"] in together
    assert ["household mirror"] in together
    assert [NAMES[0]] in together


def test_cells_hold_every_judged_face_side_once(scene):
    sites = judged_sites(scene.triangles)
    cells = in_cells(scene.triangles, sites)
    assert sorted(cells.sites.tolist()) == list(range(len(sites.faces)))
    assert cells.areas.sum() == pytest.approx(sites.areas.sum())
    targets = cells.targets(np.arange(len(cells.faces)))
    assert len({t.stream for t in targets}) == len(targets)
    assert all(isinstance(t, Start) for t in targets)


def test_command_writes_all_and_says_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setattr(raysim.studies.linings.compare, "PAIRED_PATHS", 50_000)
    write_scene(tmp_path)
    words = ("linings", "scene.toml", "--lining", "dull foil", "--lining", "white paint")
    words += ("--price", "dull foil=2", "--precision", "0.2", "--no-walls", "--out", "out")
    said = raysim_said(*words, folder=tmp_path)
    assert said.status == 0
    assert "Run 'raysim dose'" in said.words
    assert "Crisis-capacity measure only" in said.words
    written = contents(tmp_path / "out")
    assert set(written) == {"result.json", "report.html", "pictures/linings.png"}
    result = json.loads(written["result.json"])
    assert [row["name"] for row in result["linings"]][-1] == "white paint"
    assert result["scene"]["file"] == "scene.toml"
    again = raysim_said(*words, folder=tmp_path)
    assert again.status == 2
    assert "--force" in again.err


@pytest.mark.parametrize("call", [2, 3])
def test_what_is_known_when_stopped_is_kept(scene, tmp_path, monkeypatch, call):
    monkeypatch.setattr(raysim.studies.linings.compare, "PAIRED_PATHS", 50_000)
    calls, whole = [], LiningBench.worst_face

    def stopped(bench, *asked):
        calls.append(asked)
        if len(calls) == call:  # the bare black box and the brightest linings come first
            raise KeyboardInterrupt
        return whole(bench, *asked)

    monkeypatch.setattr(LiningBench, "worst_face", stopped)
    names = ["foil", "white paint", "bare plywood"]
    if call == 2:
        with pytest.raises(KeyboardInterrupt):
            study_of(scene, names, precision=0.3)
        return
    found = study_of(scene, names, precision=0.3)
    assert found.interrupted
    assert found.walls == ()
    assert len(found.rows) + len(found.not_tried) == len(names) + 1
    assert found.not_tried
    folder = tmp_path / "out"
    write(found, folder)
    assert json.loads((folder / "result.json").read_text("utf-8"))["interrupted"]
    page = " ".join((folder / "report.html").read_text("utf-8").split())
    assert f"Not tried: {'; '.join(found.not_tried)}." in page


def test_stopped_at_one_wall_at_a_time_all_linings_are_kept(scene, tmp_path, monkeypatch):
    monkeypatch.setattr(raysim.studies.linings.compare, "PAIRED_PATHS", 50_000)
    calls, whole = [], LiningBench.worst_cell

    def stopped(bench, *asked):
        calls.append(asked)
        if len(calls) == 3:  # the box without any, and the first wall
            raise KeyboardInterrupt
        return whole(bench, *asked)

    monkeypatch.setattr(LiningBench, "worst_cell", stopped)
    names = ["foil", "white paint"]
    found = study_of(scene, names, precision=0.3, walls=True)
    assert (len(calls), found.interrupted, found.walls, found.not_tried) == (3, True, (), [])
    assert len(found.rows) == len(names) + 1
    write(found, tmp_path / "out")
    record = json.loads((tmp_path / "out" / "result.json").read_text("utf-8"))
    assert record["interrupted"]
    assert len(record["linings"]) == len(names) + 1
    page = " ".join((tmp_path / "out" / "report.html").read_text("utf-8").split())
    assert "all linings were tried, but not one wall at a time." in page


def test_a_surface_of_the_scene_is_a_lining_like_any_other(tmp_path, monkeypatch):
    """It was refused: "no surface is called this"."""
    monkeypatch.setattr(raysim.studies.linings.compare, "PAIRED_PATHS", 50_000)
    own = {"name": "our panels", "reflectance": 0.9, "reflectance_low": 0.85}
    write_scene(tmp_path, small_scene() | {"surface": [own]})
    words = ("linings", "scene.toml", "--lining", "Our Panels", "--price", "our panels=3")
    words += ("--precision", "0.2", "--wall-lining", "our panels", "--out", "out")
    said = raysim_said(*words, folder=tmp_path)
    assert said.status == 0, said.err
    assert "Line the box with our panels" in said.words
    result = json.loads(contents(tmp_path / "out")["result.json"])
    assert result["linings"][0]["name"] == result["wall_lining"] == "our panels"
    assert result["linings"][0]["cost"] > 0.0
    said = raysim_said("linings", "scene.toml", "--lining", "our panel", folder=tmp_path)
    assert said.status == 2
    assert 'did you mean "our panels"' in said.err


@pytest.mark.parametrize(
    ("words", "mend"),
    [
        (("--lining", "foyl"), "did you mean"),
        (("--lining", "foil", "--price", "foil=cheap"), "not a name and a price"),
        (("--lining", "foil", "--price", "white paint=3"), 'add --lining "white paint"'),
        (("--lining", "foil", "--price", "foil=3"), 'such as "aluminium foil, bright side"'),
    ],
)
def test_mistakes_are_one_line(tmp_path, words, mend):
    write_scene(tmp_path)
    said = raysim_said("linings", "scene.toml", *words, folder=tmp_path)
    assert said.status == 2
    assert mend in said.err
    assert len(said.err.splitlines()) == 1
    assert not (tmp_path / "results").exists()
