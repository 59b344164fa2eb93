"""Which of two variants leaves the worst-lit face better off, told by the same paths.

For variants A and B and any face-side f: min E_A - min E_B >= E_A(f*) - E_B(f*), where f* is the
worst face-side of A, because min E_B is at most E_B(f*). So if E_A - E_B has a lower bound above
zero at every face-side that could be the worst of A, then A is better. The differences are taken
batch by batch from paths with the same random numbers, whose noise largely cancels. The paths are
fresh ones, so that the choice of face-sides cannot lean on their noise.

Source: common random numbers, e.g. Law and Kelton, "Simulation Modeling and Analysis", ch. 11.
"""

from dataclasses import dataclass

import numpy as np

from raysim.base.figures import Figures
from raysim.estimate.bounds import CONFIDENCE, batch_mean, t_quantile
from raysim.studies.tracer import WorstOfCases
from raysim.transport.paths import PATH_BATCHES

PAIRED_PATHS = 500_000  # of one comparison, about
COULD_BE_WORST = 3.0  # standard errors


@dataclass(frozen=True)
class Pair(Figures):
    """Two variants in the cautious case, `first` the one that looks better; W/m2.

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
    """Rows of the sites that could be the worst of a column, darkest first.

    Their bound lies below what the worst gets, with room for its error.
    """
    worst = found.worst_site(column)
    state = found.state
    least = state.mean[column, worst] + COULD_BE_WORST * state.error[column, worst]
    order = np.argsort(state.bound[column], kind="stable")
    return order[: max(int((state.bound[column] < least).sum()), 1)]


def paths_each(sites: int) -> int:
    """Paths per batch of each of so many sites of one comparison."""
    return max(PAIRED_PATHS // (sites * PATH_BATCHES), 8)


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
