"""Which of two linings leaves the worst-lit face better off, told by the same paths.

For linings A and B and any face-side f: min E_A - min E_B >= E_A(f*) - E_B(f*), where f* is the
worst face-side of A, because min E_B is at most E_B(f*). So if E_A - E_B has a lower bound above
zero at every face-side that could be the worst of A, then A is better. The differences are taken
batch by batch from paths with the same random numbers, whose noise largely cancels. The paths are
fresh ones, so that the choice of face-sides cannot lean on their noise.

A face-side whose bound under A lies above what B gives to some dark face-side needs no difference:
that is more than min E_B already. Without this, two linings that are far apart could not be told
apart wherever many face-sides are about as dark as the worst.

Source: common random numbers, e.g. Law and Kelton, "Simulation Modeling and Analysis", ch. 11.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raysim.base.figures import Figures
from raysim.estimate.bounds import CONFIDENCE, batch_mean, t_quantile
from raysim.studies.linings.bench import LiningBench
from raysim.studies.linings.columns import Variant, column_scene
from raysim.studies.worst_of_cases import WorstOfCases
from raysim.transport.options import RunOptions
from raysim.transport.paths import PATH_BATCHES, face_start, traced_irradiance

PAIRED_PATHS = 500_000  # of one group of linings in all, about
MOST_CONTENDERS = 32  # face-sides per lining
COULD_BE_WORST = 3.0  # standard errors
LEVEL_ERROR = 0.001  # that the dark face-side of the second one gets more than it is taken to get

Looked = tuple[Variant, WorstOfCases, int]  # the last is the column of the cautious case


@dataclass(frozen=True)
class Pair(Figures):
    """Two linings in the cautious case, `first` the one that looks better; W/m2.

    Attributes
    ----------
    difference, error : float
        Irradiance under `first` minus that under `second` at the worst face-side of `first`, and
        its standard error from paired batches.
    separate_error : float
        What the error would be if the two runs had nothing in common.
    told_apart : bool
        Whether `first` is better with the stated confidence.
    """

    first: str
    second: str
    difference: float
    error: float
    separate_error: float
    told_apart: bool


def contenders(found: WorstOfCases, column: int) -> np.ndarray:
    """Face-sides, as 2 face + side, that could be the worst of a column, darkest first.

    Their bound lies below what the worst gets, with room for its error.
    """
    worst = found.worst_site(column)
    state = found.state
    least = state.mean[column, worst] + COULD_BE_WORST * state.error[column, worst]
    order = np.argsort(state.bound[column], kind="stable")
    could = order[: max(int((state.bound[column] < least).sum()), 1)]
    return 2 * found.sites.faces[could] + found.sites.sides[could]


def compared(
    looked: Sequence[Looked], bench: LiningBench, seed: int
) -> tuple[tuple[Pair, ...], tuple[Pair, ...]]:
    """Each lining against the next, and the first against every other.

    In the order given, the better-looking first.
    """
    could = [contenders(found, column) for _, found, column in looked]
    shown = [sites[:MOST_CONTENDERS] for sites in could]
    dark = np.array([_code(found, found.worst_site(column)) for _, found, column in looked])
    everyone = np.unique(np.concatenate([*shown, dark]))
    batches = _batches_of(looked, everyone, bench, seed)  # linings, spots, batches

    def pair(one: int, other: int) -> Pair:
        _, found, column = looked[one]
        level = _at_most(batches[other][np.searchsorted(everyone, dark[other])])
        below = int((found.state.bound[column] < level).sum())
        doubtful = min(len(could[one]), below)  # the first so many of `could`, by their bounds
        rows = np.searchsorted(everyone, shown[one])
        names = looked[one][0].name, looked[other][0].name
        return pair_of(names, batches[one][rows], batches[other][rows], doubtful)

    others = range(1, len(looked))
    return tuple(pair(k - 1, k) for k in others), tuple(pair(0, k) for k in others)


def _code(found: WorstOfCases, site: int) -> int:
    return int(2 * found.sites.faces[site] + found.sites.sides[site])


def _at_most(batches: np.ndarray) -> float:
    """Upper bound (W/m2) on the mean of batches (batches,)."""
    mean, error = batch_mean(batches[None])
    return float((mean + t_quantile(LEVEL_ERROR, len(batches)) * error)[0])


def pair_of(names: tuple[str, str], better: np.ndarray, other: np.ndarray, doubtful: int) -> Pair:
    """Pair from batches (sites, batches) at sites that could be the worst of the first.

    Only the first `doubtful` of them need a difference to be told apart; where these are more
    than there are sites, the others were not traced and nothing can be told.
    """
    mean, error = batch_mean(better - other)
    bound = mean - t_quantile(1.0 - CONFIDENCE, better.shape[1]) * error
    first, first_error = batch_mean(better)
    worst = int(first.argmin())
    separate = np.hypot(first_error[worst], batch_mean(other)[1][worst])
    return Pair(
        *names,
        difference=float(mean[worst]),
        error=float(error[worst]),
        separate_error=float(separate),
        told_apart=bool(doubtful <= len(bound) and (bound[:doubtful] > 0.0).all()),
    )


def _batches_of(
    looked: Sequence[Looked], spots: np.ndarray, bench: LiningBench, seed: int
) -> np.ndarray:
    """Cautious irradiance by batch, W/m2, (linings, spots, batches), from fresh like paths."""
    targets = [face_start(*divmod(spot, 2)) for spot in spots.tolist()]
    options = RunOptions(seed, bench.threads)
    paths = max(PAIRED_PATHS // (len(spots) * PATH_BATCHES), 8)
    out = np.zeros((len(looked), len(spots), PATH_BATCHES))
    for found in {id(one): one for _, one, _ in looked}.values():
        members = [k for k, entry in enumerate(looked) if entry[1] is found]
        arrays = column_scene(bench.triangles, [looked[k][0] for k in members], bench.bare)
        batches, rays = traced_irradiance(arrays, bench.triangles, targets, paths, options)
        for place, k in enumerate(members):
            out[k] = batches[..., 2 * place] @ bench.factors[0]
        bench.rays += rays
    return out
