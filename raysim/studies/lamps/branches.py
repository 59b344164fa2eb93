"""Every choice of k places whose worst row gets T, by the kernel of branches, in slices."""

import numpy as np

from raysim.kernels.branches import FOUND, NONE, Tree, list_tries, look_at_branches
from raysim.studies.lamps.choice import Choice, Field

SLICE = 100_000  # branches between two chances for Ctrl-C


class OutOfBranchesError(Exception):
    """More branches than were allowed: not decided."""


class Branches:
    """Choices of places of a field that give every row at least `wanted`, W/m2.

    At most `most` branches are looked at.
    """

    def __init__(self, field: Field, wanted: float, most: int) -> None:
        self.light, self.apart = np.minimum(field.light, wanted), field.apart
        self.order = np.argsort(-self.light, axis=1, kind="stable").astype(np.int32)
        self.wanted, self.most = wanted, most

    def choice(self, number: int) -> Choice | None:
        """A choice of `number` places, None if there is none.

        Raises
        ------
        OutOfBranchesError
        """
        rows, places = self.light.shape
        tree = Tree(
            need=np.full((number, rows), self.wanted),
            free=np.ones((number, places), bool),
            tries=np.zeros((number, places), np.int32),
            ends=np.zeros((number, 2), np.int64),
            chosen=np.zeros(number, np.int64),
            rows=np.arange(rows),
            counts=np.array([0, 1]),
        )
        list_tries(self.light, self.order, tree, 0)
        for most in (*range(SLICE, self.most, SLICE), self.most):
            known = look_at_branches(self.light, self.order, self.apart, tree, most)
            if known == FOUND:
                return tuple(sorted(tree.chosen.tolist()))
            if known == NONE:
                return None
        raise OutOfBranchesError
