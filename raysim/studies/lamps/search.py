"""The way through a study of lamps; it may be broken off, and what is known by then is told.

Places are searched on the rows known so far, the choices are asked for their dark spots, and these
become rows, until nothing new turns up. Rows that decide are then known anew, by fresh numbers and
many paths: on these the programme looks for the best choice of each number and proves how much
better any could be. What it and exchanges of one place find is judged by fresh numbers once more,
and the best are traced in full with their tubes in the way.
"""

from collections.abc import Sequence

import numpy as np

from raysim.base.errors import RaysimError
from raysim.base.progress import nobody_watching
from raysim.estimate.bounds import CONFIDENCE
from raysim.estimate.cells import in_cells
from raysim.estimate.face_sides import judged_sites
from raysim.scene.build import BuiltScene
from raysim.studies.lamps.board import Board
from raysim.studies.lamps.choice import Choice, Field
from raysim.studies.lamps.places import Place
from raysim.studies.lamps.programme import Solver
from raysim.studies.lamps.sources import Sources
from raysim.studies.lamps.trace import LampTracer, TracedLamps
from raysim.transport.options import RunOptions

ROUNDS = 5  # of choices asked for their dark spots
MOST_ROWS = 72  # that the programme gets
NODES = 800  # of the solver's tree, for each step of the proof
SWAPS = 4  # choices judged by fresh numbers in each round
BETTER = 0.02  # share by which the programme has to find a better choice
SHOWN = 3  # choices traced in full, of the number that the answer tells of
ERROR = 1.0 - CONFIDENCE
PROOF_SHARE = 0.6  # of the error probability; the rest is for the bounds of what is traced
TRACE_SEED = 5_000_011
STEP = 1_000


class Search:
    """Choices of some numbers of lamps among places in a box.

    Attributes
    ----------
    most : dict of int to float
        Upper bound on all choices of a number of lamps, W/m2, lamps as sources alone.
    finalists : dict of int to list of Choice
        By number of lamps, the likeliest first.
    traced : dict of int to list of (Choice, TracedLamps)
        The best first.
    """

    def __init__(
        self,
        scene: BuiltScene,
        places: Sequence[Place],
        apart: np.ndarray,
        numbers: Sequence[int],
        options: RunOptions,
    ) -> None:
        self.scene, self.places, self.numbers = scene, places, numbers
        self.options, self.progress = options, options.progress
        sites = judged_sites(scene.triangles)
        cells = in_cells(scene.triangles, sites)
        self.sources = Sources(scene, places, options)
        self.board = Board(self.sources, sites, cells, apart)
        share = (1.0 - PROOF_SHARE) / SHOWN
        self.tracer = LampTracer(scene, sites, cells, options, share)
        self.most: dict[int, float] = {}
        self.finalists: dict[int, list[Choice]] = {}
        self.traced: dict[int, list[tuple[Choice, TracedLamps]]] = {}
        self.now: TracedLamps | None = None

    def run(self, precision: float, first: int) -> None:
        """All of it; `first` is the number of lamps that is traced first, and most."""
        self.sources.count_photons(self.progress)
        self.board.look_at_all(self.progress)
        self._find_rows()
        order = sorted(self.numbers, key=lambda number: (number != first, number))
        first = order[0]
        keep = self.board.nearest_rows(MOST_ROWS)
        upper = self.board.renew(keep, PROOF_SHARE * ERROR, self.progress)
        with Solver() as solver:
            for done, number in enumerate(order):
                self.progress("the best choice, and its proof", done, len(order))
                self._choose(solver, upper, number)
        traces = [(number, SHOWN if number == first else 1) for number in order]
        whole, done = sum(shown for _, shown in traces) + 1, 0
        for number, shown in traces:
            for choice in self.finalists[number][:shown]:
                self.progress("tracing the best, tubes in the way", done, whole)
                self._trace(number, choice, precision)
                done += 1
            if number == first:
                seed = self.options.seed + TRACE_SEED
                self.now = self.tracer.traced(self.scene.written.lamp, precision, seed)
                done += 1

    def _find_rows(self) -> None:
        """Rows from the dark spots of choices, until there are no new ones."""
        field = Field(self.board.rough, self.board.apart)
        possible = [number for number in self.numbers if field.searched(number, 0)]
        if not possible:
            raise RaysimError(
                f"no {self.numbers[0]} of the {len(self.places)} places go together. Mend: fewer "
                "lamps, or more places (--spacing, --most)"
            )
        self.numbers = possible
        for turn in range(ROUNDS):
            choices: list[Choice] = []
            for number in self.numbers:
                choices += field.searched(number, self.options.seed + turn, choices[-1:])[:1]
            self.progress("dark spots of the best choices", turn, ROUNDS)
            if not self.board.add_dark(choices, nobody_watching):
                return
            field = self.board.field

    def _choose(self, solver: Solver, upper: Field, number: int) -> None:
        """The finalists of one number of lamps, and the bound on all choices of as many.

        What looks best is judged with its tubes in the way; what that shows to be dark becomes
        rows, until a choice holds what it promised.
        """
        board = self.board
        best: Choice | None = None
        for turn in range(ROUNDS):
            field = board.field
            known = field.searched(number, self.options.seed + turn, [best] if best else ())
            if turn == 0:
                rows = board.nearest_rows(MOST_ROWS)
                some = Field(field.light[rows], field.apart)
                found = solver.solve(some, known[0], nodes=NODES // 2, steps=(BETTER,)).choice
                known += field.searched(number, 0, [found])
            pool = dict.fromkeys(known)
            pool |= dict.fromkeys(field.neighbours(known[0], SWAPS))
            chosen = sorted(pool, key=lambda one: (-field.worst(one), one))
            best = chosen[0]
            if turn and best in board.judged:
                break
            for one in chosen[:SWAPS]:
                board.judge(one)
        judged = {one: light for one, light in board.judged.items() if len(one) == number}
        self.finalists[number] = sorted(judged, key=lambda one: (-judged[one], one))
        self.most[number] = solver.solve(upper, self.finalists[number][0], nodes=NODES).bound

    def _trace(self, number: int, choice: Choice, precision: float) -> None:
        seed = self.options.seed + TRACE_SEED + STEP * number
        lamps = [self.places[k].lamp(f"lamp {i}") for i, k in enumerate(choice, 1)]
        found = self.traced.setdefault(number, [])
        found.append((choice, self.tracer.traced(lamps, precision, seed)))
        found.sort(key=lambda pair: -pair[1].worst.lower_bound)

    def swaps(self, choice: Choice) -> np.ndarray:
        """Worst row with each place in a choice, the member that helps least left out, as a share.

        Of the choice itself; 0 where a place cannot be taken. (places,)
        """
        field = self.board.field
        share = np.zeros(len(self.places))
        for place in range(len(self.places)):
            rests = (
                [[*choice]]
                if place in choice
                else [[k for k in choice if k != out] + [place] for out in choice]
            )
            fits = [rest for rest in rests if self._fits(rest)]
            share[place] = max((field.worst(rest) for rest in fits), default=0.0)
        return share / max(field.worst(choice), 1e-300)

    def _fits(self, members: Sequence[int]) -> bool:
        pairs = self.board.apart[np.ix_(members, members)]
        return bool(pairs[~np.eye(len(members), dtype=bool)].all())
