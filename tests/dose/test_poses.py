"""Poses with shares of the cycle: doses add up, one pose changes nothing, each pays its warm-up."""

import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
from agreement import agrees, all_agree, z_scores
from small_scenes import errors_of, faults_of, plate, small_scene, write_scene

import raysim
from raysim.assess.sensitivity import Bench, Cycle
from raysim.assess.uncertainty import spot_derivatives, uncertainty_budget
from raysim.base.cases import CASES, CAUTIOUS, EXPECTED
from raysim.dose.checkpoint import Checkpoint
from raysim.dose.exposure import WarmUpCurve
from raysim.dose.readings import ALL_LAMPS, Cause, Readings
from raysim.output.files.folder import json_text
from raysim.output.files.records import result_record
from raysim.output.files.schemas.print import schema_text
from raysim.output.pages.card import card_of
from raysim.output.pictures.charts import dose_in_cycle, write_charts
from raysim.output.words.life import interrupted_table, lamp_life_record
from raysim.output.words.poses import pose_lines
from raysim.output.words.uncertainty import budget_table
from raysim.output.words.verdict import headline, timer_words
from raysim.scene.triangles import SIDES
from raysim.transport.kernel_scene import kernel_scene
from raysim.verdict.rules import with_verdict

OVER = {"name": "plate", "at": [190, 125, 115], "turn": [0, 0, 180]}  # about the plate's middle


def scene_in(folder, poses=(), lining=0.3, fabric=0.0, lamps=1, **plate_keys):
    """A plate in the middle of a box, by default one lamp before it; built."""
    data = small_scene()
    data["chamber"]["lining"] = {"reflectance": lining}
    data["lamp"] = [
        {"name": n, "from": [x, y, 60], "to": [x, y, 290], "diameter": 16, "uvc": "2.4 W"}
        for n, x, y in (("front", 150, 40), ("rear", 150, 215))[:lamps]
    ]
    keys = {"at": [110, 125, 115], "surface": {"reflectance": fabric}, "edge": 60}
    data["object"][0] |= keys | plate_keys
    if poses:
        data["pose"] = list(poses)
    return raysim.load_scene(write_scene(folder, data, plate=plate(80.0, 120.0)))


def turned_over(share=None):
    """As hung, then the same plate turned round; `share` of the first."""
    shares = ({}, {}) if share is None else ({"share": share}, {"share": 1.0 - share})
    return [
        {"name": "as hung", **shares[0]},
        {"name": "turned over", "object": [OVER], **shares[1]},
    ]


def same(one, other):
    """Whether two results have the same numbers to the last bit."""
    return all(
        np.array_equal(getattr(one, field), getattr(other, field))
        for field in ("lamp_irradiance", "lamp_standard_error", "refined")
    ) and all(
        one.cases[case].bound == other.cases[case].bound
        and one.cases[case].exposure_time == other.cases[case].exposure_time
        and np.array_equal(one.cases[case].irradiance, other.cases[case].irradiance)
        for case in CASES
    )


@pytest.mark.parametrize("turn", [(0, 0, 0), (10, -20, 180)])
def test_one_pose_equals_the_plain_scene_bit_for_bit(tmp_path, turn):
    plain = scene_in(tmp_path, lamps=2, turn=list(turn), at=[190, 125, 115])
    as_written = scene_in(tmp_path, [{"name": "all along", "turn": list(turn)}], lamps=2,
                          at=[190, 125, 115])  # fmt: skip
    assert np.array_equal(plain.triangles.corners, as_written.triangles.corners)
    ran = [
        raysim.simulate(scene, photons=1, precision=0.3, threads=threads)
        for scene, threads in ((plain, 1), (as_written, 2))
    ]
    assert same(*ran)
    assert ran[1].poses == ()
    assert ran[1].timer == ran[0].timer


