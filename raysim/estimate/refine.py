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
from raysim.estimate.darkness import MOST_PATHS, found_dark, sites_seem_dark
from raysim.estimate.face_sides import GUESS_ERRORS, Sites, upper_end
from raysim.estimate.refinement import Refinement
from raysim.estimate.share_out import later_quantile, rays_allowed, share_out
from raysim.transport.paths import Paths

# Sites that get their first paths in one round: so many, and of very many a larger share, since
# each round looks at all of them.
NEW_PER_ROUND, MOST_FIRST_ROUNDS = 1024, 64
DIM_PER_ROUND = 32
# Paths that tell as much as one photon that arrives: the variance of a path, relative to the square
# of its mean. Seen from 0.4 to 5; a figure that does not fit only wastes some of either.
PATHS_PER_COUNT = 2.0
# The same for paths that read the photons' counts, seen from 0.15 to 0.7.
READS_PER_COUNT = 0.4
# Reading paths tell in a few rounds which sites cannot be the worst; the others are then traced to
# the lamps.
READING_ROUNDS = 3
CLIP = 8.0  # times the irradiance to be shown; 4 to 12 do as well
# The brightest face-sides of each case: how many, and paths per batch for each.
BRIGHTEST = ((128, 8), (16, 64))
PATHS_PER_STEP = 100_000  # between two calls of the progress bar
STARTS_AT_ONCE = 16_384  # as objects, until they are in arrays
SITES_AT_ONCE = 2_048  # brought up to date: their sums are copied in double precision


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
        Rounds are planned within these; what takes more all the same is broken off.

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
            if not _plan_round(run, sites, state, precision, most_rays):
                return


def _plan_round(
    run: Paths, sites: Sites, state: Refinement, precision: float, most_rays: float
) -> bool:
    """Choose the sites of the next round and their paths; False where there is none."""
    is_open = ~found_dark(run, state)
    least, unsettled = _least_light(state, precision, is_open)
    goal = np.where(is_open, (1.0 - precision) * least, 0.0)
    chosen = _undecided(run, state, goal, unsettled, is_open)
    close = state.bound[: state.cases_decided].min(axis=1) >= (1.0 - precision) * least
    state.reached = not len(chosen) and bool((is_open | close).all())
    rays_left = min(rays_allowed(state), most_rays) - run.rays
    if rays_left < 0.0:
        chosen = chosen[:0]
    chosen = _still_allowed(run, state, chosen)
    if not len(chosen) and state.everywhere:
        chosen = np.flatnonzero(state.rounds == 0)
    if not len(chosen):
        return False
    _add_starts(run, sites, state, chosen)
    _leave_reading(state, chosen, goal)
    state.planned, state.planned_paths = share_out(
        run, state, chosen, np.where(is_open, least, 0.0), precision=precision, rays_left=rays_left
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
    return ~state.reads & (mean > 0.0) & (later_quantile(state) * error <= precision * mean)


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
    bound = (total - later_quantile(state) * total_error).T
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
    for some in np.array_split(sites, max(len(sites) // SITES_AT_ONCE, 1)):
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
