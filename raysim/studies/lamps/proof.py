"""The proof: what no choice of places exceeds, from upper bounds of every entry of some rows.

The choice that looks best by the bounds so far is held against all that the search knows. The row
that it lights least becomes a row of the proof, or is looked at closer if it is one: so the effort
goes to the rows that decide. Numbers are fresh, so that they chose nothing, and the bounds of all
looks at MOST_ROWS rows hold at once but for a given probability (union bound, Bonferroni),
whichever rows those come to be.
"""

from dataclasses import dataclass

import numpy as np

from raysim.estimate.bounds import batch_mean, mean_upper_bound
from raysim.estimate.face_sides import Sites
from raysim.studies.lamps.choice import Choice, Field
from raysim.studies.lamps.programme import better
from raysim.studies.lamps.sources import Sources, read_low
from raysim.transport.paths import PATH_BATCHES

MOST_ROWS = 96  # that share the error probability; own choice, as all here
# Paths per batch of a row, points per candidate, and the price of it, for each look at a row.
LOOKS = ((320, 12.0, 1), (1280, 48.0, 4), (3840, 144.0, 12))
BRANCHES = 20_000  # that are looked at for the choice that looks best
SEED = 3_000_017


@dataclass(frozen=True)
class Known:
    """What a search knows: `mean` (rows, places), W/m2, on `rows` of the judged face-sides."""

    rows: np.ndarray
    mean: np.ndarray
    apart: np.ndarray


class Proof:
    """Upper bounds of the light of every place on some rows.

    Attributes
    ----------
    looks : (rows,) int64
        How often each row of what is known was looked at.
    mean : (rows, places) float64, W/m2
        Of what is known, by the last look at rows of the proof.
    upper : (rows, places) float64, W/m2
        All that are finite hold at once, but for a probability of `risk`.
    spent : int
        What all looks have cost.
    """

    def __init__(self, sources: Sources, sites: Sites, known: Known, risk: float) -> None:
        self.sources, self.sites, self.known = sources, sites, known
        rows, places = known.mean.shape
        self.each = risk / (MOST_ROWS * places * len(LOOKS))
        self.looks = np.zeros(rows, np.int64)
        self.mean = known.mean.copy()
        self.upper = np.full((rows, places), np.inf)
        self.spent = 0

    @property
    def field(self) -> Field:
        """Upper bounds of the rows of the proof (definition)."""
        return Field(self.upper[self.looks > 0], self.known.apart)

    def look_closer(self, choice: Choice, effort: int) -> None:
        """Look at the rows that decide of choices of as many places as this one.

        `effort` is what all looks may have cost by then.
        """
        best = choice
        while True:
            row = int(self.mean[:, list(best)].sum(axis=1).argmin())
            look = int(self.looks[row])
            if look == len(LOOKS) or self.spent + LOOKS[look][2] > effort:
                break
            if not look and (self.looks > 0).sum() >= MOST_ROWS:
                break
            self._look(row)
            best = self.field.searched(len(choice), 0, [choice])[0]
            best = better(self.field, best, branches=BRANCHES)

    def alone(self, choice: Choice) -> float:
        """Light of the darkest row of the proof under a choice, W/m2: an estimate."""
        return Field(self.mean[self.looks > 0], self.known.apart).worst(choice)

    def _look(self, row: int) -> None:
        """Look at a row once more, with more paths.

        No light in n paths: at most M times the share p of paths that bring some, where M is the
        exitance of the lamp, and (1 - p)^n > risk (binomial law).
        """
        paths, points, price = LOOKS[self.looks[row]]
        starts = self.sites.targets(self.known.rows[[row]])
        seed = self.sources.options.seed + SEED + int(self.looks[row])
        points = int(points * len(self.known.apart)) + 1
        direct, rest = self.sources.batches(starts, paths, points, seed)
        high = mean_upper_bound(*batch_mean(read_low(direct, rest)), PATH_BATCHES, self.each)
        least = -np.log(self.each) / (paths * PATH_BATCHES) * self.sources.exitances
        high = np.where(np.isfinite(high), high, least)
        self.upper[row] = np.minimum(self.upper[row], high[0])
        self.mean[row] = batch_mean(direct + rest)[0][0]
        self.looks[row] += 1
        self.spent += price
