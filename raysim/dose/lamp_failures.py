"""What is left of the light when a lamp fails, from the tallies of each lamp.

Transport is linear in the lamps: irradiance without lamp k is the sum over the others, face-side
by face-side. The worst face-side may then be another one, so the bound is taken anew over all
judged face-sides: from photon counts everywhere, and from backward paths where there are any. The
darkest of each failure get some paths more (`trace_failures`).
"""

import difflib
from dataclasses import dataclass

import numpy as np

from raysim.base.errors import RaysimError
from raysim.dose.dose_run import DoseRun
from raysim.dose.judge import site_spot
from raysim.dose.result import LampFailure
from raysim.estimate.bounds import (
    MOST_ROUNDS,
    READING_ERROR,
    ROUND_ERROR,
    batch_mean,
    count_lower_bound,
    t_quantile,
)
from raysim.estimate.face_sides import upper_end
from raysim.scene.triangles import LampRating
from raysim.transport.paths import ROUND_BATCHES, Paths

CHUNK = 2048  # targets worked on at a time


@dataclass(frozen=True)
class LampTallies:
    """Irradiance by lamp at full rated output of one case, W/m2 and its square.

    Attributes
    ----------
    mean, variance : (lamps, sites) float64
        From photon counts.
    error : float
        Error probability that the bound from photon counts may use.
    looked : (traced,) int64
        Sites with backward paths.
    traced : (traced, lamps) float64, W/m2
        Their irradiance from those paths.
    covariance : (traced, lamps, lamps) float64
        Of `traced`: paths serve all lamps at once, so the lamps' errors are not independent.
    rounds : (traced,) int64
        How often those paths were looked at; the error probability lasts for `MOST_ROUNDS`.
    reads : (traced,) bool
        Whether those paths read the photons' counts, see `READING_ERROR`.
    """

    mean: np.ndarray
    variance: np.ndarray
    error: float
    looked: np.ndarray
    traced: np.ndarray
    covariance: np.ndarray
    rounds: np.ndarray
    reads: np.ndarray


def traced_by_lamp(
    run: Paths | None, rows: np.ndarray, case: int, shape: tuple[int, ...]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Irradiance by lamp at full rated output, W/m2, of some targets, with its errors.

    Returns means and standard errors, (cases, rows, lamps), and in one case the covariance of
    the lamps, (rows, lamps, lamps), all of independent batches (definition). `shape` is
    (cases, lamps); without a run there are no rows.
    """
    cases, lamps = shape
    mean, error = np.zeros((2, cases, len(rows), lamps))
    covariance = np.zeros((len(rows), lamps, lamps))
    if run is None:
        return mean, error, covariance
    for first in range(0, len(rows), CHUNK):
        piece = slice(first, first + CHUNK)
        batches = run.batch_irradiance(rows[piece])
        for whole, part in zip((mean, error), batch_mean(batches), strict=True):
            whole[:, piece] = np.moveaxis(part, 2, 0)
        off = batches[..., case] - mean[case, piece, None]
        squares = np.einsum("tbl,tbm->tlm", off, off)
        covariance[piece] = squares / (run.batches * (run.batches - 1))
    return mean, error, covariance


def lamps_left(lamps: tuple[LampRating, ...], without: tuple[str, ...]) -> np.ndarray:
    """Which lamps burn when those named in `without` are out, (lamps,) bool.

    Raises
    ------
    RaysimError
        For a name that no lamp has, or where no lamp is left.
    """
    names = [lamp.name.casefold() for lamp in lamps]
    left = np.ones(len(lamps), bool)
    for name in without:
        if name.casefold() not in names:
            close = difflib.get_close_matches(name.casefold(), names, n=1, cutoff=0.4)
            known = " or ".join(f'"{lamp.name}"' for lamp in lamps)
            mend = f'did you mean "{lamps[names.index(close[0])].name}"?' if close else known
            raise RaysimError(f'--without "{name}": no lamp has this name. Mend: {mend}')
        left[names.index(name.casefold())] = False
    if not left.any():
        raise RaysimError("--without: no lamp is left to give light. Mend: leave one burning")
    return left


def estimate_of_mix(tallies: LampTallies, weights: np.ndarray) -> tuple[np.ndarray, ...]:
    """Irradiance, standard error and lower bound (W/m2) of each site for a mix of lamps.

    The bound of every site holds by itself at the confidence of the run: the larger of the one
    from photon counts and the one from its backward paths, whose error probabilities add up to
    no more than that of the run. The estimate is the one with the smaller error of the two.

    Parameters
    ----------
    weights : (lamps,) float64
        Output of each lamp as a share of its rating; 0 for one that is out.
    """
    mean = weights @ tallies.mean
    variance = weights**2 @ tallies.variance
    bound = count_lower_bound(mean, variance, tallies.error)
    error = np.sqrt(variance)
    if len(tallies.looked):
        at = tallies.looked
        traced = tallies.traced @ weights
        spread = np.sqrt(np.einsum("tlm,l,m->t", tallies.covariance, weights, weights))
        backward = traced - t_quantile(ROUND_ERROR, ROUND_BATCHES) * spread
        backward *= np.where(tallies.reads, 1.0 - READING_ERROR, 1.0)
        bound[at] = np.maximum(bound[at], np.where(tallies.rounds <= MOST_ROUNDS, backward, 0.0))
        sharper = (spread < error[at]) | ~(error[at] > 0.0)
        mean[at] = np.where(sharper, traced, mean[at])
        error[at] = np.where(sharper, spread, error[at])
    return np.maximum(mean, bound), error, bound  # no estimate below what is vouched for


def lamp_failures(run: DoseRun, tallies: LampTallies, timer: float) -> tuple[LampFailure, ...]:
    """Worst spot and exposure time of the cautious case with each burning lamp out in turn.

    `timer` is the setting with all of them burning, s.
    """
    failures = []
    asked = run.requirement
    reached = asked.warm_up.effective_seconds(timer) if np.isfinite(timer) else None
    for number in np.flatnonzero(run.factors[0] > 0.0):
        weights = run.factors[0].copy()
        weights[number] = 0.0
        mean, error, bound = estimate_of_mix(tallies, weights)
        bound = np.maximum(bound, run.bound_without.get(int(number), 0.0))
        mean, least = np.maximum(mean, bound), float(bound.min())
        worst = int(upper_end(mean, error, np.zeros(len(mean), bool)).argmin())
        values = (mean, error, np.full_like(bound, least))
        failures.append(
            LampFailure(
                lamp=run.scene.triangles.lamps[number].name,
                worst=site_spot(run.scene.triangles, run.sites, worst, values),
                exposure_time=asked.time(least),
                dose_at_timer=None if reached is None else least * reached,
                counted_only=bool(worst not in tallies.looked),
            )
        )
    return tuple(failures)
