"""The comparisons must catch what they claim to, and refuse what they cannot judge."""

import numpy as np
import pytest
from agreement import FALSE_ALARM, POWER, TooNoisyError, agrees, all_agree, fits, z_limit, z_scores


def test_limit_is_that_of_the_normal_and_of_student():
    # Two-sided 1e-6: 4.8916 of the normal law (tables); Student's limit is wider.
    assert z_limit() == pytest.approx(4.8916, abs=1e-4)
    assert z_limit(63) > 5.4


def test_too_few_hits_for_one_per_cent_are_refused():
    # 47 / b^2 hits: 470,000 for 1 %.
    assert agrees(1.0, 1.0 / np.sqrt(475_000), 1.0)
    with pytest.raises(TooNoisyError):
        agrees(1.0, 1.0 / np.sqrt(460_000), 1.0)
    with pytest.raises(TooNoisyError):
        agrees(1.0, np.nan, 1.0)
    with pytest.raises(TooNoisyError):
        agrees(0.0, 1e-9, 0.0)


@pytest.mark.parametrize("bias", [-0.01, 0.01])
def test_a_one_per_cent_error_is_caught_as_often_as_promised(bias):
    error = 1.0 / np.sqrt(475_000)
    draws = np.random.default_rng(1).normal(1.0 + bias, error, 4_000)
    caught = sum(not agrees(draw, error, 1.0) for draw in draws)
    assert caught >= POWER * 4_000 - 5.0 * np.sqrt(4_000 * POWER * (1.0 - POWER))
    assert not all_agree(draws[:50], error, 1.0)


def test_a_known_sum_must_be_met_exactly():
    assert agrees(1.0, 0.0, 1.0)
    assert not agrees(np.nextafter(1.0, 2.0), 0.0, 1.0)
    assert (z_scores([1.0, 2.0], 0.0, [1.0, 1.0]) == [0.0, np.inf]).all()


def test_chi_square_sees_a_one_per_cent_distortion():
    random = np.random.default_rng(2)
    even = np.full(20, 0.05)
    bent = even * (1.0 + 0.01 * (-1.0) ** np.arange(20))
    assert fits(random.multinomial(2_000_000, even), even)
    assert not fits(random.multinomial(2_000_000, bent), even)
    with pytest.raises(TooNoisyError):
        fits(random.multinomial(100_000, even), even)
    with pytest.raises(AssertionError):
        fits(random.multinomial(2_000_000, even), 0.9 * even)


def test_false_alarms_are_as_rare_as_promised():
    # Of a million right answers one fails on the average; more than 8 happen once in a million.
    draws = np.random.default_rng(3).standard_normal(1_000_000)
    assert FALSE_ALARM == 1e-6
    assert (abs(draws) > z_limit()).sum() <= 8
