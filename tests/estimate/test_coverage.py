"""Do the reported errors and bounds hold? The same small scene, run with many seeds.

The truth is a run of some 20 times the photons under another seed. Face-sides of one run share photons,
so the confidence interval of a coverage is taken over seeds: each seed gives the share of
face-sides that were covered, and the shares of different seeds are independent.
"""

import functools

import numpy as np
import pytest
from agreement import FALSE_ALARM
from scipy import stats

import raysim
import raysim.transport.poses
from raysim.base.cases import CAUTIOUS

# A plate in a corner of a box of foil, two lamps: 48 small faces, both sides judged.
PLATE = "v 0 0 0\nv 90 15 0\nv 90 0 90\nv 0 15 90\nf 1 2 3 4\n"
SCENE = """
title = "many seeds"
[chamber]
inside = [300, 250, 300]
lining = "foil"
edge = 300
[[lamp]]
name = "left"
from = [40, 40, 60]
to = [40, 40, 240]
diameter = 26
uvc = "2.4 W"
[[lamp]]
name = "right"
from = [260, 60, 60]
to = [260, 60, 240]
diameter = 26
uvc = "1.6 W"
[[object]]
name = "plate"
mesh = "plate.obj"
surface = "respirator fabric"
at = [100, 200, 110]
judged = true
edge = 24
"""
BATCHES = {None: 8_192, 0.1: 4_096}  # photons of a batch, 16 of which a run makes, by precision
TRUTH_PHOTONS = 3_000_000
SHORT, LONG = 30, 200
FORMS = [SHORT, pytest.param(LONG, marks=pytest.mark.slow)]
FEW = 12
BACKWARD = [FEW, pytest.param(LONG, marks=pytest.mark.slow)]
BOUNDS = [  # seeds and precision
    pytest.param(SHORT, None, id="photons, few seeds"),
    pytest.param(FEW, 0.1, id="paths, few seeds"),
    pytest.param(LONG, None, id="photons", marks=pytest.mark.slow),
    pytest.param(LONG, 0.1, id="paths", marks=pytest.mark.slow),
]


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    """The scene above."""
    folder = tmp_path_factory.mktemp("coverage")
    (folder / "plate.obj").write_text(PLATE)
    (folder / "scene.toml").write_text(SCENE)
    return raysim.load_scene(folder / "scene.toml")


@pytest.fixture(scope="module")
def run(scene):
    """From seed, photons and precision to a result; traced once each, in small batches."""

    @functools.cache
    def result(seed, photons=1, precision=None):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(raysim.transport.poses, "BATCH_PHOTONS", BATCHES[precision])
            return raysim.simulate(scene, seed=seed, photons=photons, precision=precision)

    return result


@pytest.fixture(scope="module")
def truth(run):
    """Cautious case of a long run: irradiance and error of the judged face-sides."""
    result = run(10_001, TRUTH_PHOTONS)
    case = result.cases[CAUTIOUS]
    return judged(result, case.irradiance), judged(result, case.standard_error)


def judged(result, values):
    """Values (faces, 2) of the judged face-sides."""
    return values[result.triangles.judged]


def told(result):
    """Irradiance and standard error of the judged face-sides in the cautious case."""
    case = result.cases[CAUTIOUS]
    return judged(result, case.irradiance), judged(result, case.standard_error)


def interval(shares):
    """Mean of independent shares and half its 1 - 1e-6 confidence interval (Student 1908)."""
    mean, error = shares.mean(), shares.std(ddof=1) / np.sqrt(len(shares))
    return mean, stats.t.isf(0.5 * FALSE_ALARM, len(shares) - 1) * error


FREEDOM = 15  # of the variance between the 16 batches of a run


def counting_coverage(count, spreads):
    """How often n +- spreads errors covers the mean of a Poisson count n, by summing its law.

    The error is that of `count_variance`: the square root of n times the larger of 1 and
    chi-square / FREEDOM.
    """
    n = np.arange(1, int(count + 12 * np.sqrt(count) + 30))
    needed = ((n - count) / spreads) ** 2 / n  # of the larger, to be covered
    covers = np.where(needed <= 1.0, 1.0, stats.chi2.sf(FREEDOM * needed, FREEDOM))
    return (stats.poisson.pmf(n, count) * covers).sum()


def excess():
    """Mean of the larger of 1 and chi-square / FREEDOM: how much too large a variance is."""
    above = stats.chi2.sf(FREEDOM, FREEDOM + 2)  # share of the mean that lies above FREEDOM
    return above + stats.chi2.cdf(FREEDOM, FREEDOM)


