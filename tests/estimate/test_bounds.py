"""Variances of counts, bounds of means, and what the smallest of many bounds promises."""

from types import SimpleNamespace

import numpy as np
import pytest
from agreement import FALSE_ALARM
from scipy import stats

from raysim.estimate.bounds import (
    CONFIDENCE,
    FIRST_ROUND_ERROR,
    FORWARD_ERROR,
    MOST_ROUNDS,
    ROUND_ERROR,
    batch_mean,
    count_lower_bound,
    count_variance,
    mean_upper_bound,
    t_quantile,
)
from raysim.estimate.refine import take_over
from raysim.estimate.refinement import forward_only
from raysim.transport.paths import ROUND_BATCHES

# One-sided 95 % lower limits of a Poisson mean after n counts: Garwood 1936 (from memory).
GARWOOD_95 = {1: 0.0513, 2: 0.355, 3: 0.818, 5: 1.970, 10: 5.425, 20: 13.25}


def exceeds(failures, trials, allowed):
    """Whether failures are more than the allowed share can explain (exact binomial, 1e-6)."""
    return stats.binom.sf(failures - 1, trials, allowed) < FALSE_ALARM


def test_variance_of_a_total_is_that_of_its_batches():
    batches = np.random.default_rng(1).negative_binomial(3, 0.1, (50, 40, 3))
    total, squares = batches.sum(axis=0), (batches**2).sum(axis=0)
    expected = 50 * batches.var(axis=0, ddof=1)
    assert (expected > total).all()
    assert count_variance(total, squares, 50) == pytest.approx(expected, rel=1e-10)


def test_variance_is_never_below_that_of_poisson():
    even = np.full((20, 5), 7)
    total, squares = even.sum(axis=0), (even**2).sum(axis=0)
    assert (count_variance(total, squares, 20) == total).all()
    assert (count_variance(np.zeros(3, int), np.zeros(3, int), 20) == 0.0).all()


def test_variance_survives_large_counts():
    # A hundred million a batch: the difference of squares keeps eight digits.
    batches = np.random.default_rng(2).poisson(1e8, 64)
    expected = max(64 * batches.var(ddof=1), batches.sum())
    got = count_variance(np.array([batches.sum()]), np.array([(batches**2).sum()]), 64)[0]
    assert got == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(("count", "limit"), GARWOOD_95.items())
def test_bound_of_a_count_is_garwoods(count, limit):
    got = count_lower_bound(np.array([float(count)]), np.array([float(count)]), 0.05)[0]
    assert got == pytest.approx(limit, abs=0.6 * 10.0 ** -len(str(limit).split(".")[1]))


@pytest.mark.parametrize("error", [0.05, 0.01, 1e-4])
def test_bound_equals_the_quantile_of_chi_square(error):
    counts = np.array([1.0, 2.0, 7.0, 50.0, 1e3, 1e6])
    expected = 0.5 * stats.chi2.ppf(error, 2.0 * counts)
    assert count_lower_bound(counts, counts, error) == pytest.approx(expected, rel=1e-9)
    # In other units: E = c n with variance c^2 n.
    scaled = count_lower_bound(0.3 * counts, 0.09 * counts, error)
    assert scaled == pytest.approx(0.3 * expected, rel=1e-9)


def test_bound_of_nothing_is_zero_and_of_much_is_normal():
    assert count_lower_bound(np.zeros(2), np.zeros(2), 0.05).tolist() == [0.0, 0.0]
    got = count_lower_bound(np.array([1e8]), np.array([1e8]), 0.05)[0]
    assert got == pytest.approx(1e8 - stats.norm.isf(0.05) * 1e4, abs=1.0)
    wide = count_lower_bound(np.array([100.0]), np.array([400.0]), 0.05)[0]
    assert wide < count_lower_bound(np.array([100.0]), np.array([100.0]), 0.05)[0] < 100.0


