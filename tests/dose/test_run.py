"""The Python interface: load a scene, simulate it, and what the result must satisfy."""

import math
import signal
from pathlib import Path

import numpy as np
import pytest
from running import SMALL_BATCH, batches_of
from scipy import stats

import raysim
import raysim.dose.simulate
import raysim.estimate.refine
import raysim.transport.photons
from raysim.base.cases import BRIGHT, CASES, CAUTIOUS, EXPECTED
from raysim.base.errors import RaysimError, SceneError
from raysim.dose import trace_failures
from raysim.dose.exposure import LONGEST_TIME
from raysim.dose.simulate import CASE_STRIDE
from raysim.scene.file.read import file_hash

PLATE = "v 0 0 0\nv 120 0 0\nv 120 0 120\nv 0 0 120\nf 1 2 3 4\n"
FALSE_ALARM = 1e-6
Z_LIMIT = float(stats.norm.isf(0.5 * FALSE_ALARM))  # 4.9
POWER = float(stats.norm.ppf(0.975))

# A box with two upright tubes in opposite corners and a judged plate between them.
SCENE = """
title = "small box"
[chamber]
inside = [300, 250, 350]
lining = {lining}
edge = 200
[[lamp]]
name = "left"
from = [40, 40, 60]
to = [40, 40, 290]
diameter = 16
uvc = "2.4 W"
hours = {hours}
{tube}
[[lamp]]
name = "right"
from = [260, 210, 60]
to = [260, 210, 290]
diameter = 16
uvc = "1.6 W"
{tube}
[[object]]
name = "{name}"
mesh = "plate.obj"
surface = {surface}
at = {at}
judged = true
edge = {edge}
{more}
"""


def scene_in(folder: Path, **changes):
    """The small scene, with entries and lines changed or added."""
    entries = {
        "lining": '"foil"',
        "surface": '"respirator fabric"',
        "hours": 0,
        "tube": "",
        "name": "plate",
        "at": "[90, 125, 110]",
        "edge": 100,
        "more": "",
    } | changes
    (folder / "plate.obj").write_text(PLATE)
    path = folder / "scene.toml"
    path.write_text(SCENE.format(**entries), encoding="utf-8")
    return raysim.load_scene(path)


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    """The small scene."""
    return scene_in(tmp_path_factory.mktemp("scene"))


@pytest.fixture(scope="module")
def settled(scene):
    """Result of a run to a stated precision."""
    return raysim.simulate(scene, seed=1, photons=1, precision=0.01)


@pytest.fixture(scope="module")
def plate(tmp_path_factory):
    """The small scene with 2048 face-sides, of which many get nearly the least light."""
    return scene_in(tmp_path_factory.mktemp("plate"), edge=8)


