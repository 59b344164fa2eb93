"""Backward paths where the minimum is decided.

Photons from the lamps show which judged face-sides could be the worst. Backward paths from those
face-sides settle it: at each round the face-sides whose lower bound still lies below what the
worst one is known to get are given more paths, until the bound on the minimum is as close to the
worst irradiance as asked. The others are then looked at once, where the map of all is asked for.
"""

import math

import numpy as np

from raysim.base.interrupts import hold_interrupts
from raysim.base.progress import Progress
from raysim.estimate.bounds import MOST_ROUNDS, READING_ERROR, batch_mean, t_quantile
from raysim.estimate.darkness import MOST_PATHS, enough_paths, found_dark, sites_seem_dark
from raysim.estimate.face_sides import GUESS_ERRORS, Sites, upper_end
from raysim.estimate.refinement import Refinement
from raysim.transport.paths import Paths

# Sites that get their first paths in one round: so many, and of very many a larger share, since
# each round looks at all of them.
NEW_PER_ROUND, MOST_FIRST_ROUNDS = 1024, 64
DIM_PER_ROUND = 32
FIRST_PATHS = 1  # paths per batch in the first round of a face-side
# Paths of one round against those before it. What a face-side needs is not known well before it has
# nearly been given it; the darkest one found brighter than thought spares all others.
# Looks are few, so those that are left must be able to make up for any number of paths: limits by
# the rounds that a site has had, from none on.
LEAST_GROWTH = np.array([0.0, 0.25, 0.25, 0.25, 0.5, 1.0, 2.0, 4.0])
LARGEST_GROWTH = np.array([0.0, 4.0, 4.0, 4.0, 4.0, 8.0, 16.0, 64.0])
# Paths that tell as much as one photon that arrives: the variance of a path, relative to the square
# of its mean. Seen from 0.4 to 5; a figure that does not fit only wastes some of either.
PATHS_PER_COUNT = 2.0
# The same for paths that read the photons' counts, seen from 0.15 to 0.7.
READS_PER_COUNT = 0.4
# Reading paths tell in a few rounds which sites cannot be the worst; the others are then traced to
# the lamps, beginning with so many times the paths. (Their variance is 1.1 to 5 times that of
# reading ones; 1, 2, 5 times took 12, 12, 14 million rays in the demo, 14, 14, 12 in white paint.)
READING_ROUNDS, LEAVING = 3, 2.5
CLIP = 8.0  # times the irradiance to be shown; 4 to 12 do as well
# The brightest face-sides of each case: how many, and paths per batch for each.
BRIGHTEST = ((128, 8), (16, 64))
# Rays of a run of up to so many sites; with more of them it may take more, as first paths alone
# take some 200 for each.
MOST_RAYS, SITES_FOR_THEM = 120_000_000, 400_000
# Of what is left of them, one round takes so much at most; and the step by which a goal is lowered
# that cannot be paid (own choice both).
ROUND_SHARE, LOWER_GOAL = 0.5, 1.25
PATHS_PER_STEP = 100_000  # between two calls of the progress bar
STARTS_AT_ONCE = 16_384  # as objects, until they are in arrays


def refine(
    run: Paths,
    sites: Sites,
    state: Refinement,
    factors: np.ndarray,
    *,
    precision: float,
    progress: Progress,
    most_rays: float = math.inf,
) -> None:
    """Add backward paths to `state`, which comes in with the forward estimates.

    Parameters
    ----------
    run : Paths
        Without targets yet.
    factors : (cases, lamps) float64
        Output of each lamp as a share of its rating.
    precision : float
        (worst - bound) / worst to reach in both cases.
    most_rays : float
        Where to stop in the midst of a round, for what need not be known so well.

    Raises
    ------
    ValueError
        For a run of other than `state.batches`: bounds and counts of paths rest on that number.
    """
    if run.batches != state.batches:
        raise ValueError(f"{run.batches} batches; a round has {state.batches}")
    while True:
        pieces = _pieces(state.planned_paths * state.batches)
        while state.pieces_done < len(pieces):
            if run.rays > most_rays:
                return
            piece = pieces[state.pieces_done]
            chosen, paths = state.planned[piece], state.planned_paths[piece]
            with hold_interrupts():
                _add_round(run, state, chosen, paths, factors)
                state.pieces_done += 1
            if state.reached:
                progress("tracing back from all other spots", state.pieces_done, len(pieces))
            else:
                progress("tracing back from the darkest spots", *_distance(state, precision))
        with hold_interrupts():
            if not _plan_round(run, sites, state, precision):
                return