@pytest.mark.parametrize("seeds", FORMS)
@pytest.mark.parametrize("spreads", [1.0, 1.96])
def test_standard_errors_cover_the_truth_as_often_as_they_say(
    run, truth, seeds, spreads, record_property
):
    exact, its_error = truth
    shares, counts = [], []
    for seed in range(1, seeds + 1):
        values, errors = told(run(seed))
        shares.append((abs(values - exact) <= spreads * np.hypot(errors, its_error)).mean())
        counts.append(excess() * (values / errors) ** 2)
    mean, width = interval(np.array(shares))
    # The law of counts of some 50 with a variance from 16 batches that is never taken below
    # Poisson's: one to two per cent above the nominal coverage, on the safe side.
    law = np.mean([counting_coverage(c, spreads) for c in np.mean(counts, axis=0)])
    what = f"truth within {spreads:g} standard errors, {seeds} seeds"
    record_property("evidence", f"{what}|{law:.3f}|{mean:.3f}|+-{width:.3f} (all but 1e-6)")
    assert law == pytest.approx(1.0 - 2.0 * stats.norm.sf(spreads), abs=0.03)
    assert width < (0.07 if seeds == SHORT else 0.025)
    assert abs(mean - law) < width


@pytest.mark.parametrize("seeds", FORMS)
def test_errors_of_each_face_side_are_as_large_as_its_spread_over_seeds(run, seeds):
    # The reported variance against that of the seeds, whose ratio follows chi-square / n. Reported
    # is a seventh too much with 16 batches, because it is never less than Poisson's.
    told_by = [told(run(seed)) for seed in range(1, seeds + 1)]
    values, errors = (np.array(a) for a in zip(*told_by, strict=True))
    ratio = excess() * values.var(axis=0, ddof=1) / (errors**2).mean(axis=0)
    tail = 0.5 * FALSE_ALARM / ratio.size
    low, high = stats.chi2.ppf([tail, 1.0 - tail], seeds - 1) / (seeds - 1)
    assert ((ratio > low) & (ratio < high)).all()
    assert ratio.mean() == pytest.approx(1.0, abs=0.15 if seeds == SHORT else 0.06)


@pytest.mark.parametrize(("seeds", "precision"), BOUNDS)
def test_the_bound_on_the_worst_of_many_holds(run, truth, seeds, precision, record_property):
    exact = truth[0].min()
    bounds = np.array(
        [run(seed, 1, precision).cases[CAUTIOUS].bound for seed in range(1, seeds + 1)]
    )
    wrong = int((bounds > exact).sum())
    how = "photons" if precision is None else "backward paths"
    what = f"bound on the worst above the truth, {how}"
    record_property("evidence", f"{what}|at most 5 % of {seeds}|{wrong} of {seeds}|")
    # Exact binomial: so many failures are not to be explained by the allowed 5 %.
    assert stats.binom.sf(wrong - 1, seeds, 0.05) > 1e-3
    assert np.median(bounds) > (0.4 if precision is None else 0.85) * exact  # and it is of use


@pytest.mark.parametrize("seeds", FORMS)
def test_the_error_bar_of_the_face_that_looks_worst_does_not_hold(
    run, truth, seeds, record_property
):
    # Why the bound is made as it is: the least of many noisy values is too low, and its own error
    # bar covers the true minimum far less often than 95 %.
    exact, covered = truth[0].min(), 0
    for seed in range(1, seeds + 1):
        values, errors = told(run(seed))
        worst = values.argmin()
        covered += abs(values[worst] - exact) <= 1.96 * errors[worst]
    what = "naive error bar of the least value covers the minimum"
    record_property("evidence", f"{what}|less than 95 % of {seeds}|{covered} of {seeds}|")
    assert stats.binom.cdf(covered, seeds, 0.95) < 1e-3


@pytest.mark.parametrize("seeds", BACKWARD)
def test_the_worst_spot_named_gets_what_is_said(run, truth, seeds):
    # The least of many noisy means lies below the truth: no matter how many looks, it must not by
    # more than the precision asked for. With photons alone it does: half of it in this scene.
    exact = truth[0].min()
    named = np.array([run(s, 1, 0.1).cases[CAUTIOUS].worst.irradiance for s in range(1, seeds + 1)])
    assert abs(np.median(named) / exact - 1.0) < 0.03
    assert (abs(named / exact - 1.0) < 0.2).all()


@pytest.mark.parametrize("seeds", BACKWARD)
def test_backward_paths_report_honest_errors_too(run, truth, seeds, record_property):
    exact, its_error = truth
    shares = []
    for seed in range(1, seeds + 1):
        result = run(seed, 1, 0.1)
        looked = judged(result, result.refined)
        values, errors = told(result)
        near = abs(values - exact) <= 1.96 * np.hypot(errors, its_error)
        shares.append(near[looked].mean())
    mean, width = interval(np.array(shares))
    what = f"face-sides with paths: truth within 1.96 errors, {seeds} seeds"
    record_property("evidence", f"{what}|0.95 less 0.02|{mean:.3f}|+-{width:.3f} (all but 1e-6)")
    # Means of the first 128 paths are skewed: 0.936 +- 0.007 over 200 seeds, a little too few. The
    # bound has its own quantile and is not made from these.
    assert width < (0.16 if seeds == FEW else 0.03)
    assert abs(mean - 0.94) < 0.01 + width