def test_batch_mean_and_students_quantile():
    batches = np.random.default_rng(3).gamma(2.0, size=(4, 64, 2))
    mean, error = batch_mean(batches)
    for i in range(4):
        for j in range(2):
            assert mean[i, j] == pytest.approx(batches[i, :, j].mean())
            assert error[i, j] == pytest.approx(stats.sem(batches[i, :, j]))
    for wrong in (0.05, 0.005, ROUND_ERROR):
        assert t_quantile(wrong, 64) == pytest.approx(stats.t.isf(wrong, 63), rel=1e-10)


def test_error_probability_is_spent_once():
    spent = FORWARD_ERROR + FIRST_ROUND_ERROR + (MOST_ROUNDS - 1) * ROUND_ERROR
    assert pytest.approx(1.0 - CONFIDENCE) == spent
    assert min(FORWARD_ERROR, FIRST_ROUND_ERROR, ROUND_ERROR) > 0.0


# Means of the judged faces: all alike; one much darker; a spread as in a real box; few photons.
FACES = {
    "alike": np.full(300, 40.0),
    "one dark": np.array([30.0] + [400.0] * 299),
    "spread": np.geomspace(20.0, 800.0, 300),
    "few photons": np.array([2.0] + [6.0] * 99),
    "hardly any": np.full(200, 0.4),
}


@pytest.mark.parametrize("faces", FACES)
def test_smallest_bound_of_poisson_counts_covers_the_smallest_mean(faces):
    means, trials, error = FACES[faces], 4_000, 0.05
    counts = np.random.default_rng(4).poisson(means, (trials, len(means))).astype(float)
    lowest = count_lower_bound(counts, counts, error).min(axis=1)
    failures = (lowest > means.min()).sum()
    assert not exceeds(failures, trials, error)


def test_bound_of_one_dark_face_is_not_needlessly_low():
    # Exact for Poisson counts up to their discreteness: near 5 %, not far below, at a mean of 400.
    counts = np.random.default_rng(5).poisson(400.0, 200_000).astype(float)
    failures = (count_lower_bound(counts, counts, 0.05) > 400.0).mean()
    assert 0.043 < failures < 0.05


@pytest.mark.parametrize("shape", [0.3, 2.0, 20.0])
def test_bound_holds_for_counts_from_photons_that_come_back(shape):
    # Over-dispersed counts: gamma-distributed intensity in each batch, variance by batches.
    random, trials, batches = np.random.default_rng(6), 20_000, 64
    counts = random.poisson(random.gamma(shape, 12.0 / shape, (trials, batches)))
    total = counts.sum(axis=1).astype(float)
    variance = count_variance(counts.sum(axis=1), (counts**2).sum(axis=1), batches)
    failures = (count_lower_bound(total, variance, 0.05) > 12.0 * batches).sum()
    assert not exceeds(failures, trials, 0.05)


def test_bound_of_the_face_that_looks_worst_would_not_do():
    # The planted error. A noisy dark face (1.0) among quiet brighter ones (1.2): where noise hides
    # it, another one looks worst, and its bound is far too high.
    random, trials = np.random.default_rng(7), 4_000
    means, spread = np.array([1.0] + [1.2] * 50), np.array([0.5] + [0.01] * 50)
    estimates = random.normal(means, spread, (trials, 51))
    bounds = estimates - stats.norm.isf(0.05) * spread
    looks_worst = np.take_along_axis(bounds, estimates.argmin(axis=1)[:, None], axis=1)[:, 0]
    assert exceeds((looks_worst > 1.0).sum(), trials, 0.05)
    assert not exceeds((bounds.min(axis=1) > 1.0).sum(), trials, 0.05)


def path_scores(random, kind, shape):
    """Scores with a mean of one: smooth, skewed, or seldom and strong as after mirrors."""
    if kind == "smooth":
        return random.gamma(4.0, 0.25, shape)
    if kind == "skewed":
        return random.lognormal(-1.125, 1.5, shape)
    return np.where(random.random(shape) < 0.03, random.exponential(1.0 / 0.03, shape), 0.0)