def _plan_round(run: Paths, sites: Sites, state: Refinement, precision: float) -> bool:
    """Choose the sites of the next round and their paths; False where there is none."""
    is_open = ~found_dark(run, state)
    least, unsettled = _least_light(state, precision, is_open)
    goal = np.where(is_open, (1.0 - precision) * least, 0.0)
    chosen = _undecided(run, state, goal, unsettled, is_open)
    close = state.bound[: state.cases_decided].min(axis=1) >= (1.0 - precision) * least
    state.reached = not len(chosen) and bool((is_open | close).all())
    if run.rays > _most_rays(state):
        chosen = chosen[:0]
    chosen = _still_allowed(run, state, chosen)
    if not len(chosen) and state.everywhere:
        chosen = np.flatnonzero(state.rounds == 0)
    if not len(chosen):
        return False
    _add_starts(run, sites, state, chosen)
    _leave_reading(state, chosen, goal)
    state.planned, state.planned_paths = _what_can_be_paid(
        run, state, chosen, np.where(is_open, least, 0.0), precision
    )
    state.pieces_done = 0
    clip = np.where(np.isfinite(goal), CLIP * goal, np.inf)
    state.clip[: state.cases_decided] = np.where(is_open, clip, state.clip[: state.cases_decided])
    return True


def refine_best(
    run: Paths,
    sites: Sites,
    state: Refinement,
    factors: np.ndarray,
    progress: Progress,
) -> None:
    """Backward paths from the face-sides that are best-lit, so that noise is not taken for light.

    The largest of many noisy values lies above the truth. The face-sides with the brightest 1 cm2
    about them are given some paths, then the brightest of these many, and `state.bright` marks
    those.
    """
    candidates = np.arange(len(state.row))
    shown = np.stack([sites.patches.means(mean) for mean in state.mean])
    for number, paths in BRIGHTEST:
        brightest = np.argsort(-shown[:, candidates], axis=1, kind="stable")[:, :number]
        candidates = candidates[np.unique(brightest)]
        _add_starts(run, sites, state, candidates)
        done = run.paths[state.row[candidates]]
        chosen, further = candidates[done < paths], (paths - done)[done < paths]
        if len(chosen):
            _add_round(run, state, chosen, further, factors)
        progress("tracing back from the brightest spots", 1.0, 1.0)
        shown = state.mean
    state.bright[candidates] = True


def precise(state: Refinement, precision: float) -> np.ndarray:
    """Sites whose irradiance is known as well as asked, (cases decided, sites) bool.

    What rests on reading the photons' counts is not.
    """
    mean, error = state.mean[: state.cases_decided], state.error[: state.cases_decided]
    return ~state.reads & (mean > 0.0) & (_later_quantile(state) * error <= precision * mean)


def _later_quantile(state: Refinement) -> float:
    """Standard errors from a mean to its bound, at any round but the first."""
    return t_quantile(state.round_error, state.batches)