def test_each_side_gets_half_of_what_the_lit_side_gets(tmp_path):
    # One lamp before a black plate in a black box: one side is lit, the other dark. Turned over
    # about its own middle half-way, the plate is where it was, and each side gets half.
    once = raysim.simulate(scene_in(tmp_path, lining=0.0), photons=2_000_000, seed=1)
    lit = once.lamp_irradiance[0, 0][once.triangles.judged.all(axis=1)].mean(axis=0)
    assert lit[1] == 0.0
    cycle = raysim.simulate(
        scene_in(tmp_path, turned_over(), lining=0.0), photons=2_000_000, seed=2
    )
    own = cycle.triangles.judged.all(axis=1)
    sides = cycle.lamp_irradiance[0, 0][own].mean(axis=0)
    errors = [
        np.sqrt((r.lamp_standard_error[0, 0][o] ** 2).sum(axis=0)) / o.sum()
        for r, o in ((once, once.triangles.judged.all(axis=1)), (cycle, own))
    ]
    error = np.hypot(errors[1], 0.5 * errors[0][0])
    assert all_agree(sides, error, 0.5 * lit[0], catches=0.04)
    assert not np.isfinite(once.timer)
    assert np.isfinite(cycle.timer)
    assert not any(np.isfinite(pose.alone) for pose in cycle.poses)
    assert "turned over it takes" in pose_lines(cycle)[0]


@pytest.fixture(scope="module")
def uneven(tmp_path_factory):
    """A cycle of 0.3 and 0.7 with two lamps, and the same poses as scenes of their own."""
    folder = tmp_path_factory.mktemp("uneven")
    cycle = scene_in(folder, turned_over(0.3), lamps=2, fabric=0.2)
    alone = []
    for k, keys in enumerate(({}, {"at": OVER["at"], "turn": OVER["turn"]})):
        scene = scene_in(folder, lamps=2, fabric=0.2, **keys)
        alone.append(raysim.simulate(scene, photons=1_000_000, seed=11 + k))
    return cycle, alone


@pytest.fixture(scope="module")
def quick(uneven):
    """The cycle by the fewest photons, for what must follow from any."""
    return with_verdict(raysim.simulate(uneven[0], photons=1, seed=3))


@pytest.fixture(scope="module")
def traced(uneven):
    """The cycle traced back to 5 %."""
    return raysim.simulate(uneven[0], photons=300_000, precision=0.05, seed=7)


def expected_of(alone, shares=(0.3, 0.7)):
    """Irradiance by case, lamp, face and side from runs of the single poses, and its error."""
    mean = sum(s * r.lamp_irradiance for s, r in zip(shares, alone, strict=True))
    squares = sum((s * r.lamp_standard_error) ** 2 for s, r in zip(shares, alone, strict=True))
    own = alone[0].triangles.judged
    return mean[:, :, own], np.sqrt(squares)[:, :, own]


@pytest.mark.parametrize("precision", [None, 0.04])
def test_a_cycle_is_the_sum_of_its_poses_by_lamp_and_face_side(uneven, precision):
    cycle, alone = uneven
    result = raysim.simulate(cycle, photons=1_000_000, precision=precision, seed=5)
    own = result.triangles.judged
    truth, its_error = expected_of(alone)
    got = result.lamp_irradiance[:, :, own]
    error = np.hypot(result.lamp_standard_error[:, :, own], its_error)
    z = z_scores(got, error, truth)
    assert np.abs(z).max() < 5.5
    assert (z**2).mean() == pytest.approx(1.0, abs=0.5)  # errors are as large as they say
    assert (error / truth)[:2].max() < 0.1  # the bright case rides on a quarter of the photons
    exact = expected_of(alone, (0.7, 0.3))[0]  # the shares swapped would be seen
    assert np.abs(z_scores(got, error, exact)).max() > 8.0
    if precision is not None:
        assert result.refined.any()


def test_the_bound_and_the_energy_of_a_cycle_hold(uneven):
    cycle, alone = uneven
    truth, its_error = expected_of(alone)
    result = raysim.simulate(cycle, photons=200_000, precision=0.05, seed=6)
    case = result.cases[CAUTIOUS]
    factor = case.lamp_factor
    least = (factor * truth[0].sum(axis=0)).min()
    assert 0.9 * least < case.bound < least * (1.0 + 3.0 * (its_error / truth).max())
    energy = case.energy
    assert sum(energy.absorbed.values()) == pytest.approx(energy.emitted, rel=1e-9)
    total = sum(energy.absorbed[f"lamp: {n}"] for n in ("front", "rear"))
    expected = sum(
        s * sum(r.cases[CAUTIOUS].energy.absorbed[f"lamp: {n}"] for n in ("front", "rear"))
        for s, r in zip((0.3, 0.7), alone, strict=True)
    )
    assert total == pytest.approx(expected, rel=0.03)


