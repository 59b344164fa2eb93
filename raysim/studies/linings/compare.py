"""Which linings can be told apart: by what the worst face gets at least and at most.

Under the better-looking one it gets no less than the bound of its row, under the other no more than
what one dark face-side of that gets, chosen before and traced afresh. Where the two ranges overlap,
paired differences may still tell, at the face-sides whose bound lies in the overlap: min E_A less
min E_B is at least E_A(f) - E_B(f), where f is the worst of A. So if E_A - E_B has a lower bound
above zero at every face-side that could be the worst of A, then A is better. Differences are taken
batch by batch from fresh paths with the same random numbers, whose noise largely cancels.

Source: common random numbers, e.g. Law and Kelton, "Simulation Modeling and Analysis", ch. 11.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from raysim.base.figures import Figures
from raysim.estimate.bounds import CONFIDENCE, batch_mean, t_quantile
from raysim.studies.linings.bench import LiningBench
from raysim.studies.linings.columns import Variant, column_scene
from raysim.studies.tracer import WorstOfCases
from raysim.transport.paths import PATH_BATCHES

MOST_CONTENDERS = 32  # face-sides per lining
PAIRED_PATHS = 250_000  # of one comparison, about
COULD_BE_WORST = 3.0  # standard errors
LEVEL_ERROR = 0.001  # that the worst face gets more than it is said to get at most

Looked = tuple[Variant, WorstOfCases, int]  # the last is the column of the cautious case


@dataclass(frozen=True)
class LiningPair(Figures):
    """Two linings in the cautious case, `first` the one that looks better; W/m2.

    Attributes
    ----------
    least : float
        What the worst face gets at least under `first`.
    most : float
        What it gets at most under `second`.
    same_paths : float
        What `first` gives more, at least, to every face-side that could be its worst and whose
        bound lies below `most`; -inf where these were too many to be traced.
    """

    first: str
    second: str
    least: float
    most: float
    same_paths: float = -math.inf

    @property
    def told_apart(self) -> bool:
        """Whether `first` is better, with the stated confidence (definition)."""
        return self.least > self.most or self.same_paths > 0.0


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


def most_light(looked: Sequence[Looked], bench: LiningBench, seed: int) -> list[float]:
    """What the worst face gets at most under each lining in the cautious case, W/m2."""
    dark = np.array([found.worst_site(column) for _, found, column in looked])
    most = [math.inf] * len(looked)
    runs = _by_run(looked)
    own = [np.unique(dark[members]) for members in runs]
    all_batches = _batches(looked, runs, own, bench, seed)
    for members, sites, batches in zip(runs, own, all_batches, strict=True):
        for row, member in enumerate(members):
            mean, error = batch_mean(batches[row, sites == dark[member]])
            most[member] = float((mean + t_quantile(LEVEL_ERROR, PATH_BATCHES) * error)[0])
    return most


def compared(
    looked: Sequence[Looked], most: Sequence[float], bench: LiningBench, seed: int
) -> tuple[LiningPair, ...]:
    """Each lining against every later one, in the order given, the better-looking first.

    `most` is what the worst face gets at most under each (`most_light`), W/m2.
    """
    count = len(looked)
    pairs = [(k, other) for k in range(count) for other in range(k + 1, count)]
    doubtful = {pair: _doubtful(looked[pair[0]], most[pair[1]]) for pair in pairs}
    everyone = np.unique(np.concatenate([*doubtful.values(), np.zeros(0, np.int64)]))
    batches = np.zeros((count, len(everyone), PATH_BATCHES))
    runs = _by_run(looked) if len(everyone) else []
    all_batches = _batches(looked, runs, [everyone] * len(runs), bench, seed)
    for members, of_run in zip(runs, all_batches, strict=True):
        batches[members] = of_run

    def compare(one: int, other: int) -> LiningPair:
        (variant, found, column), (darker, _, _) = looked[one], looked[other]
        rows, more = np.searchsorted(everyone, doubtful[one, other]), -math.inf
        if len(rows):
            more = _least_difference(batches[one, rows] - batches[other, rows])
        return LiningPair(variant.name, darker.name, found.bound(column), most[other], more)

    return tuple(compare(*pair) for pair in pairs)


def _doubtful(looked: Looked, most: float) -> np.ndarray:
    """Sites at which only a difference can tell whether they get more than `most` (W/m2).

    None where they are too many to be traced, or the lining was not followed to the end.
    """
    _, found, column = looked
    could = contenders(found, column)
    doubtful = could[found.state.bound[column, could] < most]
    followed = not found.dark[column].any() and len(doubtful) <= MOST_CONTENDERS
    return doubtful if followed else doubtful[:0]


def _least_difference(batches: np.ndarray) -> float:
    """Smallest lower bound of the means of some paired differences (sites, batches), W/m2."""
    mean, error = batch_mean(batches)
    return float((mean - t_quantile(1.0 - CONFIDENCE, PATH_BATCHES) * error).min())


def _by_run(looked: Sequence[Looked]) -> list[list[int]]:
    """Places of the linings that were traced together."""
    runs: dict[int, list[int]] = {}
    for place, (_, found, _) in enumerate(looked):
        runs.setdefault(id(found), []).append(place)
    return list(runs.values())


def _batches(
    looked: Sequence[Looked],
    runs: Sequence[list[int]],
    sites: Sequence[np.ndarray],
    bench: LiningBench,
    seed: int,
) -> Iterator[np.ndarray]:
    """Cautious irradiance by batch of the linings of each run, W/m2, (members, sites, batches).

    From fresh paths, alike for all runs of a seed; `sites` are those of each run.
    """
    calls = [
        ([looked[k][0] for k in members], own, seed)
        for members, own in zip(runs, sites, strict=True)
    ]
    return bench.each(_group_batches, calls)


def _group_batches(
    bench: LiningBench, group: Sequence[Variant], sites: np.ndarray, seed: int
) -> np.ndarray:
    """Those of one run."""
    return bench.batches(
        column_scene(bench.triangles, group, bench.bare),
        bench.triangles,
        bench.sites.targets(sites),
        paths_each(len(sites)),
        seed,
        columns=2 * len(group),
    )