@pytest.fixture(scope="module")
def roughly(plate):
    """Results of runs of several seeds to a coarse precision, without paths for lamp failures."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(trace_failures, "SHARE", 0.0)
        return [raysim.simulate(plate, seed=seed, photons=1, precision=0.1) for seed in range(3)]


@pytest.fixture(scope="module")
def counted(scene):
    """Result of photons alone, of another seed."""
    return raysim.simulate(scene, seed=2, photons=2_500_000)


@pytest.fixture(scope="module")
def both(settled, counted):
    """Both results, for what must hold of any."""
    return settled, counted


def few(scene, **options):
    """Result of the fewest photons there can be, in small batches."""
    with batches_of(SMALL_BATCH):
        return raysim.simulate(scene, **({"photons": 1} | options))


@pytest.fixture(scope="module")
def usual(scene):
    """Result of the fewest photons, for what must follow from any photons."""
    return few(scene)


# ---------------------------------------------------------------- what is promised of any result


@pytest.mark.slow
@pytest.mark.parametrize("sharp", [0.0, 0.5])
def test_a_plate_of_equal_sites_is_known_as_well_as_asked(tmp_path, sharp):
    """Every one of 2048 sites could be the worst, so each has to be known."""
    lining = f"{{ reflectance = 0.9, specular = {sharp} }}"
    case = raysim.simulate(scene_in(tmp_path, lining=lining, edge=8)).cases["cautious"]
    assert 0.98 * case.worst.irradiance <= case.bound < case.worst.irradiance


def test_public_names():
    calls = {"load_scene", "check_scene", "simulate", "simulate_seeds", "surfaces"}
    calls |= {"find_surface", "RunOptions", "write_results", "with_verdict", "stray_light"}
    calls |= {"parse_quantity", "minutes_seconds", "to_mW_cm2", "to_mJ_cm2", "to_mm"}
    results = {"Result", "CaseResult", "Spot", "DoseSummary", "EnergyAccount", "MeterResult"}
    results |= {"LampFailure", "Budget", "Contribution"}
    scenes = {"BuiltScene", "SceneTriangles", "Surface"}
    faults = {"RaysimError", "SceneError", "Fault", "Level"}
    constants = {"__version__", "CASES", "SIDES", "CAUTIONS", "CAUTION_LINE"}
    assert set(raysim.__all__) == calls | results | scenes | faults | constants
    for name in raysim.__all__:
        assert getattr(raysim, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'simulat'"):
        raysim.simulat  # noqa: B018


def test_shapes(both, scene):
    faces = len(scene.triangles.corners)
    for result in both:
        assert result.lamp_irradiance.shape == (3, 2, faces, 2)
        assert result.lamp_standard_error.shape == (3, 2, faces, 2)
        assert result.refined.shape == (faces, 2)
        assert tuple(result.cases) == CASES
        for case in result.cases.values():
            assert case.irradiance.shape == case.standard_error.shape == (faces, 2)
            assert np.isfinite(case.irradiance).all()
            assert (case.irradiance >= 0.0).all()
            assert (case.standard_error >= 0.0).all()
        assert result.dose_at_timer().shape == (faces, 2)


def test_a_case_is_the_weighted_sum_of_its_lamps(both):
    for result in both:
        for number, case in enumerate(result.cases.values()):
            factor = 0.8 * 0.9 * 0.95 if case.name == CAUTIOUS else 1.0
            assert case.lamp_factor == pytest.approx(factor, rel=1e-12)
            summed = factor * result.lamp_irradiance[number].sum(axis=0)
            assert np.allclose(case.irradiance, summed, rtol=1e-12, atol=0.0)


def test_energy_is_conserved_to_the_last_photon(both, scene):
    bodies = [body.name for body in scene.triangles.bodies]
    for result in both:
        for case in result.cases.values():
            energy = case.energy
            assert energy.emitted == pytest.approx(4.0 * case.lamp_factor, rel=1e-12)
            assert list(energy.absorbed) == bodies
            gone = sum(energy.absorbed.values()) + energy.escaped + energy.lost
            assert gone == pytest.approx(energy.emitted, rel=1e-9)
            assert energy.escaped == 0.0
            assert energy.lost <= 1e-6 * energy.emitted


def test_arrivals_pay_for_what_is_absorbed(counted, scene):
    # Of the photons that arrive the share 1 - reflectance stays: binomial noise.
    triangles = scene.triangles
    for number, case in enumerate(counted.cases.values()):
        watts = case.energy.emitted / (counted.photons // CASE_STRIDE[number])
        found = []  # absorbed, what it should be, and its variance, by body
        for part in triangles.parts:
            name, surface = triangles.bodies[part.body].name, triangles.surfaces[part.surface]
            ends = (surface.reflectance_low, surface.reflectance, surface.reflectance_high)
            stays, faces = 1.0 - ends[number], triangles.faces_of(part.body)
            arrived = (case.irradiance[faces].sum(axis=1) * triangles.areas[faces]).sum()
            variance = arrived * watts * stays * (1.0 - stays)
            found.append((case.energy.absorbed[name], stays * arrived, variance))
        absorbed, expected, variance = np.array(found).T
        assert (np.abs(absorbed - expected) < Z_LIMIT * np.sqrt(variance)).all()
        noise = math.sqrt(variance.sum())
        assert (Z_LIMIT + POWER) * noise < 0.01 * expected.sum(), "too noisy to see 1 %"
        assert abs(absorbed.sum() - expected.sum()) < Z_LIMIT * noise


def test_brighter_surfaces_never_darken_anything(counted):
    # The three cases share their photons, so that this holds for every count.
    low, expected, high = counted.lamp_irradiance
    assert (low <= expected).all()
    assert (expected <= high).all()
    judged = counted.triangles.judged
    assert (low[:, judged] < expected[:, judged]).all()
    assert (expected[:, judged] < high[:, judged]).all()


def test_the_worst_is_the_least_of_the_face_sides_that_are_known_well(settled, counted):
    judged = settled.triangles.judged
    assert (settled.refined == judged).all()
    assert not counted.refined.any()
    for result in (settled, counted):
        for case in result.cases.values():
            worst = case.worst
            side = ("outside", "inside").index(worst.side)
            assert worst.irradiance == case.irradiance[worst.face, side]
            lit = ("outside", "inside").index(case.best.side)
            assert case.summary.best == case.best.irradiance
            assert max(entry.best for entry in case.per_object) == case.best.irradiance
            assert case.summary.worst == worst.irradiance
            assert case.summary.bound == case.bound
            assert case.bound <= worst.lower_bound
            if result is counted:
                at_most = case.irradiance + 2.0 * case.standard_error
                assert at_most[worst.face, side] == at_most[judged].min()
                # Of photons alone the mean of the best-lit 1 cm2, not the luckiest of all faces.
                assert case.best.irradiance <= case.irradiance[judged].max()
            else:
                assert case.best.irradiance == case.irradiance[case.best.face, lit]
    for name in (CAUTIOUS, EXPECTED):
        case = settled.cases[name]
        assert case.worst.lower_bound >= (1.0 - 0.01) * case.worst.irradiance
        # What is lower than the worst is so by noise alone.
        lower = judged & (case.irradiance < case.worst.irradiance)
        assert (case.standard_error[lower] > 0.01 / 3.0 * case.irradiance[lower]).all()


def test_the_precision_asked_for_is_reached(settled):
    assert settled.precision_asked == 0.01
    assert settled.warnings == ()
    for name in (CAUTIOUS, EXPECTED):
        case = settled.cases[name]
        assert 0.0 < case.precision <= 0.01
        assert case.precision == pytest.approx(1.0 - case.bound / case.worst.irradiance)


def test_many_nearly_equal_face_sides_are_settled_within_the_looks_there_are(roughly):
    for result in roughly:
        assert result.warnings == ()
        assert max(result.cases[name].precision for name in (CAUTIOUS, EXPECTED)) <= 0.1


def test_the_mean_is_not_that_of_face_sides_looked_at_until_they_were_bright(plate, roughly):
    # Photons know the mean of the plate well, and have no part in who gets more paths.
    judged = plate.triangles.judged
    areas = np.repeat(plate.triangles.areas[:, None], 2, axis=1)[judged]
    counted = [raysim.simulate(plate, seed=60 + k, photons=600_000) for k in range(3)]
    for name in (CAUTIOUS, EXPECTED):
        photons = [result.cases[name].summary.mean for result in counted]
        paths = [result.cases[name].summary.mean for result in roughly]
        plain = [result.cases[name].irradiance[judged] @ areas / areas.sum() for result in roughly]
        assert stats.ttest_ind(paths, photons, equal_var=False).pvalue > 0.01
        # The control: the mean of what the map shows is too large.
        larger = stats.ttest_ind(plain, photons, equal_var=False, alternative="greater")
        assert larger.pvalue < 0.05


def test_the_timer_gives_the_bound_just_what_is_asked(both):
    for result in both:
        assert result.timer == result.cases[CAUTIOUS].exposure_time
        for case in result.cases.values():
            # Five minutes that rise from half to full output lose 75 s.
            effective = case.exposure_time - 75.0
            assert case.bound * effective == pytest.approx(1.2 * 10_000.0, rel=1e-9)
        order = [result.cases[name].exposure_time for name in (CAUTIOUS, EXPECTED, BRIGHT)]
        assert order == sorted(order, reverse=True)


def test_every_judged_face_gets_its_dose_by_the_timer(settled):
    dose = settled.dose_at_timer()[settled.triangles.judged]
    worst = settled.cases[CAUTIOUS].worst.irradiance
    # The worst estimate lies above its bound by no more than the precision.
    assert 12_000.0 <= dose.min() <= 12_000.0 / (1.0 - 0.01)
    assert dose.min() == pytest.approx(worst * (settled.timer - 75.0), rel=1e-9)


def test_looking_back_agrees_with_photons_of_another_seed(settled, counted):
    chosen = settled.refined
    back, count = (result.lamp_irradiance[:, :, chosen] for result in (settled, counted))
    errors = [result.lamp_standard_error[:, :, chosen] for result in (settled, counted)]
    z = (back - count) / np.hypot(*errors)
    assert z.size >= 3 * 2 * 4
    assert np.abs(z).max() < stats.t.isf(0.5 * FALSE_ALARM / z.size, 63)  # 64 backward batches
    # Were two face-sides or two lamps mixed up, this would show.
    shuffled = (back[:, ::-1] - count) / np.hypot(errors[0][:, ::-1], errors[1])
    assert np.abs(shuffled).max() > 20.0


def test_the_report_knows_its_scene(settled, scene):
    assert settled.title == "small box"
    assert settled.sha256 == file_hash(scene.files)
    assert settled.raysim_version == raysim.__version__
    assert settled.triangles is scene.triangles
    assert settled.confidence == 0.95
    assert settled.target_dose == 10_000.0
    assert settled.safety_factor == 1.2
    assert not settled.interrupted
    whats = " ".join(what for what, _, _ in settled.assumptions)
    for word in ("target dose", "safety factor", "warm-up", "lamp output", "dirt"):
        assert word in whats
    assert all(source for _, _, source in settled.assumptions)


# ---------------------------------------------------------------- counts, seeds, threads


def test_photons_are_rounded_up_to_whole_batches(scene):
    per_batch = SMALL_BATCH
    for asked in (1, 16 * per_batch, 16 * per_batch + 1):
        result = few(scene, photons=asked)
        assert result.photons >= asked
        assert result.photons % per_batch == 0
        assert result.photons == max(16, math.ceil(asked / per_batch)) * per_batch
        assert result.paths == 0
        assert result.precision_asked is None


def test_without_a_word_the_precision_is_that_of_the_readme(scene, monkeypatch):
    monkeypatch.setattr(raysim.dose.simulate, "DEFAULT_PHOTONS", 1)
    result = raysim.simulate(scene)
    assert result.precision_asked == 0.02
    assert result.seed == 1
    assert max(result.cases[name].precision for name in (CAUTIOUS, EXPECTED)) <= 0.02


def test_threads_change_nothing_and_seeds_everything(scene):
    one, three, other = (
        few(scene, precision=0.2, threads=threads, seed=seed)
        for threads, seed in ((1, 5), (3, 5), (2, 6))
    )
    assert np.array_equal(one.lamp_irradiance, three.lamp_irradiance)
    assert np.array_equal(one.lamp_standard_error, three.lamp_standard_error)
    assert np.array_equal(one.refined, three.refined)
    assert (one.timer, one.paths, one.segments) == (three.timer, three.paths, three.segments)
    judged = scene.triangles.judged
    differ = one.lamp_irradiance[:, :, judged] != other.lamp_irradiance[:, :, judged]
    assert differ.mean() > 0.95  # small counts are equal by chance now and then


@pytest.mark.parametrize(
    ("options", "word"),
    [
        ({"seed": -1}, "seed -1"),
        ({"seed": 2**64}, "seed"),
        ({"photons": 0}, "photons 0"),
        ({"photons": 10**14}, "photons"),
        ({"precision": 0.0}, "precision 0.0"),
        ({"precision": 1.0}, "precision 1.0"),
        ({"precision": math.nan}, "precision nan"),
        ({"threads": 0}, "threads 0"),
        ({"threads": 5000}, "threads 5000"),
    ],
)
def test_numbers_out_of_range_are_refused(scene, options, word):
    with pytest.raises(RaysimError, match="out of range. Mend: give") as refusal:
        raysim.simulate(scene, **options)
    assert word in str(refusal.value)


def test_a_path_is_no_scene():
    with pytest.raises(RaysimError, match=r"'box.toml' is not a scene. Mend: simulate\(load_scene"):
        raysim.simulate("box.toml")


def test_a_run_that_stops_short_of_its_precision_says_so(scene, monkeypatch):
    monkeypatch.setattr(raysim.estimate.share_out, "MOST_RAYS", 1)
    result = few(scene, precision=0.0005)
    (doubt,) = result.warnings
    assert doubt.key == "precision"
    assert "0.0005 was not reached" in doubt.what
    case = result.cases[CAUTIOUS]
    assert case.precision > 0.0005
    assert case.bound * (result.timer - 75.0) == pytest.approx(12_000.0, rel=1e-9)


def test_no_look_takes_more_rays_than_all_may(plate, monkeypatch):
    monkeypatch.setattr(raysim.estimate.share_out, "MOST_RAYS", 1_000_000)
    result = raysim.simulate(plate, photons=1, precision=0.0005)
    rays = result.segments - raysim.simulate(plate, photons=1).segments
    # Up to the limit, one look more (paths are no shorter than guessed by much), the brightest:
    # some 50,000 paths of up to 10 rays. A look of five times too many would be 6,000,000.
    assert 1_000_000 < rays < 3_000_000


def test_what_is_too_dark_to_wait_for_is_not_looked_at_for_long(tmp_path, settled, monkeypatch):
    most = []
    look = raysim.estimate.refine._add_round

    def watched_look(run, *others):
        look(run, *others)
        most.append(run.paths.max())

    monkeypatch.setattr(raysim.estimate.refine, "_add_round", watched_look)
    worst, expected = (settled.cases[name].worst.irradiance for name in (CAUTIOUS, EXPECTED))
    for floor, is_too_dark in ((0.7 * worst, False), (1.4 * expected, True)):
        dose = floor * LONGEST_TIME / 1.2 * 1e-4
        scene = scene_in(tmp_path, more=f"[target]\ndose = '{dose:.0f} J/cm2'")
        most.clear()
        result = raysim.simulate(scene, photons=1, precision=0.01)
        assert (max(most) <= raysim.estimate.darkness.ENOUGH_PATHS) == is_too_dark
        assert bool(result.warnings) == is_too_dark
        assert (result.timer > LONGEST_TIME) == is_too_dark
        case = result.cases[CAUTIOUS]
        assert (case.precision > 0.01) == is_too_dark
        assert abs(case.worst.irradiance - worst) < 0.1 * worst
        assert case.bound <= worst


def test_a_case_that_is_too_dark_does_not_stop_the_other(tmp_path, settled):
    worst = [settled.cases[name].worst.irradiance for name in (CAUTIOUS, EXPECTED)]
    assert worst[1] > 1.3 * worst[0]
    dose = math.sqrt(worst[0] * worst[1]) * LONGEST_TIME / 1.2 * 1e-4
    scene = scene_in(tmp_path, more=f"[target]\ndose = '{dose:.0f} J/cm2'")
    result = raysim.simulate(scene, photons=1, precision=0.01)
    assert result.timer > LONGEST_TIME > result.cases[EXPECTED].exposure_time
    assert result.cases[EXPECTED].precision <= 0.01
    # Paths serve all cases: what is closed may be settled by the way, and then nothing is amiss.
    assert bool(result.warnings) == (result.cases[CAUTIOUS].precision > 0.01)


# ---------------------------------------------------------------- lamps in use


def test_ageing_dirt_and_heat_shorten_nothing_but_the_light(tmp_path, usual):
    clean = few(
        scene_in(tmp_path, more="[lamps_behaviour]\nageing = 1.0\ndirt = 1.0\ntemperature = 1.0")
    )
    ratio = 0.8 * 0.95 * 0.9
    for name in (EXPECTED, BRIGHT):
        assert np.array_equal(usual.cases[name].irradiance, clean.cases[name].irradiance)
        assert usual.cases[name].exposure_time == clean.cases[name].exposure_time
    tired, fresh = usual.cases[CAUTIOUS], clean.cases[CAUTIOUS]
    assert np.allclose(tired.irradiance, ratio * fresh.irradiance, rtol=1e-12, atol=0.0)
    assert tired.bound == pytest.approx(ratio * fresh.bound, rel=1e-12)
    assert fresh.exposure_time - 75.0 == pytest.approx(
        ratio * (tired.exposure_time - 75.0), rel=1e-9
    )


def test_hours_past_the_rated_life_dim_their_own_lamp(tmp_path, usual):
    old = few(scene_in(tmp_path, hours=16_000))
    # 20 % lost at 8000 h, in proportion to the hours: 40 % at 16000 h.
    left, right = usual.lamp_irradiance[0]
    expected = 0.95 * 0.9 * (0.6 * left + 0.8 * right)
    assert np.allclose(old.cases[CAUTIOUS].irradiance, expected, rtol=1e-12, atol=0.0)
    assert np.array_equal(old.lamp_irradiance, usual.lamp_irradiance)
    assert old.cases[CAUTIOUS].lamp_factor == pytest.approx(
        0.95 * 0.9 * (0.6 * 2.4 + 0.8 * 1.6) / 4.0, rel=1e-12
    )


@pytest.mark.parametrize(
    ("warm_up", "lost"),
    [
        ('{ full_after = "0 s" }', 0.0),
        ('{ start = 0.5, full_after = "10 min" }', 150.0),
        ('{ start = 0.0, full_after = "4 min" }', 120.0),
        ('{ curve = [["0 s", 0.2], ["100 s", 0.8], ["200 s", 1.0]] }', 60.0),
    ],
)
def test_warming_up_costs_the_seconds_it_must(tmp_path, usual, warm_up, lost):
    other = few(scene_in(tmp_path, more=f"[lamps_behaviour]\nwarm_up = {warm_up}"))
    for name in CASES:
        effective = usual.cases[name].exposure_time - 75.0
        assert other.cases[name].exposure_time == pytest.approx(effective + lost, rel=1e-9)


def test_dose_and_safety_factor_multiply_the_time(tmp_path, usual):
    more = '[target]\ndose = "1.5 J/cm2"\nsafety_factor = 1.8'
    assert few(scene_in(tmp_path, more=more)).timer - 75.0 == pytest.approx(
        (usual.timer - 75.0) * 1.5 * 1.8 / 1.2, rel=1e-9
    )


# ---------------------------------------------------------------- meters


def tube_irradiance(at, facing, start, end, radius, watts) -> float:
    """Irradiance (W/m2) at a point from a Lambertian tube, by quadrature over its mantle.

    E = M / pi * integral of cos(emitter) cos(receiver) / r^2 dA, M = P / (2 pi R L): definition
    of radiant exitance and the view factor integral.
    """
    at, facing, start, end = (np.array(v, float) for v in (at, facing, start, end))
    length = np.linalg.norm(end - start)
    axis = (end - start) / length
    side = np.cross(axis, [0.3, 0.5, -0.2])
    side /= np.linalg.norm(side)
    z, weight = np.polynomial.legendre.leggauss(200)
    angle = 2.0 * np.pi * (np.arange(20_000) + 0.5) / 20_000
    normal = np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * np.cross(axis, side)
    total = 0.0
    for height, share in zip(0.5 * (z + 1.0) * length, 0.5 * weight * length, strict=True):
        way = at - (start + height * axis + radius * normal)
        distance = np.linalg.norm(way, axis=1)
        leaving = np.maximum((way * normal).sum(axis=1) / distance, 0.0)
        arriving = np.maximum(-(way @ facing) / distance, 0.0)
        total += share * (leaving * arriving / distance**2).mean() * 2.0 * np.pi * radius
    return watts / (2.0 * np.pi * radius * length) / np.pi * total


METERS = """
[[meter]]
name = "left lamp"
at = [140, 40, 175]
facing = [-1, 0, 0]
[[meter]]
name = "askew"
at = [150, 60, 100]
facing = [-3, -1, 2]
reading = "1.5 mW/cm2"
[[meter]]
name = "away from both"
at = [40, 125, 335]
facing = [0, 0, 1]
"""


def test_meters_read_the_closed_form_of_bare_tubes_in_a_black_box(tmp_path, monkeypatch):
    monkeypatch.setattr(raysim.dose.simulate, "METER_PATHS", 8192)
    dark = "{ reflectance = 0.0 }"
    changes = {"lining": dark, "surface": dark, "tube": "reflectance = 0.0"}
    # The plate hangs where it shades neither meter.
    scene = scene_in(tmp_path, **changes, at="[90, 240, 110]", more=METERS)
    result = raysim.simulate(scene, photons=1)
    facing, askew, away = result.meters
    assert [meter.name for meter in result.meters] == ["left lamp", "askew", "away from both"]
    assert (facing.reading, askew.reading) == (None, 15.0)
    lamps = (((0.04, 0.04, 0.06), (0.04, 0.04, 0.29), 2.4),)
    lamps += (((0.26, 0.21, 0.06), (0.26, 0.21, 0.29), 1.6),)
    for meter in (facing, askew):
        truth = sum(
            tube_irradiance(meter.point.at, meter.point.facing, start, end, 0.008, watts)
            for start, end, watts in lamps
        )
        limit = float(stats.t.isf(0.5 * FALSE_ALARM, 63))
        assert (limit + POWER) * meter.standard_error < 0.01 * truth, "too noisy to see 1 %"
        assert abs(meter.irradiance - truth) < limit * meter.standard_error
    assert away.irradiance == away.standard_error == 0.0


def test_the_quadrature_gives_the_line_of_keitz_for_a_thin_tube():
    # P / (2 pi^2 D L) * (2 alpha + sin 2 alpha), alpha = atan(L / 2D): Keitz (1971).
    alpha = math.atan(0.23 / 0.2)
    keitz = 2.4 / (2.0 * math.pi**2 * 0.1 * 0.23) * (2.0 * alpha + math.sin(2.0 * alpha))
    ends = (0.0, 0.0, 0.0), (0.0, 0.0, 0.23)
    found = tube_irradiance((0.1, 0.0, 0.115), (-1.0, 0.0, 0.0), *ends, 1e-7, 2.4)
    assert found == pytest.approx(keitz, rel=1e-6)


# ---------------------------------------------------------------- Ctrl-C


def breaks_at(what: str, call: int):
    """Progress that is Ctrl-C itself at the given call for `what`."""
    calls = []

    def progress(now: str, done: float, whole: float) -> None:
        calls.append(now)
        if calls.count(what) == call:
            signal.raise_signal(signal.SIGINT)

    return progress


def is_sound(result) -> None:
    """Assert that the counts of an interrupted result fit together."""
    assert result.interrupted
    for number, case in enumerate(result.cases.values()):
        energy = case.energy
        gone = sum(energy.absorbed.values()) + energy.escaped + energy.lost
        assert gone == pytest.approx(energy.emitted, rel=1e-9)
        summed = case.lamp_factor * result.lamp_irradiance[number].sum(axis=0)
        assert np.allclose(case.irradiance, summed, rtol=1e-12, atol=0.0)


def test_photons_broken_off_are_the_first_of_the_whole_run(scene):
    cut = few(scene, photons=10**11, threads=2, progress=breaks_at("tracing photons", 3))
    is_sound(cut)
    assert cut.photons == 3 * 8 * SMALL_BATCH
    whole = few(scene, photons=cut.photons)
    assert np.array_equal(cut.lamp_irradiance, whole.lamp_irradiance)
    assert cut.timer == whole.timer


def test_ctrl_c_in_the_midst_of_a_batch_keeps_counts_and_photons_together(scene):
    def alarm_soon(what: str, done: float, whole: float) -> None:
        if done >= 16 * raysim.transport.photons.BATCH_PHOTONS:  # while the next batches are traced
            signal.setitimer(signal.ITIMER_REAL, 0.02)

    before = signal.signal(signal.SIGALRM, lambda *_: signal.raise_signal(signal.SIGINT))
    try:
        cut = raysim.simulate(scene, photons=10**11, threads=2, progress=alarm_soon)
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)
    is_sound(cut)
    whole = raysim.simulate(scene, photons=cut.photons)
    assert whole.photons == cut.photons
    assert np.array_equal(cut.lamp_irradiance, whole.lamp_irradiance)


@pytest.mark.parametrize("call", [1, 2])
def test_looks_broken_off_keep_estimates_and_errors_together(scene, usual, call):
    phase = "tracing back from the darkest spots"
    cut = few(scene, precision=0.0005, progress=breaks_at(phase, call))
    is_sound(cut)
    assert cut.paths > 0
    rest = scene.triangles.judged & ~cut.refined
    for name in CASES:
        ours, theirs = cut.cases[name], usual.cases[name]
        assert np.array_equal(ours.irradiance[rest], theirs.irradiance[rest])
        assert np.array_equal(ours.standard_error[rest], theirs.standard_error[rest])
        assert ours.bound > 0.0


def test_ctrl_c_at_once_leaves_nothing_to_report(scene, monkeypatch):
    def broken_off(run, count):
        raise KeyboardInterrupt

    monkeypatch.setattr(raysim.transport.photons.PhotonRun, "add_batches", broken_off)
    with pytest.raises(KeyboardInterrupt):
        few(scene)


# ---------------------------------------------------------------- odd scenes


def test_a_scene_with_faults_is_not_loaded(tmp_path):
    with pytest.raises(SceneError) as refusal:
        scene_in(tmp_path, surface='"unobtainium"')
    assert refusal.value.faults
    assert "no surface is called" in str(refusal.value)
    assert isinstance(refusal.value, RaysimError)


@pytest.mark.parametrize("name", ["chamber: floor", "lamp: left"])
def test_an_object_called_like_a_wall_or_a_lamp_hides_no_light(tmp_path, name):
    refused = ""
    try:
        energy = few(scene_in(tmp_path, name=name)).cases[EXPECTED].energy
    except SceneError as refusal:
        refused = str(refusal)
    if refused:
        assert name in refused
        return
    gone = sum(energy.absorbed.values()) + energy.escaped + energy.lost
    assert gone == pytest.approx(energy.emitted, rel=1e-9)
