"""The way through a study of lamps; it may be broken off, and what is known by then is told.

What looks best on the rows known so far is judged with its tubes in the way; what that shows to be
dark becomes rows, until the best few are all judged. The best is traced in full, and its darkest
faces are rows as well, before the next one is. In the end the rows that decide are known anew, by
fresh numbers and many paths, and prove how much better any choice could be.
"""

from collections.abc import Sequence

import numpy as np

from raysim.base.errors import RaysimError
from raysim.estimate.bounds import CONFIDENCE
from raysim.estimate.cells import in_cells
from raysim.estimate.face_sides import judged_sites
from raysim.scene.build import BuiltScene
from raysim.studies.lamps.board import WIDELY, Board
from raysim.studies.lamps.choice import Choice
from raysim.studies.lamps.places import Place
from raysim.studies.lamps.programme import better, solve
from raysim.studies.lamps.proof import Proof
from raysim.studies.lamps.sources import Sources
from raysim.studies.lamps.trace import LampTracer, TracedLamps
from raysim.transport.options import RunOptions

# Efforts are our own choice, by what they cost and bring (README.md).
ROUNDS = 12  # of choices judged, for each number of lamps
JUDGED, MORE = 3, 4  # the best so many are judged before one is traced; before another one is
NOTABLY = 0.03  # share above what was traced from which another choice is traced as well
SURE = 3  # times that what seems best is looked at more widely
BRANCHES, SELDOM = 50_000, 6  # that are looked at for a better choice, every so many rounds
SHOWN = 3  # choices traced in full, of the number that the answer tells of
TWINS = 3  # dark faces of a choice traced that are looked at in all objects of the same mesh
EFFORT = 90  # of the proof, in rows looked at once
ERROR = 1.0 - CONFIDENCE
PROOF_SHARE = 0.2  # of the error probability; the rest is for the bounds of what is traced
TRACE_SEED = 5_000_011
STEP = 1_000


class Search:
    """Choices of some numbers of lamps among places in a box.

    Attributes
    ----------
    traced : dict of int to list of (Choice, TracedLamps)
        By number of lamps, the best first.
    proof : Proof or None
    most, alone : dict of int to float
        Upper bound on all choices of a number of lamps, and about what the best one gives its
        darkest face, W/m2, lamps as sources alone.
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
        self.alone: dict[int, float] = {}
        self.traced: dict[int, list[tuple[Choice, TracedLamps]]] = {}
        self.now: TracedLamps | None = None
        self.proof: Proof | None = None

    def choose(self, precision: float, first: int, most: int = SHOWN) -> None:
        """Choices for every number of lamps, traced; of the `first` one as many as `most`."""
        self.sources.count_photons(self.progress)
        self.board.look_at_all(self.progress)
        order = self._possible(first)
        self.progress("the lamps as they are", 0, 1)
        seed = self.options.seed + TRACE_SEED
        self.now = self.tracer.traced(self.scene.written.lamp, precision, seed)
        self.board.add_rows(self.board.twins(self.now.dark))
        for done, number in enumerate(order):
            self.progress("the best choices", done, len(order))
            self._judge(number)
        shown = order + [order[0]] * (most - 1)
        for done, number in enumerate(shown):
            self.progress("tracing the best, tubes in the way", done, len(shown))
            choice = self._chosen(number)
            if choice is not None:
                self._trace(number, choice, precision)
            if most > 1 and number != order[0] and (other := self._promising(number)):
                self._trace(number, other, precision)

    def _possible(self, first: int) -> list[int]:
        """Numbers of lamps that go together somewhere, `first` before the others."""
        possible = [number for number in self.numbers if self.board.field.searched(number, 0)]
        if not possible:
            raise RaysimError(
                f"no {self.numbers[0]} of the {len(self.places)} places go together. Mend: fewer "
                "lamps, or more places (--spacing, --most)"
            )
        return sorted(possible, key=lambda number: (number != first, number))

    def _chosen(self, number: int) -> Choice | None:
        """The best choice of a number of lamps that is not traced yet, as judged widely."""
        done = self._judge(number)
        for _ in range(SURE):
            first, *others = [*self._judged(number, done), ()]
            if not first or self.board.judge(first, WIDELY) >= self.board.estimate(others[0]):
                break
        return next(iter(self._judged(number, done)), None)

    def _promising(self, number: int) -> Choice | None:
        """A judged choice that seems to give notably more light than what was traced."""
        done = [choice for choice, _ in self.traced.get(number, [])]
        if not done:
            return None
        least = (1.0 + NOTABLY) * self.traced[number][0][1].worst.irradiance
        for one in self._judged(number, done)[:1]:
            if self.board.estimate(one) > least and self.board.judge(one, WIDELY) > least:
                return one
        return None

    def _judge(self, number: int) -> list[Choice]:
        """Judge choices of a number of lamps until the best few are; returns those traced."""
        board, done = self.board, [choice for choice, _ in self.traced.get(number, [])]
        best, many = done[:1], MORE if done else JUDGED
        for turn in range(ROUNDS):
            field = board.field
            found = field.searched(number, self.options.seed + turn, best)
            best = found[:1]
            if turn % SELDOM == 0:
                best = [better(field, found[0], branches=BRANCHES)]
            judged = self._judged(number, done)[:1]
            pool = {*found, *best, *judged}
            for one in (*best, *judged, *done[:1]):
                pool |= {*field.neighbours(one, many)}
            near = sorted(pool - {*done}, key=lambda one: (-field.worst(one), one))[:many]
            fresh = [one for one in (*judged, *near) if not board.is_judged(one)]
            if not fresh:
                break
            board.judge(fresh[0])
        return done

    def _judged(self, number: int, done: Sequence[Choice]) -> list[Choice]:
        """Choices of a number of lamps that were judged and not traced, the best first."""
        estimate = self.board.estimate
        judged = [one for one in self.board.judged if len(one) == number and one not in done]
        return sorted(judged, key=lambda one: (-estimate(one), one))

    def _trace(self, number: int, choice: Choice, precision: float) -> None:
        seed = self.options.seed + TRACE_SEED + STEP * number
        lamps = [self.places[k].lamp(f"lamp {i}") for i, k in enumerate(choice, 1)]
        found = (choice, self.tracer.traced(lamps, precision, seed))
        pairs = [*self.traced.get(number, []), found]
        self.traced[number] = sorted(pairs, key=lambda pair: -pair[1].worst.lower_bound)
        dark = found[1].dark
        self.board.add_rows(np.union1d(dark, self.board.twins(dark[:TWINS])))

    def prove(self) -> None:
        """The bound on all choices, for every number of lamps; most effort for the one told of."""
        board, best = self.board, {n: pairs[0][0] for n, pairs in self.traced.items()}
        self.proof = Proof(self.sources, board.sites, board.known, PROOF_SHARE * ERROR)
        order = [*best][::-1]
        for done, number in enumerate(order, 1):
            self.progress("the rows that decide, anew", done - 1, len(order))
            self.proof.look_closer(best[number], EFFORT * done // len(order))
        for done, number in enumerate(order):
            self.progress("the proof", done, len(order))
            self.most[number] = solve(self.proof.field, best[number]).bound
            self.alone[number] = self.proof.alone(best[number])

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
