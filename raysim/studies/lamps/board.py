"""The rows that decide: dark spots of the load, added as choices show them, with all candidates.

A first look at all cells gives a rough matrix. A choice is then asked for its dark spots: the cells
that are darkest by the rough one, a fresh look at these with the lamps of the choice alone, and one
more at the faces of the darkest. The faces that come out are new rows, known to a few per cent for
all candidates at once. Each look has random numbers of its own.
"""

from collections.abc import Callable, Sequence

import numpy as np

from raysim.base.progress import Progress, nobody_watching
from raysim.estimate.bounds import batch_mean, mean_upper_bound
from raysim.estimate.cells import Cells
from raysim.estimate.face_sides import Sites
from raysim.studies.lamps.choice import Choice, Field
from raysim.studies.lamps.sources import Sources, read_low
from raysim.transport.paths import PATH_BATCHES
from raysim.transport.starts import Start

PIECE = 512  # starts traced at a time: batches of all candidates take memory
ROUGH_SHARE = 0.125  # points of lamps looked at in the first look, per candidate
DARK_CELLS, LOOKED_CELLS, NEW_ROWS = 160, 16, 6  # of a choice, from step to step
CELL_PATHS, FACE_PATHS, LAST_PATHS = 4, 6, 128  # per batch, of these steps
ROW_PATHS, ROW_POINTS = 48, 1.0  # per batch of a row, and points per candidate
PROOF_PATHS, PROOF_POINTS = 640, 6.0  # the same for the rows of the proof
MARGIN = 1.0  # standard errors taken off every entry: the programme would choose noise
LOOK_SEED, ROW_SEED, PROOF_SEED = 1_000_003, 2_000_003, 3_000_017


Dark = tuple[np.ndarray, np.ndarray]  # sites, and their light, W/m2
Light = Callable[[list[Start], int, int, Choice], np.ndarray]