def _least_light(
    state: Refinement, precision: float, is_open: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """What the worst-lit site gets (W/m2), (cases,), and the sites that still make it a guess.

    Sites are told for the cases that are open, (cases,) bool.

    Of a site that is not settled, noise is not to pass for darkness: its irradiance is taken at
    the upper end of its error.
    """
    sure = precise(state, precision)
    guess = upper_end(state.mean[: state.cases_decided], state.error[: state.cases_decided], sure)
    guess = np.where(guess > 0.0, guess, np.inf)  # of the unlit, no more can be said
    worst = guess.argmin(axis=1)
    cases = np.arange(len(worst))
    return guess[cases, worst], np.unique(worst[is_open & ~sure[cases, worst]])


def _undecided(
    run: Paths,
    state: Refinement,
    goal: np.ndarray,
    unsettled: np.ndarray,
    is_open: np.ndarray,
) -> np.ndarray:
    """Sites to look at next: those whose bound lies below the goal of a case, and the unsettled.

    Sites without any paths come first, those that seem darkest before the others and not too many
    at a time: what they show lowers the goal and spares the rest. Then those that seem too dark, a
    few at a time: one that stays so closes its case.
    """
    below = (state.bound[: state.cases_decided] < goal[:, None]).any(axis=0)
    unseen = np.flatnonzero(below & (state.row < 0))
    if len(unseen):
        order = np.argsort(state.mean[: state.cases_decided][:, unseen].min(axis=0), kind="stable")
        portion = max(NEW_PER_ROUND, len(state.row) // MOST_FIRST_ROUNDS)
        return np.sort(unseen[order[:portion]])
    undecided = np.union1d(np.flatnonzero(below), unsettled)
    dim = undecided[sites_seem_dark(state, undecided, GUESS_ERRORS)[is_open].any(axis=0)]
    dim = _still_allowed(run, state, dim)
    if len(dim):
        most = np.argsort(-run.paths[state.row[dim]], kind="stable")
        return np.sort(dim[most[:DIM_PER_ROUND]])
    return undecided


def _still_allowed(run: Paths, state: Refinement, chosen: np.ndarray) -> np.ndarray:
    """Those of the chosen sites that may be given more paths."""
    row = state.row[chosen]
    done = np.where(row >= 0, run.paths[row] if len(run.paths) else 0, 0)
    return chosen[(done < MOST_PATHS) & (state.rounds[chosen] < MOST_ROUNDS)]


def _add_starts(run: Paths, sites: Sites, state: Refinement, chosen: np.ndarray) -> None:
    new = chosen[state.row[chosen] < 0]
    state.row[new] = len(run.paths) + np.arange(len(new))
    for few in np.split(new, range(STARTS_AT_ONCE, len(new), STARTS_AT_ONCE)):
        run.add_starts(sites.targets(few))
    state.reads[new] = run.reads[state.row[new]]


def _leave_reading(state: Refinement, chosen: np.ndarray, goal: np.ndarray) -> None:
    """Mark the chosen sites that reading cannot decide: their paths are to go on to the lamps."""
    mean = state.mean[: state.cases_decided][:, chosen]
    hopeless = ((1.0 - READING_ERROR) * mean <= goal[:, None]).any(axis=0)
    rounds = state.rounds[chosen]
    state.reads[chosen[(rounds > 0) & (hopeless | (rounds >= READING_ROUNDS))]] = False


def _what_can_be_paid(
    run: Paths, state: Refinement, chosen: np.ndarray, least: np.ndarray, precision: float
) -> tuple[np.ndarray, np.ndarray]:
    """Sites of the next round and their further paths per batch.

    Of the rays that are left, a round takes a part. Where all that is wanted takes more, the goal
    is lowered until it can be paid: the bound is that of the site that is known least, so none
    gets what would lift it above the others.

    Parameters
    ----------
    least : (cases decided,) float64, W/m2
        What the worst-lit site gets, 0 in cases that are closed.
    """
    rays_left = max(_most_rays(state) - run.rays, 0.0)
    affordable = ROUND_SHARE * rays_left * run.paths.sum() / max(run.rays, 1)
    bound = state.bound[: state.cases_decided]
    while True:
        paths = _paths_needed(run, state, chosen, (1.0 - precision) * least, precision)
        precision *= LOWER_GOAL
        below = (bound[:, chosen] < (1.0 - precision) * least[:, None]).any(axis=0)
        if paths.sum() <= affordable or precision >= 1.0 or not below.any():
            return chosen, np.minimum(paths, _level(paths, affordable))
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
    sure_of = np.where(state.reads[chosen], 1.0 - READING_ERROR, 1.0) * mean
    margin = np.maximum(sure_of - goal[:, None], precision * mean)
    with np.errstate(divide="ignore", invalid="ignore"):
        short = _later_quantile(state) * error / margin
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
    return np.where(done == 0, FIRST_PATHS, np.ceil(further)).astype(np.int64)


def _most_rays(state: Refinement) -> float:
    return MOST_RAYS * max(len(state.row) / SITES_FOR_THEM, 1.0)


def _level(wanted: np.ndarray, in_all: float) -> float:
    """The most that each may be given so that all that is given is no more than so much."""
    ordered = np.sort(wanted)
    after = np.arange(len(ordered), 0, -1)  # it and those that want as much or more
    level = (in_all - (np.cumsum(ordered) - ordered)) / after
    short = np.flatnonzero(level < ordered)
    return max(float(np.floor(level[short[0]])), 1.0) if len(short) else math.inf


def _pieces(paths: np.ndarray) -> list[np.ndarray]:
    """Rows in pieces short enough for a progress bar and for Ctrl-C to be heard."""
    if not len(paths):
        return []
    step = np.cumsum(paths) // PATHS_PER_STEP
    return np.split(np.arange(len(paths)), np.flatnonzero(np.diff(step)) + 1)


def _add_round(
    run: Paths,
    state: Refinement,
    chosen: np.ndarray,
    paths: np.ndarray,
    factors: np.ndarray,
) -> None:
    """Trace further paths from the chosen sites and bring their numbers up to date."""
    with hold_interrupts():
        row = state.row[chosen]
        run.stop_reading(row[run.reads[row] & ~state.reads[chosen]])
        run.add_paths(row, paths)
        _update(run, state, chosen, factors)
        state.rounds[chosen] += 1


def _update(run: Paths, state: Refinement, chosen: np.ndarray, factors: np.ndarray) -> None:
    """Means, errors and bounds of the chosen sites from all their paths."""
    batches = run.batch_irradiance(state.row[chosen])
    scores = np.einsum("tblc,cl->tbc", batches[..., : len(factors)], factors)
    total, total_error = batch_mean(scores)
    state.path_error[:, chosen] = total_error.T
    _join(state, chosen, run.paths[state.row[chosen]], total.T, total_error.T)
    first = state.rounds[chosen] == 0
    state.even[:, chosen[first]] = state.mean[:, chosen[first]]
    bound = (total - _later_quantile(state) * total_error).T
    bound[:, first] = _first_bound(scores[first], state)
    bound *= np.where(state.reads[chosen], 1.0 - READING_ERROR, 1.0)
    bound[:, state.rounds[chosen] >= MOST_ROUNDS] = 0.0  # their error probability is spent
    state.bound[:, chosen] = np.maximum(state.bound[:, chosen], bound)
    state.paths, state.rays = int(run.paths.sum()) * state.batches, run.rays


def take_over(run: Paths, state: Refinement, sites: np.ndarray, factors: np.ndarray) -> None:
    """Bring a state up to date with paths that were traced for another one with the same rows.

    `factors` (cases, lamps) are those of the state, which may have the first cases of the run only.
    A run that was broken off in a round may have sites without a path: they tell nothing.
    """
    sites = sites[run.paths[state.row[sites]] > 0]
    for some in np.array_split(sites, max(len(sites) // STARTS_AT_ONCE, 1)):
        _update(run, state, some, factors)


def _join(
    state: Refinement, chosen: np.ndarray, paths: np.ndarray, mean: np.ndarray, error: np.ndarray
) -> None:
    """Means of backward paths, (cases, chosen), and of photon counts, by what each are worth."""
    paths_per_count = np.where(state.reads[chosen], READS_PER_COUNT, PATHS_PER_COUNT)
    worth = paths * state.batches / paths_per_count
    share = worth / (worth + state.counts[:, chosen])
    state.share[:, chosen] = share
    both = share < 1.0  # else the photons may know nothing at all
    counted = np.where(both, state.forward_mean[:, chosen], 0.0)
    noise = np.where(both, state.forward_error[:, chosen], 0.0)
    state.mean[:, chosen] = share * mean + (1.0 - share) * counted
    state.error[:, chosen] = np.hypot(share * error, (1.0 - share) * noise)


def _first_bound(scores: np.ndarray, state: Refinement) -> np.ndarray:
    """Bounds (W/m2) from single paths (sites, batches, cases), (cases, sites).

    A few bright paths make a mean uncertain and help little to tell it from a much smaller goal.
    Scores are therefore clipped: their mean is no larger than the true one, and its bound is a
    bound of that as well. Where to clip was fixed before the paths were traced.
    """
    mean, error = batch_mean(np.minimum(scores, state.clip))
    return np.asarray((mean - t_quantile(state.first_error, state.batches) * error).T)


def _distance(state: Refinement, precision: float) -> tuple[float, float]:
    """How near the bound is to the precision asked for, as (done, whole) of a progress bar.

    Effort grows with the inverse square of the distance of the bound from the worst irradiance.
    """
    least, _ = _least_light(state, precision, np.ones(state.cases_decided, bool))
    gap = float((1.0 - state.bound[: state.cases_decided].min(axis=1) / least).max())
    return min((precision / max(gap, precision)) ** 2, 1.0), 1.0
