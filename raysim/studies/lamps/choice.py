"""Which lamps: the choice of k places whose worst row of a matrix gets most.

A row is a piece of the load, a column a place. Search: greedy, then exchanges, from several starts;
`programme` finds the best one and proves how much better any could be.
"""

from collections.abc import Iterable

import numpy as np

Choice = tuple[int, ...]  # numbers of places, rising
EXCHANGES = 60  # own choice, as are the starts
STARTS = 8


class Field:
    """A matrix of light, and which places cannot both be taken.

    Parameters
    ----------
    light : (rows, places) float64, W/m2
    apart : (places, places) bool
        Whether two places can both be taken.
    """

    def __init__(self, light: np.ndarray, apart: np.ndarray) -> None:
        self.light, self.apart = light, apart

    def worst(self, choice: Iterable[int]) -> float:
        """Light of the row that gets least, W/m2 (definition)."""
        return float(self.light[:, list(choice)].sum(axis=1).min())

    def worst_row(self, choice: Iterable[int]) -> int:
        """The row that gets least (definition)."""
        return int(self.light[:, list(choice)].sum(axis=1).argmin())

    def searched(self, number: int, seed: int, starts: Iterable[Choice] = ()) -> list[Choice]:
        """Choices of `number` places, the best first, from greedy starts and exchanges."""
        random = np.random.Generator(np.random.Philox(seed))
        first = np.argsort(-self.light.min(axis=0), kind="stable")[:STARTS]
        drawn = random.permutation(self.light.shape[1])[:STARTS]
        begun = [self._grown([int(k)], number) for k in (*first, *drawn)]
        begun += [self._grown(list(start)[:number], number) for start in starts]
        found = {self._exchanged(members) for members in begun if members is not None}
        return sorted(found, key=lambda one: (-self.worst(one), one))

    def neighbours(self, choice: Choice, most: int) -> list[Choice]:
        """The choices that differ in one place, the best first."""
        found = []
        for out in choice:
            rest = [k for k in choice if k != out]
            gain = self._with_one_more(rest)
            order = np.argsort(-gain, kind="stable")[: most + 1]
            found += [
                (gain[k], tuple(sorted([*rest, int(k)])))
                for k in order
                if np.isfinite(gain[k]) and k != out
            ]
        best = sorted(set(found), key=lambda pair: (-pair[0], pair[1]))
        return [one for _, one in best[:most]]

    def _with_one_more(self, members: list[int]) -> np.ndarray:
        """Worst row with each place added, (places,); -inf where it cannot be."""
        there = self.light[:, members].sum(axis=1)
        gain = (there[:, None] + self.light).min(axis=0)
        free = np.array(self.apart[:, members].all(axis=1))
        free[members] = False
        return np.where(free, gain, -np.inf)

    def _grown(self, members: list[int], number: int) -> list[int] | None:
        """More places, each the one that helps most; those that leave a row dark by their sum."""
        members = list(members)
        while len(members) < number:
            gain = self._with_one_more(members)
            best = int(gain.argmax())
            if not np.isfinite(gain[best]):
                return None
            members.append(best)
        return members

    def _exchanged(self, members: list[int]) -> Choice:
        """Exchanges of one place, the best one each time, while they help."""
        value = self.worst(members)
        for _ in range(EXCHANGES):
            trials = []
            for out in members:
                rest = [k for k in members if k != out]
                gain = self._with_one_more(rest)
                trials.append((float(gain.max()), [*rest, int(gain.argmax())]))
            best, then = max(trials, key=lambda trial: trial[0])
            if best <= value * (1.0 + 1e-9):
                break
            value, members = best, then
        return tuple(sorted(members))
