"""Backward paths where the minimum is decided.

Photons from the lamps show which judged face-sides could be the worst. Backward paths from those
face-sides settle it: at each look the face-sides whose lower bound still lies below what the
worst one is known to get are given more paths, until the bound on the minimum is as close to the
worst irradiance as asked.
"""

from dataclasses import dataclass

import numpy as np

from raysim.interrupts import hold_interrupts
from raysim.judge import Judged
from raysim.statistics import LOOK_ERROR, MOST_LOOKS, batch_mean, t_quantile
from raysim.tracing import ADJOINT_BATCHES, AdjointRun, Progress

NEW_PER_LOOK = 1024
UNLIT_PER_LOOK = 64
FIRST_PATHS = 2  # paths per batch at the first look at a face-side
MOST_PATHS = 2**16  # paths per batch, in all, for one face-side
LARGEST_GROWTH = 16  # paths of one look against those before it
# The brightest face-sides: how many, and paths per batch for each.
BRIGHTEST = ((128, 2), (16, 32))
MOST_BRIGHT_ROUNDS = 40
# Cases whose worst face-side is settled: cautious and expected. The bright one comes along.
SETTLED = 2
MOST_RAYS = 120_000_000
PATHS_PER_STEP = 400_000  # between two calls of the progress bar


@dataclass
class Refinement:
    """State of the refinement over all judged face-sides; cases as in `CASES`.

    Attributes
    ----------
    mean, error, bound : (cases, units) float64, W/m2
        Irradiance, standard error and lower bound with the lamp factors applied.
    looks : (units,) int64
        How often backward paths from it were looked at.
    by_lamp, by_lamp_error : (cases, lamps, units) float64, W/m2 at full rated output
    row : (units,) int64
        Target of each unit in the backward run, -1 for none yet.
    paths, rays : int
        Backward paths and ray segments traced.
    reached : bool
        Whether the precision asked for was reached.
    settle : int
        The first so many cases are to be settled, others come along.
    """

    mean: np.ndarray
    error: np.ndarray
    bound: np.ndarray
    looks: np.ndarray
    by_lamp: np.ndarray
    by_lamp_error: np.ndarray
    row: np.ndarray
    paths: int = 0
    rays: int = 0
    reached: bool = False
    settle: int = SETTLED

    @property
    def looked(self) -> np.ndarray:
        """Face-sides whose numbers come from backward paths, (units,) bool."""
        return self.looks > 0


def refine(
    run: AdjointRun,
    units: Judged,
    state: Refinement,
    factors: np.ndarray,
    precision: float,
    progress: Progress,
) -> None:
    """Add backward paths to `state`, which comes in with the forward estimates.

    Parameters
    ----------
    run : AdjointRun
        Without targets yet.
    factors : (cases, lamps) float64
        Output of each lamp as a share of its rating.
    precision : float
        (worst - bound) / worst to reach in both cases.
    """
    quantile = t_quantile(LOOK_ERROR, ADJOINT_BATCHES)
    goal = (state.mean + 3.0 * state.error)[: state.settle].min(
        axis=1
    )  # no paths yet: a safe guess
    while True:
        chosen = _undecided(run, state, goal)
        if not len(chosen):
            return
        _add_targets(run, units, state, chosen)
        paths = _paths_needed(run, state, chosen, goal, quantile)
        for piece in _pieces(paths):
            _look(run, state, chosen[piece], paths[piece], factors, quantile)
            progress("tracing back from the darkest spots", *_distance(state, precision))
        goal = (1.0 - precision) * _least_light(state)
        state.reached = bool((state.bound[: state.settle].min(axis=1) >= goal).all())
        if state.reached or run.rays > MOST_RAYS or _is_dark(run, state):
            return


def refine_best(
    run: AdjointRun,
    units: Judged,
    state: Refinement,
    factors: np.ndarray,
    progress: Progress,
) -> None:
    """Backward paths from the face-sides that look best-lit, so that noise is not taken for light.

    The largest of many noisy counts lies above the truth. Whatever looks brightest is given some
    paths, until the brightest all have them; then the few brightest of those get many.
    """
    quantile = t_quantile(LOOK_ERROR, ADJOINT_BATCHES)
    for number, paths in BRIGHTEST:
        for case in range(len(state.mean)):
            for _ in range(MOST_BRIGHT_ROUNDS):
                brightest = np.argsort(-state.mean[case], kind="stable")[:number]
                done = np.zeros(len(state.row), np.int64)
                known = state.row >= 0
                done[known] = run.paths[state.row[known]]
                chosen = np.sort(brightest[done[brightest] < paths])
                if not len(chosen):
                    break
                _add_targets(run, units, state, chosen)
                _look(run, state, chosen, paths - done[chosen], factors, quantile)
                progress("tracing back from the brightest spots", 1.0, 1.0)


def _least_light(state: Refinement) -> np.ndarray:
    """Irradiance (W/m2) of the worst-lit looked-at unit that any light was seen on, (cases,)."""
    seen = state.mean[: state.settle][:, state.looked]
    return np.where(seen > 0.0, seen, np.inf).min(axis=1)


