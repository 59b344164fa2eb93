"""The bounds of a layout against a closed form, over many seeds."""

import numpy as np
import pytest
from hung import between_tubes, worst_in_closed_form
from scipy import stats

from raysim.estimate.bounds import MOST_ROUNDS
from raysim.studies.hooks.light import Light
from raysim.studies.hooks.load import Hang, find_load
from raysim.transport.options import RunOptions

ERROR = 0.05
SEEDS = 120
MOST_FAILURES = stats.binom.isf(1e-4, SEEDS, ERROR)  # a bound that fails twice as often shows


@pytest.fixture
def light(tmp_path):
    return Light(find_load(between_tubes(tmp_path, (3.0, 1.0))), 1, RunOptions(threads=2))


LAYOUT = (Hang((0.21, 0.23, 0.26)),)


def test_upper_bounds_hold_as_often_as_they_say(light):
    """And two fifths of their width would be seen to fail too often."""
    truth = worst_in_closed_form(light.stage.placed(LAYOUT), (3.0, 1.0))
    uppers, narrow = [], []
    for seed in range(SEEDS):
        one = light.contestant(LAYOUT, 10_000 * seed)
        light.look(one, 2, 10_000 * seed + 999, ERROR)
        least = one.mean.min()
        uppers.append(one.upper)
        narrow.append(least + 0.4 * (one.upper - least))
    assert (np.array(uppers) < truth).sum() <= MOST_FAILURES
    assert (np.array(narrow) < truth).sum() > MOST_FAILURES
    assert np.mean(uppers) < 1.35 * truth  # and they say something


def test_lower_bounds_hold_as_often_as_they_say(light):
    truth = worst_in_closed_form(light.stage.placed(LAYOUT), (3.0, 1.0))
    lowers = []
    for seed in range(SEEDS):
        one = light.contestant(LAYOUT, 10_000 * seed)
        light.look_all_over(one, 0.15, 10_000 * seed + 999, ERROR * MOST_ROUNDS)
        lowers.append(one.lower)
    assert (np.array(lowers) > truth).sum() <= MOST_FAILURES
    assert np.mean(lowers) > 0.75 * truth