def test_a_lamp_out_of_a_cycle_is_like_a_fresh_trace_without_it(uneven, traced):
    cycle, _ = uneven
    fresh = raysim.simulate(cycle, photons=300_000, precision=0.05, seed=8, without=("rear",))
    failure = next(f for f in traced.lamp_failures if f.lamp == "rear")
    worst = fresh.cases[CAUTIOUS].worst
    error = np.hypot(failure.worst.standard_error, worst.standard_error)
    assert abs(failure.worst.irradiance - worst.irradiance) < 5.0 * error
    assert error < 0.2 * worst.irradiance


def test_a_pose_alone_needs_what_its_own_scene_needs(uneven, traced):
    cycle, _ = uneven
    own = raysim.simulate(cycle.in_pose(1), photons=300_000, precision=0.05, seed=9)
    assert traced.poses[1].alone == pytest.approx(own.timer, rel=0.12)
    assert [pose.share for pose in traced.poses] == pytest.approx([0.3, 0.7])


def test_every_pose_pays_its_own_warm_up():
    # Output rises linearly from 0 to full in 120 s: a pose of S seconds at full output takes
    # S + 60 s where S is above 60 s.
    once = WarmUpCurve((0.0, 120.0), (0.0, 1.0))
    cycle = WarmUpCurve((0.0, 120.0), (0.0, 1.0), None, (0.25, 0.75))
    assert once.time_for(800.0) == pytest.approx(860.0)
    assert cycle.time_for(800.0) == pytest.approx(920.0)
    assert cycle.effective_seconds(920.0) == pytest.approx(800.0)
    assert cycle.pose_times(920.0) == pytest.approx((260.0, 660.0))
    assert cycle.pose_times(np.inf) == (np.inf, np.inf)
    one = WarmUpCurve((0.0, 120.0), (0.0, 1.0), None, (1.0,))
    assert one.time_for(800.0) == once.time_for(800.0)


def test_the_time_of_each_pose_solves_the_warm_up_equation(quick):
    asked = quick.safety_factor * quick.target_dose
    once = quick.warm_up.of_one_pose
    lit = [once.effective_seconds(pose.time) for pose in quick.poses]
    assert sum(lit) * quick.cases[CAUTIOUS].bound == pytest.approx(asked)
    assert lit[0] / sum(lit) == pytest.approx(0.3)
    assert quick.timer == pytest.approx(sum(pose.time for pose in quick.poses))
    assert quick.dose_at_timer()[quick.triangles.judged].min() >= asked


def test_a_cycle_goes_on_from_its_checkpoint_bit_for_bit(uneven, tmp_path):
    cycle, _ = uneven

    def stop(what, done, whole):
        if what.startswith("tracing back") or done >= 0.5 * whole:
            raise KeyboardInterrupt

    options = {"photons": 900_000, "precision": 0.05, "seed": 4, "threads": 1}
    whole = raysim.simulate(cycle, **options)
    path = tmp_path / "checkpoint.npz"
    broken = raysim.simulate(cycle, **options, progress=stop, checkpoint=Checkpoint(path))
    assert broken.interrupted
    assert broken.photons < whole.photons
    again = raysim.simulate(cycle, **options, checkpoint=Checkpoint.resumed(path))
    assert same(whole, again)
    assert whole.poses[1].alone == again.poses[1].alone


def test_faces_keep_their_numbers_and_their_neighbours(tmp_path):
    over = [{"name": "a"}, {"name": "b", "turn": [30, 40, 50]}]
    scene = scene_in(tmp_path, over, edge=13)
    first, second = (pose.triangles for pose in scene.poses)
    own = first.faces_of([body.name for body in first.bodies].index("plate"))
    assert np.array_equal(first.corners[: own[0]], second.corners[: own[0]])
    corners = [np.unique(t.corners[own].reshape(-1, 3), axis=0) for t in (first, second)]
    assert len(corners[0]) == len(corners[1])
    plain = scene_in(tmp_path, edge=13, turn=[30, 40, 50]).triangles
    assert second.corners == pytest.approx(plain.corners, abs=1e-12)
    assert second.normals == pytest.approx(plain.normals, abs=1e-9)


