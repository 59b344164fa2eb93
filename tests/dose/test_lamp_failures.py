"""A lamp out is a weighted sum of the tallies: the same light as a fresh trace without its power."""

from dataclasses import replace

import numpy as np
import pytest
from agreement import agrees, all_agree
from boxes import three_lamps

import raysim
from raysim.base.cases import CASES, CAUTIOUS
from raysim.base.errors import RaysimError
from raysim.dose import trace_failures
from raysim.dose.lamp_failures import LampTallies, estimate_of_mix
from raysim.dose.lamp_output import lamp_factors
from raysim.estimate.bounds import CONFIDENCE, FORWARD_ERROR
from raysim.scene.file.written import LampsBehaviour
from raysim.transport.paths import PATH_BATCHES

RUN = {"photons": 1_500_000, "precision": 0.01}
# Cautious output: temperature, dirt and ageing as assumed; "Rear" has burnt past its rated life.
FACTORS = lamp_factors([0.0, 0.0, 12000.0], LampsBehaviour())[CAUTIOUS]


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    """Box of three lamps."""
    return three_lamps(tmp_path_factory.mktemp("scene"))


@pytest.fixture(scope="module")
def usual(scene):
    """Result with all lamps on."""
    return raysim.simulate(scene, seed=1, **RUN)


def unplugged(scene, name):
    """The scene with one lamp of no power; its tube stays an obstacle."""
    lamps = tuple(
        replace(lamp, uvc_W=0.0) if lamp.name == name else lamp for lamp in scene.triangles.lamps
    )
    (pose,) = scene.poses
    return replace(scene, poses=(replace(pose, triangles=replace(pose.triangles, lamps=lamps)),))


@pytest.fixture(scope="module")
def fresh(scene):
    """Results of fresh traces, of other seeds, each without the power of one lamp."""
    names = [lamp.name for lamp in scene.triangles.lamps]
    return {
        name: raysim.simulate(unplugged(scene, name), seed=10 + k, photons=2_000_000)
        for k, name in enumerate(names)
    }


def test_every_lamp_has_its_row(usual):
    assert [failure.lamp for failure in usual.lamp_failures] == ["left", "right", "Rear"]


def test_tallies_without_a_lamp_agree_with_a_fresh_trace(tmp_path):
    scene = three_lamps(tmp_path, edge=200)
    judged = scene.triangles.judged
    whole = raysim.simulate(scene, seed=1, photons=1_500_000)
    case = CASES.index(CAUTIOUS)
    for number, lamp in enumerate(scene.triangles.lamps):
        on = np.arange(3) != number
        fresh = raysim.simulate(unplugged(scene, lamp.name), seed=10 + number, photons=1_000_000)
        truth = fresh.cases[CAUTIOUS]
        mixed = np.einsum("lfs,l->fs", whole.lamp_irradiance[case], FACTORS * on)[judged]
        error = np.sqrt(
            np.einsum("lfs,l->fs", whole.lamp_standard_error[case] ** 2, (FACTORS * on) ** 2)
        )[judged]
        both = np.hypot(error, truth.standard_error[judged])
        # The lamps give more than 10 % of the light of a face: one not left out would be caught.
        assert all_agree(mixed, both, truth.irradiance[judged], catches=0.1)


@pytest.mark.parametrize("name", ["left", "right", "Rear"])
def test_failure_row_agrees_with_a_fresh_trace(scene, usual, fresh, name):
    row = next(f for f in usual.lamp_failures if f.lamp == name)
    truth = fresh[name].cases[CAUTIOUS]
    side = ["outside", "inside"].index(row.worst.side)
    there = truth.irradiance[row.worst.face, side]
    error = np.hypot(row.worst.standard_error, truth.standard_error[row.worst.face, side])
    assert agrees(row.worst.irradiance, error, there, catches=0.25, degrees=PATH_BATCHES - 1)
    # The bound lies below the least of the fresh trace, and not far below.
    judged = scene.triangles.judged
    least = truth.irradiance[judged].argmin()
    error = truth.standard_error[judged][least]
    darkest = truth.irradiance[judged][least]
    assert row.worst.lower_bound < darkest + 4.0 * error
    assert row.worst.lower_bound > 0.9 * darkest
    # So the time is on the long side, within the same 10 %.
    assert row.exposure_time > 0.97 * truth.exposure_time * truth.bound / darkest


def test_each_failure_is_settled_by_further_paths(tmp_path, monkeypatch):
    """Most sites have few paths when all lamps burn: a bound from these is far too low."""
    scene, found = three_lamps(tmp_path, edge=30), {}
    for share in (0.0, trace_failures.SHARE, 10.0):
        monkeypatch.setattr(trace_failures, "SHARE", share)
        found[share] = raysim.simulate(scene, precision=0.1)
    none, usual, much = found.values()
    assert none.timer == pytest.approx(much.timer, rel=0.1)
    assert none.segments < usual.segments < 1.5 * none.segments
    for before, after in zip(none.lamp_failures, much.lamp_failures, strict=True):
        assert before.worst.lower_bound < 0.9 * after.worst.lower_bound
        assert after.precision < 1.1 * trace_failures.PRECISION
    monkeypatch.setattr(trace_failures, "SHARE", 0.0)
    alone = raysim.simulate(scene, seed=2, precision=0.05, without=("left",))
    row = much.lamp_failures[0]
    assert 0.85 < alone.cases[CAUTIOUS].exposure_time / row.exposure_time < 1.03


