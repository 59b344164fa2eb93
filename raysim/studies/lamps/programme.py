"""The mixed-integer programme: is there a choice of k places whose worst row gets T or more?

    sum_i min(a[r, i], T) x[i] >= T  for every row r,   sum_i x[i] = k,   x in {0, 1}

and x[i] + x[j] <= 1 for places that cannot both be taken. A choice that gives every row T still
does where entries are cut down to T, and the relaxation is much tighter so. T comes down step by
step from the bound of the relaxation (largest t with sum_i min(a, T) x[i] >= t): a T that no choice
reaches is an upper bound on all of them; a choice that is found is a better one.

Few lamps are tried out branch by branch first (`branches`), which decides up to four or five of
them. Where that does not end, the solver is asked: HiGHS, in a process of its own that can be ended
at any time. Both stop by their number of branches, not by time, so that results repeat.

Source: Huangfu and Hall, "Parallelizing the dual revised simplex method", Math. Prog. Comp. 10
(2018); tightening of coefficients, e.g. Savelsbergh, "Preprocessing and probing techniques for
mixed integer programming problems", ORSA J. Computing 6 (1994) [both from memory].
"""

import pickle
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Any

import numpy as np

from raysim.base.errors import RaysimError
from raysim.base.figures import Figures
from raysim.studies.lamps.branches import Branches, OutOfBranchesError
from raysim.studies.lamps.choice import Choice, Field

TIGHTER = 0.002  # share by which the bound of a relaxation has to fall for another round
MOST_TIGHTENED = 40
INFEASIBLE = 2  # status of scipy's solver
STEPS = (0.35, 0.25, 0.18, 0.12, 0.08, 0.05, 0.03, 0.015)  # above the best known: T comes down
BRANCHES = 60_000  # tried one by one before the solver is asked: two seconds or so
SLACK = 1e-6  # share by which bounds are raised, and T lowered: the solver's own tolerance


@dataclass(frozen=True)
class Solved(Figures):
    """The best choice known, and what no choice exceeds, W/m2."""

    choice: Choice
    bound: float


class Solver:
    """HiGHS in a process of its own; used in a `with`, which ends it."""

    def __enter__(self) -> "Solver":
        self._process = subprocess.Popen(
            [sys.executable, "-m", "raysim.studies.lamps.solver_process"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            pipe.close()

    def solve(
        self,
        field: Field,
        known: Choice,
        *,
        nodes: int,
        steps: Sequence[float] = STEPS,
        branches: int = BRANCHES,
    ) -> Solved:
        """The best choice of as many places as a `known` one has, and a bound on all of them.

        Parameters
        ----------
        nodes : int
            Of the solver's tree for each step; 0 for the bound of the relaxation alone.
        branches : int
            That are tried for each step before the solver is asked.
        steps : sequence of float
            How far above the best known choice is asked, as shares, falling.

        Raises
        ------
        RaysimError
            Where the solver ended without an answer.
        """
        number, best = len(known), known
        bound = float(np.sort(field.light, axis=1)[:, -number:].sum(axis=1).min())
        if not np.isfinite(bound):
            return Solved(known, bound)
        for _ in range(MOST_TIGHTENED):
            relaxed = self._asked(field, number, bound, -1)[1]
            enough = relaxed > bound * (1.0 - TIGHTER)
            bound = min(bound, relaxed)
            if enough:
                break
        left = list(steps) if nodes else []
        while left:
            wanted = (1.0 + left[0]) * field.worst(best)
            if wanted >= bound:
                left.pop(0)
                continue
            try:
                choice = Branches(field, wanted, branches).choice(number)
                reached = wanted if choice else 0.0
            except OutOfBranchesError:
                choice, reached = self._asked(field, number, wanted, nodes)
            if choice is not None:
                best = choice
            elif reached < wanted:
                bound, left = wanted * (1.0 + SLACK), left[1:]
            else:
                break
        return Solved(best, bound)

    def _asked(
        self, field: Field, number: int, most: float, nodes: int
    ) -> tuple[Choice | None, float]:
        """A choice that reaches `most` if one was found, and what all are known to reach at most.

        That is infinite where the solver ran out of nodes.
        """
        near = np.argwhere(np.triu(~field.apart))
        question = {"light": np.minimum(field.light / most, 1.0), "near": near, "number": number}
        process = self._process
        assert process.stdin is not None
        assert process.stdout is not None
        try:
            pickle.dump(question | {"nodes": nodes}, process.stdin)
            process.stdin.flush()
            choice, reached = pickle.load(process.stdout)
        except (OSError, EOFError):
            raise RaysimError("the solver of the programme ended. Mend: run again") from None
        return choice, most * reached


def solved(question: dict[str, Any]) -> tuple[Choice | None, float]:
    """Answer to one question, by HiGHS: of the relaxation with -1 nodes, else of the programme.

    A choice whose rows all get 1, if one was found, and what no choice exceeds: 0 where none
    reaches 1, infinite where that is not known.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array, hstack

    light, near, number = question["light"], question["near"], question["number"]
    rows, places = light.shape
    relaxed = question["nodes"] < 0
    level = 1.0 if relaxed else 0.0  # the last column: what every row gets, to be made large
    cost = np.append(np.zeros(places), -level)
    rest = 0.0 if relaxed else 1.0 - SLACK
    reach = hstack([csr_array(light), csr_array(np.full((rows, 1), -level))]).tocsr()
    limits = [
        LinearConstraint(reach, rest, np.inf),
        LinearConstraint(np.append(np.ones(places), 0.0)[None], number, number),
    ]
    if len(near):
        ones, lines = np.ones(2 * len(near)), np.repeat(np.arange(len(near)), 2)
        pairs = csr_array((ones, (lines, near.ravel())), shape=(len(near), places + 1))
        limits.append(LinearConstraint(pairs, -np.inf, 1.0))
    found = milp(
        cost,
        integrality=np.append(np.full(places, 0.0 if relaxed else 1.0), 0.0),
        bounds=Bounds(np.zeros(places + 1), np.append(np.ones(places), level)),
        constraints=limits,
        options={} if relaxed else {"node_limit": question["nodes"]},
    )
    if relaxed:
        return None, 0.0 if found.status == INFEASIBLE else -float(found.fun) * (1.0 + SLACK)
    if found.x is not None:
        return tuple(int(k) for k in np.flatnonzero(found.x[:places] > 0.5)), 1.0
    return None, 0.0 if found.status == INFEASIBLE else np.inf