def test_what_the_operator_is_told(quick):
    assert ", then " in timer_words(quick)
    assert 'in pose "as hung", then' in headline(quick)
    assert any("turn the load over" in step for step in card_of(quick).steps)
    assert [row["name"] for row in result_record(quick)["poses"]] == ["as hung", "turned over"]
    even = replace(quick, poses=(quick.poses[0], replace(quick.poses[0], name="again")))
    assert timer_words(even).startswith("2 × ")
    assert "Places are those of the first pose" in " ".join(pose_lines(quick))


def test_the_budget_of_a_cycle_is_that_of_the_sum_of_its_poses(uneven):
    cycle, alone = uneven
    result = raysim.simulate(cycle, photons=1, precision=0.04, seed=3)
    budget = uncertainty_budget(result, 1, 2, cycle.poses)
    rows = {row.what: row for row in budget.contributions}
    spot = result.cases[EXPECTED].worst
    assert budget.spot is spot
    at = (CASES.index(EXPECTED), slice(None), spot.face, SIDES.index(spot.side))
    by_lamp = sum(s * r.lamp_irradiance[at] for s, r in zip((0.3, 0.7), alone, strict=True))
    noise = np.sqrt(
        sum((s * r.lamp_standard_error[at]) ** 2 for s, r in zip((0.3, 0.7), alone, strict=True))
    )
    for lamp, light, error in zip(("front", "rear"), by_lamp, noise, strict=True):
        share = rows[f"power of lamp {lamp}"].sensitivity
        error = np.hypot(error, rows["counting"].input * light)
        assert agrees(share * budget.irradiance, error, light, catches=0.2)
    # The lining in each pose by itself, with other random numbers.
    lining = next(row for what, row in rows.items() if what.startswith("reflectance of"))
    number = [f"reflectance of {s.name}" for s in result.triangles.surfaces].index(lining.what)
    slope, squares = 0.0, 0.0
    for seed, pose in enumerate(cycle.poses, 50):
        bench = Bench(pose.triangles, kernel_scene(pose.triangles), spot, seed, 2, 2048)
        _, slopes, errors, _ = spot_derivatives(Cycle((bench,), (1.0,)))
        slope += pose.share * slopes[number]
        squares += (pose.share * errors[number]) ** 2
    error = np.hypot(lining.error, np.sqrt(squares) / budget.irradiance)
    assert agrees(lining.sensitivity, error, slope / budget.irradiance, catches=0.25)
    assert "changed alike in each" in budget_table(replace(result, budget=budget)).note


@pytest.mark.parametrize("options", [{}, {"precision": 0.04}])
def test_the_dose_of_the_worst_spot_grows_pose_by_pose(tmp_path, options):
    cycle = scene_in(tmp_path, turned_over(0.3), fabric=0.2)
    result = raysim.simulate(cycle, photons=1, seed=3, **options)
    case = result.cases[CAUTIOUS]
    light = [pose.at_worst for pose in result.poses]
    whole = sum(pose.share * e for pose, e in zip(result.poses, light, strict=True))
    assert whole == pytest.approx(case.worst.irradiance, rel=1e-9)
    assert max(light) > 1.5 * min(light)  # one lamp: the spot sees it in one pose only
    times, doses = dose_in_cycle(result, 50)
    assert times[-1, -1] == pytest.approx(result.timer)
    assert times[1, 0] == times[0, -1] == pytest.approx(result.poses[0].time)
    assert (np.diff(doses) >= 0.0).all()
    lit = result.warm_up.effective_seconds(result.timer)
    assert doses[-1, -1] == pytest.approx(case.worst.irradiance * lit)
    assert doses[0, -1] / doses[-1, -1] == pytest.approx(0.3 * light[0] / whole)
    if not options:
        return
    for number, pose in enumerate(result.poses):
        own = raysim.simulate(cycle.in_pose(number), photons=1_000_000, seed=8).cases[CAUTIOUS]
        at = (case.worst.face, SIDES.index(case.worst.side))
        error = np.hypot(own.standard_error[at], case.worst.standard_error / pose.share)
        assert agrees(pose.at_worst, error, own.irradiance[at], catches=0.9)
    charts = [chart.file.name for chart in write_charts(result, tmp_path)]
    assert charts == ["chart_spread.png", "chart_time.png"]