@pytest.mark.parametrize("clip", [1.5, 8.0, np.inf])
@pytest.mark.parametrize("kind", ["smooth", "skewed", "seldom"])
def test_best_of_all_looks_covers_the_truth(kind, clip):
    # Paths double at every look; the best bound of the photons and of all looks is kept. Scores of
    # the first look are clipped, at a value that was fixed before.
    random, trials = np.random.default_rng(8), 1_000
    photons = random.poisson(30.0, trials) / 30.0
    best = count_lower_bound(photons, np.maximum(photons, 1e-9) / 30.0, FORWARD_ERROR)
    sums, paths = np.zeros((trials, ROUND_BATCHES)), 0
    for look in range(MOST_ROUNDS):
        new = 1 if look == 0 else paths
        sums += path_scores(random, kind, (trials, ROUND_BATCHES, new)).sum(axis=2)
        paths += new
        scores = np.minimum(sums, clip) if look == 0 else sums / paths
        mean, error = batch_mean(scores)
        spent = FIRST_ROUND_ERROR if look == 0 else ROUND_ERROR
        best = np.maximum(best, mean - t_quantile(spent, ROUND_BATCHES) * error)
    assert not exceeds((best > 1.0).sum(), trials, 1.0 - CONFIDENCE)
    assert np.median(best) > 0.5  # and the bound is of use


def test_clipping_shows_more_of_a_skewed_score_at_a_first_look():
    # To tell from a third of it: plain means do it less often than clipped ones.
    random, trials, goal = np.random.default_rng(10), 2_000, 1.0 / 3.0
    scores = path_scores(random, "skewed", (trials, ROUND_BATCHES))
    shown = []
    for clip in (np.inf, 8.0 * goal):
        mean, error = batch_mean(np.minimum(scores, clip))
        bound = mean - t_quantile(FIRST_ROUND_ERROR, ROUND_BATCHES) * error
        assert not exceeds((bound > 1.0).sum(), trials, FIRST_ROUND_ERROR)
        shown.append((bound > goal).mean())
    assert shown[1] > 1.3 * shown[0]


def test_keeping_the_best_of_plain_bounds_would_not_do():
    # The planted error: each look at the full 5 %.
    random, trials = np.random.default_rng(9), 2_000
    sums, best = np.zeros((trials, 64)), np.full(trials, -np.inf)
    for look in range(1, MOST_ROUNDS + 1):
        sums += random.gamma(4.0, 0.25, (trials, 64))
        mean, error = batch_mean(sums / look)
        best = np.maximum(best, mean - t_quantile(0.05, 64) * error)
    assert exceeds((best > 1.0).sum(), trials, 0.05)


def test_upper_bounds_hold_where_few_bright_paths_make_up_the_mean():
    """Six events in 64 batches on average: Student's bound alone fails ten times as often."""
    random, risk, runs = np.random.default_rng(5), 0.002, 20_000
    batches = random.poisson(6.0 / 64, (runs, 64)).astype(float)
    mean, error = batch_mean(batches)
    above = mean_upper_bound(mean, error, 64, risk)
    student = mean + t_quantile(risk, 64) * error
    assert not exceeds((above < 6.0 / 64).sum(), runs, risk)
    assert (student < 6.0 / 64).mean() > 8.0 * risk
    assert np.isinf(above[mean == 0.0]).all()


def test_upper_bounds_of_many_paths_are_student_s():
    mean, error = np.array([2.0, 2.0]), np.array([0.0, 1e-4])
    student = mean + t_quantile(1e-3, 64) * error
    assert np.allclose(mean_upper_bound(mean, error, 64, 1e-3), student)


def test_a_site_whose_paths_were_never_traced_tells_nothing_to_another_state():
    """A run broken off in a round has starts without a path: 0 / 0 would spread as a NaN."""
    state = forward_only(np.full((1, 2), 5.0), np.ones((1, 2)), np.ones((1, 2)))
    state.row[:] = 0, 1
    run = SimpleNamespace(
        paths=np.array([0, 2]),
        batches=ROUND_BATCHES,
        rays=9,
        batch_irradiance=lambda rows: np.full((len(rows), ROUND_BATCHES, 1, 1), 3.0 / rows.min()),
    )
    take_over(run, state, np.array([0, 1]), np.ones((1, 1)))
    assert state.mean.tolist() == [[5.0, 3.0]]
    assert state.bound[0, 0] == 1.0
