"""How many paths the sites of a round get, and which of them are put off.

What a site needs follows from how far its bound lies below the goal; what it gets, from the rays
that are left.
"""

import math

import numpy as np

from raysim.estimate.bounds import READING_ERROR, t_quantile
from raysim.estimate.darkness import MOST_PATHS, enough_paths, sites_seem_dark
from raysim.estimate.face_sides import GUESS_ERRORS
from raysim.estimate.refinement import Refinement
from raysim.transport.paths import Paths

FIRST_PATHS = 1  # paths per batch in the first round of a face-side
# Paths of one round against those before it. What a face-side needs is not known well before it has
# nearly been given it; the darkest one found brighter than thought spares all others.
# Looks are few, so those that are left must be able to make up for any number of paths: limits by
# the rounds that a site has had, from none on.
LEAST_GROWTH = np.array([0.0, 0.25, 0.25, 0.25, 0.5, 1.0, 2.0, 4.0])
LARGEST_GROWTH = np.array([0.0, 4.0, 4.0, 4.0, 4.0, 8.0, 16.0, 64.0])
# A site that leaves reading begins with so many times the paths. (Their variance is 1.1 to 5 times
# that of reading ones; 1, 2, 5 times took 12, 12, 14 million rays in the demo, 14, 14, 12 in white
# paint.)
LEAVING = 2.5
# Rays of a run of up to so many sites; with more of them it may take more, as first paths alone
# take some 200 for each.
MOST_RAYS, SITES_FOR_THEM = 160_000_000, 400_000
# Of what is left of them, one round takes so much at most; and the step by which a goal is lowered
# that cannot be paid (own choice both).
ROUND_SHARE, LOWER_GOAL = 0.5, 1.25
LATE_ROUND = 5  # rounds after which few paths are not taken for better than usual (own choice)


def later_quantile(state: Refinement) -> float:
    """Standard errors from a mean to its bound, at any round but the first."""
    return t_quantile(state.round_error, state.batches)


def share_out(
    run: Paths,
    state: Refinement,
    chosen: np.ndarray,
    least: np.ndarray,
    *,
    precision: float,
    rays_left: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Sites of the next round and their further paths per batch.

    Of the rays that are left, a round takes a part. Where all that is wanted takes more, the goal
    is lowered until it can be paid: the bound is that of the site that is known least, so none
    gets what would lift it above the others.

    Parameters
    ----------
    least : (cases decided,) float64, W/m2
        What the worst-lit site gets, 0 in cases that are closed.
    rays_left : float
        Of all that may be traced.
    """
    affordable = ROUND_SHARE * max(rays_left, 0.0) * run.paths.sum() / max(run.rays, 1)
    bound = state.bound[: state.cases_decided]
    while True:
        paths = _paths_needed(run, state, chosen, (1.0 - precision) * least, precision)
        precision *= LOWER_GOAL
        below = (bound[:, chosen] < (1.0 - precision) * least[:, None]).any(axis=0)
        if paths.sum() <= affordable or precision >= 1.0 or not below.any():
            return chosen, np.minimum(paths, _level(paths, affordable)).astype(np.int64)
        chosen = chosen[below]


def _paths_needed(
    run: Paths, state: Refinement, chosen: np.ndarray, goal: np.ndarray, precision: float
) -> np.ndarray:
    """Further paths per batch that should lift each bound to the goal, within limits.

    `goal` (cases decided,) W/m2 is 0 in cases that are closed.
    """
    is_open = goal > 0.0
    done = run.paths[state.row[chosen]]
    leaving = run.reads[state.row[chosen]] & ~state.reads[chosen]
    mean, error = (
        state.mean[: state.cases_decided][:, chosen],
        state.path_error[: state.cases_decided][:, chosen],
    )
    error = np.maximum(error, _usual_error(mean, error, done, state.rounds[chosen]))
    sure_of = np.where(state.reads[chosen], 1.0 - READING_ERROR, 1.0) * mean
    margin = np.maximum(sure_of - goal[:, None], precision * mean)
    with np.errstate(divide="ignore", invalid="ignore"):
        short = later_quantile(state) * error / margin
    rounds = state.rounds[chosen]
    short = np.where(is_open[:, None], np.nan_to_num(short, nan=1e9, posinf=1e9), 0.0)
    factor = 1.3 * short.max(axis=0) ** 2
    growth = np.clip(factor - 1.0, LEAST_GROWTH[rounds], LARGEST_GROWTH[rounds])
    growth = np.where(leaving, (growth + 1.0) * LEAVING, growth)
    enough = np.where(
        sites_seem_dark(state, chosen, GUESS_ERRORS) & is_open[:, None], enough_paths(state), 0.0
    ).max(axis=0)
    most = np.where(done < enough, enough, MOST_PATHS)
    further = np.minimum(np.ceil(done * growth), most - np.where(leaving, 0, done))
    return np.asarray(np.where(done == 0, FIRST_PATHS, np.ceil(further)))


def _usual_error(
    mean: np.ndarray, error: np.ndarray, paths: np.ndarray, rounds: np.ndarray
) -> np.ndarray:
    """What the error of a site would be, were its paths like those of the others, (cases, chosen).

    By luck few paths seem to agree, and few looks are left to see that they do not: 0 before.
    """
    late = rounds >= LATE_ROUND
    usual = np.zeros(mean.shape)
    for case in range(len(mean)):
        lit = late & (mean[case] > 0.0)
        if lit.any():
            share = mean[case][lit] / np.sqrt(paths[lit])
            usual[case, lit] = np.median(error[case][lit] / share) * share
    return usual


def rays_allowed(state: Refinement) -> float:
    """Rays that a run may take, but for the first look at sites for the map."""
    return MOST_RAYS * max(len(state.row) / SITES_FOR_THEM, 1.0)


def _level(wanted: np.ndarray, in_all: float) -> float:
    """The most that each may be given so that all that is given is no more than so much."""
    ordered = np.sort(wanted)
    after = np.arange(len(ordered), 0, -1)  # it and those that want as much or more
    level = (in_all - (np.cumsum(ordered) - ordered)) / after
    short = np.flatnonzero(level < ordered)
    return max(float(np.floor(level[short[0]])), 1.0) if len(short) else math.inf