def test_what_a_broken_off_cycle_lacks_is_told_pose_by_pose(quick):
    # Output rises from 0 to full in 120 s: each start from cold costs 60 s of full output.
    result = quick
    ramp = WarmUpCurve((0.0, 120.0), (0.0, 1.0), poses=(0.3, 0.7))
    poses = tuple(
        replace(pose, time=time) for pose, time in zip(result.poses, (260.0, 660.0), strict=True)
    )
    case = replace(result.cases[CAUTIOUS], exposure_time=920.0)
    result = replace(result, warm_up=ramp, poses=poses, cases=result.cases | {CAUTIOUS: case})
    table = interrupted_table(result)
    assert len(table.rows) == 8
    # Half of 260 s: 70 s of full output are done, 130 lack, and the second start costs 60 s.
    later = '11 min 00 s in "turned over"'
    assert table.rows[1] == ("as hung", later, "2 min 10 s", "3 min 10 s", "4 min 20 s")
    assert table.rows[5] == ("turned over", "nothing", "5 min 30 s", "6 min 30 s", "11 min 00 s")
    record = lamp_life_record(result)["interrupted"]
    assert record[1] == {"pose": "as hung", "ran_s": 130.0, "missing_s": pytest.approx(190.0)}
    whole = result_record(result)
    jsonschema.validate(json.loads(json_text(whole)), json.loads(schema_text("dose")))


@pytest.mark.parametrize(
    ("poses", "says"),
    [
        ([{"name": "a", "share": 0.6}, {"name": "b", "share": 0.6}], "add up to 1.2, not to 1"),
        ([{"name": "a", "share": 0.6}, {"name": "b"}], "give every pose its share"),
        ([{"name": "a"}, {"name": "A"}], 'two entries of pose are called "A"'),
        ([{"name": "a", "object": [{"name": "plat", "turn": [0, 0, 9]}]}], 'mean "plate"?'),
        ([{"name": "a", "object": [{"name": "plate"}]}], "give at or turn"),
        ([{"name": "a", "object": [OVER, OVER]}], "is listed twice"),
        ([{"name": "a", "shares": 1.0}], "did you mean share?"),
        ([{"name": "a", "share": 0.0}], "greater than 0"),
    ],
)
def test_mistakes_in_poses_are_told_in_one_line(tmp_path, poses, says):
    data = small_scene() | {"pose": poses}
    faults = errors_of(write_scene(tmp_path, data))
    assert len(faults) == 1
    assert says in str(faults[0])


def test_three_thirds_make_a_whole(tmp_path):
    poses = [{"name": n, "share": 0.333} for n in "abc"]
    scene = scene_in(tmp_path, poses)
    assert sum(pose.share for pose in scene.poses) == pytest.approx(1.0, abs=1e-15)


def test_what_hangs_in_the_way_in_the_second_pose_only_is_found(tmp_path):
    far = {"name": "plate", "at": [280, 125, 115]}
    data = small_scene()
    assert not [f for f in faults_of(write_scene(tmp_path, data)) if "cuts" in f.what]
    data["pose"] = [{"name": "as hung"}, {"name": "too far", "object": [far]}]
    found = [f for f in errors_of(write_scene(tmp_path, data)) if "cuts through" in f.what]
    assert len(found) == 1
    assert found[0].key.startswith('pose 2 "too far": object 1 "plate"')


def test_a_reading_that_lengthens_the_timer_leaves_the_comparison_of_poses(quick):
    """Poses alone are calculated without it: held against the longer time they looked better."""
    less = 0.8 * quick.cases[CAUTIOUS].bound
    cause = Cause(ALL_LAMPS, "", 0.2, less, quick.requirement.time(less))
    read = replace(quick, readings=Readings((), (cause,)), verdict=None)
    assert read.needed > read.calculated
    first, *_ = pose_lines(read)
    assert first == "As calculated, without the readings: " + pose_lines(quick)[0]