def _is_dark(run: AdjointRun, state: Refinement) -> bool:
    """Whether a unit has been given all its paths and no light was seen: no more can help."""
    known = np.flatnonzero(state.row >= 0)
    spent = (run.paths[state.row[known]] >= MOST_PATHS) | (state.looks[known] >= MOST_LOOKS)
    return bool((state.mean[: state.settle][:, known[spent]] <= 0.0).any())


def _undecided(run: AdjointRun, state: Refinement, goal: np.ndarray) -> np.ndarray:
    """Units whose bound lies below the goal of a case and which may be given more paths.

    Units without any paths come first, the darkest bounds before the others and not too many at
    a time: what they show lowers the goal and spares the rest. Then the unlit, a few at a time:
    one that stays unlit ends the matter.
    """
    below = (state.bound[: state.settle] < goal[:, None]).any(axis=0)
    unseen = np.flatnonzero(below & (state.row < 0))
    if len(unseen):
        order = np.argsort(state.bound[: state.settle][:, unseen].min(axis=0), kind="stable")
        return np.sort(unseen[order[:NEW_PER_LOOK]])
    full = np.zeros(len(state.row), bool)
    known = state.row >= 0
    full[known] = run.paths[state.row[known]] >= MOST_PATHS
    undecided = np.flatnonzero(below & ~full & (state.looks < MOST_LOOKS))
    unlit = undecided[(state.mean[: state.settle][:, undecided] <= 0.0).any(axis=0)]
    if len(unlit):
        most = np.argsort(-run.paths[state.row[unlit]], kind="stable")
        return np.sort(unlit[most[:UNLIT_PER_LOOK]])
    return undecided


def _add_targets(run: AdjointRun, units: Judged, state: Refinement, chosen: np.ndarray) -> None:
    new = chosen[state.row[chosen] < 0]
    state.row[new] = len(run.paths) + np.arange(len(new))
    run.add_targets([units.target(unit) for unit in new.tolist()])


def _paths_needed(
    run: AdjointRun,
    state: Refinement,
    chosen: np.ndarray,
    goal: np.ndarray,
    quantile: float,
) -> np.ndarray:
    """Further paths per batch that should lift each bound to the goal, within limits."""
    done = run.paths[state.row[chosen]]
    mean, error = state.mean[: state.settle][:, chosen], state.error[: state.settle][:, chosen]
    margin = np.maximum(mean - goal[:, None], 1e-9 * mean)
    with np.errstate(divide="ignore", invalid="ignore"):
        short = quantile * error / margin
    factor = 1.3 * np.nan_to_num(short, nan=LARGEST_GROWTH, posinf=1e9).max(axis=0) ** 2
    growth = np.clip(np.nan_to_num(factor - 1.0, posinf=1e9), 1.0, LARGEST_GROWTH)
    further = np.minimum(np.ceil(done * growth), MOST_PATHS - done)
    return np.where(done == 0, FIRST_PATHS, further).astype(np.int64)


def _pieces(paths: np.ndarray) -> list[np.ndarray]:
    """Rows in pieces short enough for a progress bar and for Ctrl-C to be heard."""
    step = np.cumsum(paths * ADJOINT_BATCHES) // PATHS_PER_STEP
    return np.split(np.arange(len(paths)), np.flatnonzero(np.diff(step)) + 1)


def _look(
    run: AdjointRun,
    state: Refinement,
    chosen: np.ndarray,
    paths: np.ndarray,
    factors: np.ndarray,
    quantile: float,
) -> None:
    """Trace further paths from the chosen units and bring their numbers up to date."""
    with hold_interrupts():
        run.add_paths(state.row[chosen], paths)
        _update(run, state, chosen, factors, quantile)
        state.looks[chosen] += 1


def _update(
    run: AdjointRun,
    state: Refinement,
    chosen: np.ndarray,
    factors: np.ndarray,
    quantile: float,
) -> None:
    """Means, errors and bounds of the chosen units from all their paths."""
    batches = run.batch_irradiance(state.row[chosen])
    mean, error = batch_mean(batches)  # targets, lamps, cases
    state.by_lamp[:, :, chosen] = mean.transpose(2, 1, 0)
    state.by_lamp_error[:, :, chosen] = error.transpose(2, 1, 0)
    total, total_error = batch_mean(np.einsum("tblc,cl->tbc", batches, factors))
    state.mean[:, chosen], state.error[:, chosen] = total.T, total_error.T
    bound = (total - quantile * total_error).T
    bound[:, state.looks[chosen] >= MOST_LOOKS] = 0.0  # their error probability is spent
    state.bound[:, chosen] = np.maximum(state.bound[:, chosen], bound)
    state.paths, state.rays = int(run.paths.sum()) * ADJOINT_BATCHES, run.rays


def _distance(state: Refinement, precision: float) -> tuple[float, float]:
    """How near the bound is to the precision asked for, as (done, whole) of a progress bar.

    Effort grows with the inverse square of the distance of the bound from the worst irradiance.
    """
    if not state.looked.any():
        return 0.0, 1.0
    gap = float((1.0 - state.bound[: state.settle].min(axis=1) / _least_light(state)).max())
    return min((precision / max(gap, precision)) ** 2, 1.0), 1.0