class Board:
    """Light of every candidate on the spots that decide.

    Attributes
    ----------
    rows : (rows,) int64
        Judged face-sides that are rows.
    mean, error : (rows, candidates) float64, W/m2
    asked : set of Choice
        Choices that were asked for their dark spots.
    judged : dict of Choice to float
        Light of the darkest spot of choices, tubes in the way, W/m2.
    """

    def __init__(self, sources: Sources, sites: Sites, cells: Cells, apart: np.ndarray) -> None:
        self.sources, self.sites, self.cells, self.apart = sources, sites, cells, apart
        self.rows = np.zeros(0, np.int64)
        self.mean = self.error = np.zeros((0, len(apart)))
        self.rough = np.zeros((0, len(apart)))
        self.looks = 0
        self.asked: set[Choice] = set()
        self.judged: dict[Choice, float] = {}

    def look_at_all(self, progress: Progress) -> None:
        """The rough matrix of all cells."""
        everyone = np.arange(len(self.cells.faces))
        points = max(int(ROUGH_SHARE * len(self.apart)), 2)
        seed = self.sources.options.seed + LOOK_SEED
        self.rough = self._means(self.cells, everyone, 1, points, seed=seed, progress=progress)[0]

    @property
    def field(self) -> Field:
        """The matrix less its margins (definition)."""
        return Field(np.maximum(self.mean - MARGIN * self.error, 0.0), self.apart)

    def dark_of(self, choice: Choice, light: Light) -> tuple[np.ndarray, float]:
        """Face-sides that are dark under a choice, the darkest first, and the light of that one.

        By fresh numbers, W/m2: those that chose the cells and those that judge differ. `light` is
        that of `sources` alone, or with tubes in the way.
        """
        self.looks += 1
        seed = self.sources.options.seed + LOOK_SEED * (1 + self.looks)

        def darkest(of: Sites, chosen: np.ndarray, paths: int, step: int) -> Dark:
            found = light(of.targets(chosen), paths, seed + step, choice)
            order = np.argsort(found, kind="stable")
            return chosen[order], found[order]

        cells = np.argsort(self.rough[:, list(choice)].sum(axis=1), kind="stable")[:DARK_CELLS]
        cells = darkest(self.cells, cells, CELL_PATHS, 0)[0][:LOOKED_CELLS]
        faces = np.concatenate([self.cells.members(int(cell)) for cell in cells])
        faces = darkest(self.sites, faces, FACE_PATHS, 1)[0][:NEW_ROWS]
        faces, values = darkest(self.sites, faces, LAST_PATHS, 2)
        return faces, float(values[0])

    def add_dark(self, choices: Sequence[Choice], progress: Progress) -> bool:
        """Rows for the dark faces of choices, as sources; returns whether there are new ones."""
        fresh = [one for one in dict.fromkeys(choices) if one not in self.asked]
        self.asked |= set(fresh)
        dark = [self.dark_of(one, self.sources.alone)[0] for one in fresh]
        return self.add_rows(np.unique(np.concatenate([*dark, self.rows[:0]])), progress)

    def judge(self, choice: Choice) -> float:
        """Light of the darkest spot of a choice, tubes in the way, W/m2; a dark face is a row."""
        if choice not in self.judged:
            self.asked.add(choice)
            dark, self.judged[choice] = self.dark_of(choice, self.sources.whole)
            self.add_rows(dark[:2], nobody_watching)
        return self.judged[choice]

    def add_rows(self, sites: np.ndarray, progress: Progress) -> bool:
        """Rows for some judged face-sides; returns whether any is new."""
        new = np.setdiff1d(sites, self.rows)
        if not len(new):
            return False
        points = int(ROW_POINTS * len(self.apart)) + 1
        seed = self.sources.options.seed + ROW_SEED
        mean, error = self._means(self.sites, new, ROW_PATHS, points, seed=seed, progress=progress)
        self.rows = np.concatenate([self.rows, new])
        self.mean = np.concatenate([self.mean, mean])
        self.error = np.concatenate([self.error, error])
        return True

    def nearest_rows(self, most: int) -> np.ndarray:
        """At most so many rows: those that come nearest to being the worst of a choice."""
        above = np.full(len(self.rows), np.inf)
        for choice in sorted(self.asked):
            light = self.mean[:, list(choice)].sum(axis=1)
            np.minimum(above, light / max(light.min(), 1e-300), out=above)
        return np.sort(np.argsort(above, kind="stable")[:most])

    def renew(self, keep: np.ndarray, risk: float, progress: Progress) -> Field:
        """Some rows known anew and better, by fresh numbers; upper bounds of all their entries.

        All bounds hold at once but for a probability of `risk` (union bound, Bonferroni): the rows
        were chosen by other numbers. No light in n paths: at most M times the share p of paths that
        bring some, where M is the exitance of the lamp, and (1 - p)^n > risk (binomial law).
        """
        rows = self.rows[keep]
        points = int(PROOF_POINTS * len(self.apart)) + 1
        seed = self.sources.options.seed + PROOF_SEED
        each = risk / (len(rows) * len(self.apart))
        least = -np.log(each) / (PROOF_PATHS * PATH_BATCHES) * self.sources.exitances
        found = []
        for first in range(0, len(rows), PIECE // 32):
            piece = rows[first : first + PIECE // 32]
            starts = self.sites.targets(piece)
            direct, rest = self.sources.batches(starts, PROOF_PATHS, points, seed)
            high = mean_upper_bound(*batch_mean(read_low(direct, rest)), PATH_BATCHES, each)
            high = np.where(np.isfinite(high), high, least)
            found.append((*batch_mean(direct + rest), high))
            progress("the rows that decide, anew", first + len(piece), len(rows))
        self.mean[keep], self.error[keep], upper = (
            np.concatenate(one) for one in zip(*found, strict=True)
        )
        return Field(upper, self.apart)

    def _means(
        self,
        of: Sites,
        chosen: np.ndarray,
        paths: int,
        points: int,
        *,
        seed: int,
        progress: Progress,
    ) -> tuple[np.ndarray, np.ndarray]:
        """Means and errors of some sites for all candidates, W/m2, (chosen, candidates) each."""
        means, errors = [], []
        for first in range(0, len(chosen), PIECE):
            piece = chosen[first : first + PIECE]
            direct, rest = self.sources.batches(of.targets(piece), paths, points, seed)
            mean, error = batch_mean(direct + rest)
            means.append(mean)
            errors.append(error)
            progress("light of every place", first + len(piece), len(chosen))
        return np.concatenate(means), np.concatenate(errors)
