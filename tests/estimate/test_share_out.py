"""Who gets how many paths where the rays that are left do not do for all."""

from types import SimpleNamespace

import numpy as np
import pytest

from raysim.estimate.refinement import forward_only
from raysim.estimate.share_out import LATE_ROUND, share_out

SITES = 40
RAYS_PER_PATH = 10
PRECISION = 0.02


def looked_at(error=0.05, paths=100, rounds=4):
    """A run and its state: sites of 1.0 to 1.39 W/m2 after some rounds, one case to be decided."""
    mean = (1.0 + 0.01 * np.arange(SITES))[None]
    state = forward_only(mean, np.zeros((1, SITES)), np.zeros((1, SITES)))
    state.cases_decided = 1
    state.path_error[:] = error
    state.error[:] = error
    state.bound[:] = mean - 3.0 * error
    state.row[:] = np.arange(SITES)
    state.rounds[:] = rounds
    run = SimpleNamespace(paths=np.full(SITES, paths), reads=np.zeros(SITES, bool))
    run.rays = SITES * paths * RAYS_PER_PATH
    return run, state


def given(run, state, rays_left):
    """Further paths of every site, 0 of those put off, where so many rays are left."""
    least = np.array([1.0])
    chosen, paths = share_out(
        run, state, np.arange(SITES), least, precision=PRECISION, rays_left=rays_left
    )
    further = np.zeros(SITES, int)
    further[chosen] = paths
    return further


def test_where_rays_do_for_all_each_gets_what_it_needs():
    run, state = looked_at()
    further = given(run, state, 10**9)
    assert (further > 0).all()
    assert (np.diff(further) <= 0).all()
    assert further[0] > further[-1]


@pytest.mark.parametrize("rays_left", [10_000, 30_000, 90_000])
def test_a_round_takes_a_part_of_what_is_left(rays_left):
    run, state = looked_at()
    wanted = given(run, state, 10**9)
    further = given(run, state, rays_left)
    assert wanted.sum() * RAYS_PER_PATH > 0.5 * rays_left
    assert 0.2 * rays_left < further.sum() * RAYS_PER_PATH <= 0.5 * rays_left


def test_a_goal_that_cannot_be_paid_is_lowered():
    """Those above it are put off; the site with the lowest bound gets its share."""
    run, state = looked_at()
    state.bound[0, 5] = 0.0
    state.path_error[0, 5] = 0.5
    further = given(run, state, 60_000)
    put_off = further == 0
    assert 0 < put_off.sum() < SITES
    assert state.bound[0, put_off].min() >= state.bound[0, ~put_off].max() - 1e-12
    assert further[5] == further.max()


def test_where_nothing_is_left_each_gets_one_path():
    run, state = looked_at()
    state.bound[:] = 0.0
    assert (given(run, state, 0) == 1).all()


def test_late_a_lucky_error_is_not_believed():
    """A site whose few paths agree by luck gets what others of as many paths get."""
    for rounds, is_late in ((LATE_ROUND, True), (LATE_ROUND - 1, False)):
        run, state = looked_at(rounds=rounds)
        state.path_error[0, 0] = 0.001
        further = given(run, state, 10**9)
        assert (further[0] >= further[1]) == is_late


def test_unlit_sites_tell_nothing_of_the_usual_error():
    run, state = looked_at(rounds=LATE_ROUND)
    state.mean[:] = 0.0
    state.path_error[:] = 0.0
    assert (given(run, state, 10**9) > 0).all()
