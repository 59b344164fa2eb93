"""Which linings can be told apart, as `pairs` says.

A face-side whose bound under A lies above what B gives to some dark face-side needs no difference:
that is more than min E_B already. Without this, two linings that are far apart could not be told
apart wherever many face-sides are about as dark as the worst.
"""

from collections.abc import Sequence

import numpy as np

from raysim.estimate.bounds import batch_mean, t_quantile
from raysim.studies.linings.bench import LiningBench
from raysim.studies.linings.columns import Variant, column_scene
from raysim.studies.pairs import Pair, contenders, pair_of, paths_each
from raysim.studies.tracer import WorstOfCases
from raysim.transport.paths import PATH_BATCHES

MOST_CONTENDERS = 32  # face-sides per lining
LEVEL_ERROR = 0.001  # that the dark face-side of the second one gets more than it is taken to get

Looked = tuple[Variant, WorstOfCases, int]  # the last is the column of the cautious case


def compared(
    looked: Sequence[Looked], bench: LiningBench, seed: int
) -> tuple[tuple[Pair, ...], tuple[Pair, ...]]:
    """Each lining against the next, and the first against every other.

    In the order given, the better-looking first.
    """
    could = [contenders(found, column) for _, found, column in looked]
    dark = np.array([found.worst_site(column) for _, found, column in looked])
    everyone = np.unique(np.concatenate([*(sites[:MOST_CONTENDERS] for sites in could), dark]))
    batches = _batches_of(looked, everyone, bench, seed)  # linings, sites, batches

    def pair(one: int, other: int) -> Pair:
        _, found, column = looked[one]
        level = _at_most(batches[other][np.searchsorted(everyone, dark[other])])
        below = int((found.state.bound[column] < level).sum())
        doubtful = min(len(could[one]), below)  # the first so many of `could`, by their bounds
        rows = np.searchsorted(everyone, could[one][:MOST_CONTENDERS])
        names = looked[one][0].name, looked[other][0].name
        return pair_of(names, batches[one][rows], batches[other][rows], doubtful)

    others = range(1, len(looked))
    return tuple(pair(k - 1, k) for k in others), tuple(pair(0, k) for k in others)


def _at_most(batches: np.ndarray) -> float:
    """Upper bound (W/m2) on the mean of batches (batches,)."""
    mean, error = batch_mean(batches[None])
    return float((mean + t_quantile(LEVEL_ERROR, len(batches)) * error)[0])


def _batches_of(
    looked: Sequence[Looked], sites: np.ndarray, bench: LiningBench, seed: int
) -> np.ndarray:
    """Cautious irradiance by batch, W/m2, (linings, sites, batches), from fresh like paths."""
    starts = bench.sites.targets(sites)
    out = np.zeros((len(looked), len(sites), PATH_BATCHES))
    for found in {id(one): one for _, one, _ in looked}.values():
        members = [k for k, entry in enumerate(looked) if entry[1] is found]
        arrays = column_scene(bench.triangles, [looked[k][0] for k in members], bench.bare)
        columns = 2 * len(members)
        paths = paths_each(len(sites))
        out[members] = bench.batches(arrays, bench.triangles, starts, paths, seed, columns=columns)
    return out
