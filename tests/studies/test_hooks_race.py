"""The race of layouts by itself, over light that is known: how often does it drop the best?"""

from types import SimpleNamespace

import numpy as np
import pytest

from raysim.estimate.bounds import t_quantile
from raysim.studies.hooks import race as hooks_race
from raysim.studies.hooks.contestant import Contestant, Fate
from raysim.studies.hooks.load import Hang
from raysim.studies.hooks.race import Race
from raysim.transport.options import RunOptions
from raysim.transport.paths import PATH_BATCHES

RUNS = 300


class KnownLight:
    """Stands in for tracing: batches scatter about a known worst face by a known law."""

    def __init__(self, truth, spread, random):
        self.truth, self.spread, self.random = truth, spread, random
        self.pilots, self.options = 0, RunOptions()

    def each(self, method, calls):
        return (method(self, *call) for call in calls)

    def _light(self, one, paths):
        place = round(1000 * one.layout[0].at[0])
        spread = self.spread * self.truth[place] / np.sqrt(paths)
        # Skewed, as the light of backward paths is: a sum of few exponentials per batch.
        shape = max(paths * 0.1, 1.0)
        noise = self.random.gamma(shape, 1.0, PATH_BATCHES) - shape
        return self.truth[place] + spread * noise / np.sqrt(shape)

    def contestant(self, layout, seed):
        one = Contestant(layout, None, "arrays", np.arange(1), np.zeros(1), np.ones(1))
        one.mean = np.array([self._light(one, 4).mean()])
        return one

    def look(self, one, paths, seed, error):
        batches = self._light(one, paths)
        one.mean, one.error = np.array([batches.mean()]), np.array([batches.std(ddof=1) / 8])
        quantile = t_quantile(error, PATH_BATCHES)
        one.upper = min(one.upper, float(one.mean[0] + quantile * one.error[0]))

    def look_for_too_dark(self, one, seed, error, sites=None):
        """Nothing is."""

    def look_all_over(self, one, precision, seed, error):
        batches = self._light(one, 40 / precision)
        quantile = t_quantile(error, PATH_BATCHES)
        one.lower = float(batches.mean() - quantile * batches.std(ddof=1) / 8)
        return SimpleNamespace(dark=np.zeros((1, 1), bool))

    def faces_of(self, one, count):
        return one.sites


def share_of_losses(spread):
    """How often the best layout was said to be worse, and how many were dropped on the mean."""
    lost, dropped = 0, []
    for run in range(RUNS):
        random = np.random.default_rng(run)
        truth = np.exp(random.normal(0.0, 0.2, 48))
        race = Race(KnownLight(truth, spread, random), 1)
        race.enter([(Hang((k / 1000.0, 0.0, 0.0)),) for k in range(48)])
        race.run()
        best = race.everyone[int(truth.argmax())]
        lost += best.fate is Fate.WORSE
        dropped.append(sum(one.fate is Fate.WORSE for one in race.everyone))
    return lost / RUNS, float(np.mean(dropped))


def test_the_best_layout_is_hardly_ever_said_to_be_worse():
    """At most 5 % of races; 300 of them would show twice that (8 % or more) with 97 % power."""
    lost, dropped = share_of_losses(spread=1.5)
    assert lost <= 0.05
    assert dropped > 16  # and the hopeless are dropped, or the race would be worth nothing


def test_bounds_that_are_too_narrow_would_be_seen(monkeypatch):
    monkeypatch.setattr(hooks_race, "UPPER", 150.0)
    monkeypatch.setattr(hooks_race, "LOWER", 30.0)
    lost, _ = share_of_losses(spread=1.5)
    assert lost > 0.05


def test_bounds_are_spent_over_looks_and_layouts():
    assert pytest.approx(1.0) == hooks_race.UPPER + hooks_race.LOWER + hooks_race.SHOWN
    assert sum(hooks_race.LOWER_PARTS) == pytest.approx(1.0)
    later = (hooks_race.MOST_ROUNDS - 1) * hooks_race.LATER_LOOK
    assert hooks_race.FIRST_LOOK + 2 * hooks_race.DARK_LOOK + later == pytest.approx(1.0)
    random = np.random.default_rng(1)
    race = Race(KnownLight(np.linspace(1.0, 1.001, 64), 3.0, random), 1)
    race.enter([(Hang((k / 1000.0, 0.0, 0.0)),) for k in range(64)])
    race.run()
    assert race.rounds <= hooks_race.MOST_ROUNDS
    assert len(race.finalists) == hooks_race.FINALISTS
    aside = [one.upper for one in race.everyone if one.fate is Fate.ASIDE]
    assert max(aside) > 1.0  # of those set aside, so that the answer stays honest
