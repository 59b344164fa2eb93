"""Every choice of k places whose worst row gets T, by the row that is hardest to serve.

Of the places that are still to come, k at most, one must give a row at least its need over k. The
row with fewest such places is taken; each of them is tried in turn, and left out afterwards. Few
places light a dark fold, so there are few branches: for small k this decides at once what the
relaxation of the programme leaves open.

Source: branching on the scarcest constraint, as in exact cover, Knuth, "Dancing links" (2000) (from
memory).
"""

import numpy as np

from raysim.studies.lamps.choice import Choice, Field


class OutOfBranchesError(Exception):
    """More branches than were allowed: not decided."""


class Branches:
    """Choices of places of a field that give every row at least `wanted`, W/m2.

    At most `most` branches are looked at.
    """

    def __init__(self, field: Field, wanted: float, most: int) -> None:
        self.light, self.apart = np.minimum(field.light, wanted), field.apart
        self.wanted, self.left = wanted, most

    def choice(self, number: int) -> Choice | None:
        """A choice of `number` places, None if there is none.

        Raises
        ------
        OutOfBranchesError
        """
        rows, places = self.light.shape
        found = self._more(np.full(rows, self.wanted), np.ones(places, bool), number)
        return None if found is None else tuple(sorted(found))

    def _more(self, need: np.ndarray, free: np.ndarray, number: int) -> list[int] | None:
        """`number` more of the free places that cover the need of every row."""
        self.left -= 1
        if self.left < 0:
            raise OutOfBranchesError
        places = np.flatnonzero(free)
        light = self.light[:, places]
        if number == 1:
            covers = (light >= need[:, None]).all(axis=0)
            return [int(places[covers.argmax()])] if covers.any() else None
        if len(places) < number:
            return None
        most = np.partition(light, len(places) - number, axis=1)[:, -number:].sum(axis=1)
        if (most < need).any():
            return None
        helps = light >= (need / number)[:, None]
        row = int(np.where(need > 0.0, helps.sum(axis=1), len(places) + 1).argmin())
        tried = np.flatnonzero(helps[row]) if need[row] > 0.0 else np.arange(len(places))
        free = free.copy()
        for k in places[tried[np.argsort(-light[row, tried], kind="stable")]].tolist():
            free[k] = False
            found = self._more(need - self.light[:, k], free & self.apart[k], number - 1)
            if found is not None:
                return [*found, k]
        return None