def test_without_gives_what_the_row_says(scene, usual):
    alone = raysim.simulate(scene, seed=1, without=("REAR",), **RUN)
    row = next(f for f in usual.lamp_failures if f.lamp == "Rear")
    assert alone.without == ("Rear",)
    assert [f.lamp for f in alone.lamp_failures] == ["left", "right"]
    assert alone.timer == pytest.approx(row.exposure_time, rel=0.08)
    assert alone.timer > usual.timer
    assert alone.cases[CAUTIOUS].energy.emitted == pytest.approx(FACTORS[:2] @ [2.4, 1.6])
    # The tallies are those of all lamps: nothing else was traced.
    counted = ~(alone.refined | usual.refined)
    assert (alone.lamp_irradiance[..., counted] == usual.lamp_irradiance[..., counted]).all()
    assert (alone.lamp_irradiance[:, 2] > 0.0).any()


def test_a_lamp_is_missed_at_the_timer(usual):
    for failure in usual.lamp_failures:
        asked = usual.safety_factor * usual.target_dose
        assert 0.0 < failure.dose_at_timer < asked
        assert failure.exposure_time > usual.timer


def test_photons_alone_give_a_bound_too(scene, fresh):
    counted = raysim.simulate(scene, seed=3, photons=300_000)
    row = counted.lamp_failures[0]
    assert row.counted_only
    darkest = fresh["left"].cases[CAUTIOUS].irradiance[scene.triangles.judged].min()
    assert 0.75 * darkest < row.worst.lower_bound < darkest


def test_the_last_lamp_leaves_the_dark(scene):
    alone = raysim.simulate(scene, photons=1, without=("left", "right"))
    (row,) = alone.lamp_failures
    assert (row.lamp, row.worst.irradiance, row.exposure_time) == ("Rear", 0.0, np.inf)
    assert row.dose_at_timer in (0.0, None)


@pytest.mark.parametrize(
    ("names", "words"),
    [(("lft",), 'did you mean "left"'), (("left", "right", "rear"), "no lamp is left")],
)
def test_lamps_that_cannot_be_out(scene, names, words):
    with pytest.raises(RaysimError, match=words):
        raysim.simulate(scene, photons=1, without=names)


def test_bounds_hold_for_the_unit_that_paths_did_not_reach():
    """The true worst unit of the mix has no paths: its bound must come from its counts."""
    tallies = LampTallies(
        mean=np.array([[5.0, 1.0, 9.0], [5.0, 8.0, 9.0]]),
        variance=np.full((2, 3), 0.01),
        error=FORWARD_ERROR,
        looked=np.array([0]),
        traced=np.array([[5.0, 5.0]]),
        covariance=np.full((1, 2, 2), 1e-4),
        rounds=np.array([2]),
        reads=np.array([False]),
    )
    mean, _, bound = estimate_of_mix(tallies, np.array([1.0, 0.0]))
    assert bound.argmin() == mean.argmin() == 1
    assert bound.min() < 1.0


def test_bounds_are_seldom_above_the_truth():
    """Coverage over repeats of made-up counts and paths of which lamps share the noise."""
    random = np.random.default_rng(7)
    truth, weights, repeats, units = np.array([3.0, 2.0, 4.0]), np.array([1.0, 0.0, 0.7]), 400, 8
    above = 0
    for _ in range(repeats):
        counts = random.poisson(40.0 * truth[:, None], (3, units))
        noise = random.normal(0.0, 2.0, (units, PATH_BATCHES, 1))
        batches = truth + noise * [1.0, 0.5, 0.8] + random.normal(0.0, 1.0, (units, 64, 3))
        off = batches - batches.mean(axis=1, keepdims=True)
        covariance = np.einsum("tbl,tbm->tlm", off, off) / (64 * 63)
        looked = np.arange(0, units, 2)
        tallies = LampTallies(
            counts / 40.0,
            counts / 40.0**2,
            FORWARD_ERROR,
            looked,
            batches.mean(axis=1)[looked],
            covariance[looked],
            np.full(len(looked), 1),
            np.zeros(len(looked), bool),
        )
        # One unit is the true worst one, whichever: bounds need to hold for each by itself.
        above += int((estimate_of_mix(tallies, weights)[2] > weights @ truth).sum())
    # At most FORWARD_ERROR + ROUND_ERROR of the units, well within 1 - CONFIDENCE.
    assert above / (repeats * units) < 0.5 * (1.0 - CONFIDENCE)


def test_what_one_failure_leaves_of_its_part_goes_to_the_others(scene, monkeypatch):
    """The first wants more than its third; the others are settled at no cost: so it has all."""
    given = []

    def refined(backward, sites, without, factors, *, most_rays, **rest):
        lamp = int(np.flatnonzero(factors[0] == 0.0)[0])
        given.append((lamp, most_rays - backward.rays))
        if lamp == 0:
            backward.runs[0].rays += int(given[-1][1])
        without.reached = lamp > 0 or len(given) > 3

    monkeypatch.setattr(trace_failures, "refine", refined)
    before = []
    whole = trace_failures.trace_failures
    monkeypatch.setattr(
        "raysim.dose.simulate.trace_failures",
        lambda run, paths, progress: (
            before.append(paths.rays + run.forward.segments),
            whole(run, paths, progress),
        ),
    )
    raysim.simulate(scene, seed=1, photons=200_000, precision=0.5)
    most = trace_failures.SHARE * before[0]
    assert [lamp for lamp, _ in given] == [0, 1, 2, 0]
    shares = [rays / most for _, rays in given]
    assert shares == pytest.approx([1 / 3, 1 / 3, 2 / 3, 2 / 3], abs=1e-4)
