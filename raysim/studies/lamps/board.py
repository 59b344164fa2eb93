"""The rows that decide: dark spots of the load, added as choices show them, with all candidates.

A first look at all cells gives a rough matrix. A choice is then asked for its dark spots, with its
tubes in the way: the cells that are darkest by the rough one, a fresh look at these, and one more
at the faces of the darkest and at the rows that are dark already. The faces that come out are new
rows, known to a few per cent for all candidates at once. Each look has random numbers of its own.
"""

import numpy as np

from raysim.base.progress import Progress, nobody_watching
from raysim.estimate.cells import Cells
from raysim.estimate.face_sides import Sites
from raysim.studies.lamps.choice import Choice, Field
from raysim.studies.lamps.proof import Known
from raysim.studies.lamps.sources import Sources

# Efforts are our own choice, as in `search`.
PIECE, WORKER_PIECE = 512, 32  # starts traced at a time: batches of all candidates take memory
ROUGH_SHARE = 0.125  # points of lamps looked at in the first look, per candidate
DARK_CELLS, LOOKED_ROWS, LOOKED_FACES, NEW_ROWS = 96, 96, 48, 8  # of a choice, step by step
LOOKED_CELLS, WIDELY = 10, 60  # whose faces are looked at; before a choice is traced
CELL_PATHS, FACE_PATHS, AGAIN_PATHS, LAST_PATHS = 3, 2, 8, 48  # per batch, of these steps
ROW_PATHS, ROW_POINTS = 48, 2.0  # per batch of a row, and points per candidate
MARGIN = 1.0  # standard errors taken off every entry: the programme would choose noise
FRESH = 0.8  # share of the rows that were known when a choice was judged, for that to count
LOOK_SEED, ROW_SEED = 1_000_003, 2_000_003

Dark = tuple[np.ndarray, np.ndarray]  # sites, and their light, W/m2


class Board:
    """Light of every candidate on the spots that decide.

    Attributes
    ----------
    rows : (rows,) int64
        Judged face-sides that are rows.
    mean, error : (rows, candidates) float64, W/m2
    judged : dict of Choice to (float, int)
        Light of the darkest spot of choices, tubes in the way, W/m2; rows that were known then.
    """

    def __init__(self, sources: Sources, sites: Sites, cells: Cells, apart: np.ndarray) -> None:
        self.sources, self.sites, self.cells, self.apart = sources, sites, cells, apart
        self.rows = np.zeros(0, np.int64)
        self.mean = self.error = np.zeros((0, len(apart)))
        self.rough = np.zeros((0, len(apart)))
        self.looks = 0
        self.judged: dict[Choice, tuple[float, int]] = {}

    def look_at_all(self, progress: Progress) -> None:
        """The rough matrix of all cells."""
        everyone = np.arange(len(self.cells.faces))
        points = max(int(ROUGH_SHARE * len(self.apart)), 2)
        seed = self.sources.options.seed + LOOK_SEED
        self.rough = self._means(self.cells, everyone, 1, points, seed=seed, progress=progress)[0]

    @property
    def field(self) -> Field:
        """The matrix less its margins; the rough one before there are rows."""
        if not len(self.rows):
            return Field(self.rough, self.apart)
        return Field(np.maximum(self.mean - MARGIN * self.error, 0.0), self.apart)

    @property
    def known(self) -> Known:
        """The matrix as it is (definition)."""
        return Known(self.rows, self.mean, self.apart)

    def estimate(self, choice: Choice) -> float:
        """Light of the darkest spot of a judged choice, W/m2: of no row more than as sources."""
        light = self.judged.get(choice, (0.0, 0))[0]
        return min(light, float(self.mean[:, list(choice)].sum(axis=1).min()))

    def is_judged(self, choice: Choice) -> bool:
        """Whether a choice was held against most of the rows (definition)."""
        return self.judged.get(choice, (0.0, 0))[1] >= FRESH * len(self.rows) > 0.0

    def judge(self, choice: Choice, cells: int = LOOKED_CELLS) -> float:
        """Look for the darkest spots of a choice, tubes in the way; they become rows.

        Returns its light there, W/m2; `cells` are those whose faces are looked at.
        """
        faces, light = self._dark_of(choice, cells)
        self.add_rows(faces)
        known = self.judged.get(choice, (np.inf, 0))[0] if cells > LOOKED_CELLS else np.inf
        self.judged[choice] = min(float(light[0]), known), len(self.rows)
        return self.estimate(choice)

    def _dark_of(self, choice: Choice, most: int) -> Dark:
        """Face-sides that are dark under a choice, the darkest first, and their light, W/m2.

        By fresh numbers: those that chose the cells and those that judge differ.
        """
        self.looks += 1
        seed = self.sources.options.seed + LOOK_SEED * (1 + self.looks)

        def darkest(of: Sites, chosen: np.ndarray, paths: int, step: int) -> Dark:
            found = self.sources.whole(of.targets(chosen), paths, seed + step, choice)
            order = np.argsort(found, kind="stable")
            return chosen[order], found[order]

        def darkest_by(matrix: np.ndarray, most: int) -> np.ndarray:
            return np.argsort(matrix[:, list(choice)].sum(axis=1), kind="stable")[:most]

        cells, _ = darkest(self.cells, darkest_by(self.rough, DARK_CELLS), CELL_PATHS, 0)
        members = [self.cells.members(int(cell)) for cell in cells[:most]]
        members.append(self.rows[darkest_by(self.mean, LOOKED_ROWS)])
        faces, _ = darkest(self.sites, np.unique(np.concatenate(members)), FACE_PATHS, 1)
        faces, _ = darkest(self.sites, faces[:LOOKED_FACES], AGAIN_PATHS, 2)
        return darkest(self.sites, faces[:NEW_ROWS], LAST_PATHS, 3)

    def add_rows(self, sites: np.ndarray) -> None:
        """Rows for those judged face-sides that are none yet."""
        new = np.setdiff1d(sites, self.rows)
        if not len(new):
            return
        points = int(ROW_POINTS * len(self.apart)) + 1
        seed = self.sources.options.seed + ROW_SEED
        found = self._means(self.sites, new, ROW_PATHS, points, seed=seed, progress=nobody_watching)
        self.rows = np.concatenate([self.rows, new])
        self.mean = np.concatenate([self.mean, found[0]])
        self.error = np.concatenate([self.error, found[1]])

    def twins(self, sites: np.ndarray) -> np.ndarray:
        """The same faces of other objects of the same mesh, those themselves among them.

        A single dark face in a bright cell shows in no rough look; what hides it is its own object.
        """
        bodies = self.sites.bodies
        count = np.bincount(bodies)
        rank = np.zeros(len(bodies), np.int64)
        for body in np.unique(bodies):
            rank[bodies == body] = np.arange(count[body])
        found = [(count[bodies] == count[bodies[one]]) & (rank == rank[one]) for one in sites]
        return np.flatnonzero(np.any(found, axis=0))

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
        size = PIECE if self.sources.options.executor is None else WORKER_PIECE
        pieces = [chosen[first : first + size] for first in range(0, len(chosen), size)]
        calls = [(of.targets(piece), paths, points, seed) for piece in pieces]
        found = []
        for number, light in enumerate(self.sources.each(Sources.looked, calls), 1):
            found.append(light)
            progress("light of every place", number, len(pieces))
        means, errors = zip(*found, strict=True)
        return np.concatenate(means), np.concatenate(errors)
