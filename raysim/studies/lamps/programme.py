"""The programme: which choice of k places is the best, and what does no choice exceed?

    largest t with  sum_i a[r, i] x[i] >= t  for every row r,   sum_i x[i] = k,   x in {0, 1}

and x[i] + x[j] <= 1 for places that cannot both be taken. A choice that gives every row T still
does where entries are cut down to T, and the relaxation (0 <= x <= 1) is much tighter so: its bound
is cut down until it stays. From there T comes down step by step: a T that no choice reaches, tried
out branch by branch (`branches`), is an upper bound on all of them; a choice that is found is a
better one. Rows are added as a choice is found that only they refute: a dozen or two are enough.

All is counted in branches, not in seconds, so that results repeat.

Source: tightening of coefficients, e.g. Savelsbergh, "Preprocessing and probing techniques for
mixed integer programming problems", ORSA J. Computing 6 (1994); the relaxation by HiGHS, Huangfu
and Hall, Math. Prog. Comp. 10 (2018) [both from memory].
"""

from dataclasses import dataclass

import numpy as np

from raysim.base.figures import Figures
from raysim.studies.lamps.branches import Branches, OutOfBranchesError
from raysim.studies.lamps.choice import Choice, Field

# Efforts are our own choice.
TIGHTER = 0.002  # share by which the bound of a relaxation has to fall for another round
MOST_TIGHTENED = 40
STEPS = (0.3, 0.2, 0.15, 0.12, 0.09, 0.06, 0.04, 0.02, 0.01)  # above the best known: T comes down
BRANCHES = 500_000  # looked at for each step: a second or two; own choice
FEWER = 10  # times fewer branches for each look for a better choice
SLACK = 1e-6  # share by which bounds are raised: tolerance of the solver of the relaxation


@dataclass(frozen=True)
class Solved(Figures):
    """The best choice known, and what no choice exceeds, W/m2."""

    choice: Choice
    bound: float


def solve(field: Field, known: Choice, *, branches: int = BRANCHES) -> Solved:
    """The best choice of as many places as a `known` one has, and a bound on all of them.

    A better choice is looked for first; `branches` are looked at for each question, and at the
    first that stays open it ends.
    """
    best = better(field, known, branches=branches // FEWER)
    bound = relaxed(field, len(known))
    rows = [field.worst_row(best)]
    for step in STEPS:
        try:
            while (wanted := (1.0 + step) * field.worst(best)) < bound:
                choice = _reaching(field, rows, wanted, len(known), branches)
                if choice is None:
                    bound = wanted * (1.0 + SLACK)
                    break
                best = choice
        except OutOfBranchesError:
            break
    return Solved(best, bound)


def better(field: Field, known: Choice, *, branches: int) -> Choice:
    """The best choice that is found by asking for a little more each time (`STEPS`)."""
    best, rows = known, [field.worst_row(known)]
    try:
        while True:
            wanted = (1.0 + STEPS[-1]) * field.worst(best)
            choice = _reaching(field, rows, wanted, len(known), branches)
            if choice is None:
                return best
            best = choice
    except OutOfBranchesError:
        return best


def _reaching(
    field: Field, rows: list[int], wanted: float, number: int, branches: int
) -> Choice | None:
    """A choice whose worst row gets what is wanted, W/m2; rows that it takes to tell are added."""
    while True:
        some = Field(field.light[rows], field.apart)
        choice = Branches(some, wanted, branches).choice(number)
        if choice is None or field.worst(choice) >= wanted:
            return choice
        rows.append(field.worst_row(choice))


def relaxed(field: Field, number: int) -> float:
    """What no choice of `number` places gives its worst row, W/m2, by the relaxation."""
    bound = float(np.sort(field.light, axis=1)[:, -number:].sum(axis=1).min())
    if not np.isfinite(bound):
        return bound
    for _ in range(MOST_TIGHTENED):
        before, bound = bound, min(bound, _relaxed(field.light, number, bound))
        if bound > before * (1.0 - TIGHTER):
            break
    return bound


def _relaxed(light: np.ndarray, number: int, most: float) -> float:
    """Bound of the relaxation where entries are cut down to `most`."""
    from scipy.optimize import linprog

    rows, places = light.shape
    share = np.minimum(light / most, 1.0)
    found = linprog(
        np.append(np.zeros(places), -1.0),  # the last column: what every row gets
        A_ub=np.hstack([-share, np.ones((rows, 1))]),
        b_ub=np.zeros(rows),
        A_eq=np.append(np.ones(places), 0.0)[None],
        b_eq=[number],
        bounds=(0.0, 1.0),
        method="highs",
    )
    return most * -float(found.fun) * (1.0 + SLACK) if found.status == 0 else most
