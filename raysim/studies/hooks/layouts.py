"""Which layouts of several respirators to try: a sketch from what each hook point gives alone.

The sketch takes from each respirator the share of directions that its neighbours cover. It is a
screening only: it decides which layouts are traced, with all respirators in place, and in which
order, and no number of it is shown to anybody. The search is greedy with exchanges, from several
starts and for several strengths of mutual shading, so the very best layout may be missed; even rows
are sketched as well.
"""

from collections.abc import Sequence

import numpy as np

from raysim.studies.hooks.clearances import Room
from raysim.studies.hooks.load import Hang, Layout
from raysim.studies.hooks.rows import rows

STRENGTHS = (1.0, 2.0, 4.0)  # of mutual shading, as multiples of the covered share of directions
MOST_SHADE = 0.9
EXCHANGES = 40


class Sketch:
    """Guessed light of layouts over some hook points.

    Parameters
    ----------
    hangs : sequence of Hang
        Points with room.
    """

    def __init__(self, hangs: Sequence[Hang], room: Room, seed: int) -> None:
        self.hangs, self.room = list(hangs), room
        self.places = np.array([(*hang.at, hang.turn) for hang in hangs])
        self.alone = np.zeros(len(hangs))  # as if all points were alike
        self.apart = np.zeros((len(hangs), len(hangs)), bool)
        for i, one in enumerate(hangs):
            for j, other in enumerate(hangs[:i]):
                self.apart[i, j] = self.apart[j, i] = room.apart(one, other)
        self.covered = covered_share(self.hangs, room.hung)
        self.random = np.random.Generator(np.random.Philox(seed))

    def know(self, alone: np.ndarray) -> None:
        """Take note of the irradiance (points,) of a single one's worst face, W/m2, anywhere."""
        self.alone = np.log(np.maximum(alone, 1e-9 * max(float(alone.max()), 1e-300)))

    def layouts(self, number: int, most: int) -> list[Layout]:
        """Up to `most` unlike layouts of a number of respirators, the likeliest first."""
        found: dict[frozenset[int], float] = {}
        for attempt in range(3 * most):
            strength = STRENGTHS[attempt % len(STRENGTHS)]
            start = self._start(attempt // len(STRENGTHS))
            members = self._grown([start], number, strength)
            if members is None:
                continue
            # Exchanges often end in the same few layouts: what they began with is tried, too.
            for one in (self._exchanged(members, strength), members):
                found.setdefault(frozenset(one), self._worst(one, STRENGTHS[1]))
            if len(found) >= most:
                break
        ranked = sorted(found, key=lambda key: (-found[key], sorted(key)))
        return [self._layout(key) for key in ranked[:most]]

    def rows(self, number: int, most: int, middle: np.ndarray) -> list[Layout]:
        """Up to `most` even layouts about the `middle` (2,), m, of the box, the likeliest first."""
        found = rows(number, self.hangs, self.room, middle)
        return sorted(found, key=self._guess, reverse=True)[:most]

    def _guess(self, layout: Layout) -> float:
        """As `_worst`, of points that need not be among those of the sketch."""
        covered = np.minimum(STRENGTHS[1] * covered_share(layout, self.room.hung), MOST_SHADE)
        alone = self.alone[[self._nearest(hang) for hang in layout]]
        return float((alone + np.log1p(-covered).sum(axis=1)).min())

    def _nearest(self, hang: Hang) -> int:
        """The point of the sketch nearest to a hook point, of those with its turn if any."""
        off = np.linalg.norm(self.places[:, :3] - hang.at, axis=1)
        return int((off + 1e3 * (self.places[:, 3] != hang.turn)).argmin())

    def _include(self, layout: Layout) -> None:
        """Add points that are not in the sketch yet, with the light of the nearest one."""
        for hang in layout:
            if hang not in self.hangs:
                near = self._nearest(hang)
                apart = np.array([self.room.apart(hang, other) for other in self.hangs])
                self.apart = np.block([[self.apart, apart[:, None]], [apart, False]])
                self.alone = np.append(self.alone, self.alone[near])
                self.hangs.append(hang)
                self.places = np.vstack([self.places, (*hang.at, hang.turn)])
        if len(self.covered) < len(self.hangs):
            self.covered = covered_share(self.hangs, self.room.hung)

    def moved(self, layout: Layout, member: int, most: int) -> list[Layout]:
        """Up to `most` layouts with one respirator moved, the likeliest moves first."""
        self._include(layout)
        rest = [self.hangs.index(hang) for hang in layout]
        gone = rest.pop(member)
        score = self._with_each(rest, STRENGTHS[1])
        score[gone] = -np.inf
        order = np.argsort(-score, kind="stable")[:most]
        return [self._layout([*rest, int(k)]) for k in order if np.isfinite(score[k])]

    def _layout(self, members: Sequence[int] | frozenset[int]) -> Layout:
        """Hook points from the top down, from the door to the rear, from left to right."""
        chosen = [self.hangs[k] for k in members]
        return tuple(sorted(chosen, key=lambda h: (-h.at[2], h.at[1], h.at[0], h.turn)))

    def _start(self, attempt: int) -> int:
        """The brightest point first, then chance."""
        return int(self.alone.argmax() if attempt == 0 else self.random.integers(len(self.hangs)))

    def _shade(self, strength: float) -> np.ndarray:
        return np.log1p(-np.minimum(strength * self.covered, MOST_SHADE))

    def _worst(self, members: Sequence[int], strength: float) -> float:
        """Logarithm of the guessed light of the darkest of some members."""
        rows = np.asarray(members)
        shade = self._shade(strength)[np.ix_(rows, rows)]
        return float((self.alone[rows] + shade.sum(axis=1) - np.diag(shade)).min())

    def _with_each(self, members: Sequence[int], strength: float) -> np.ndarray:
        """The same with each point added (points,); -inf where there is no room for it."""
        rows, shade = np.asarray(members), self._shade(strength)
        own = shade[np.ix_(rows, rows)]
        light = self.alone[rows] + own.sum(axis=1) - np.diag(own)
        score = np.minimum(
            (light[:, None] + shade[rows]).min(axis=0), self.alone + shade[:, rows].sum(axis=1)
        )
        score[~self.apart[rows].all(axis=0)] = -np.inf
        return score

    def _grown(self, members: list[int], number: int, strength: float) -> list[int] | None:
        """Members with the best one added until there are `number`; None where no more fit."""
        while len(members) < number:
            score = self._with_each(members, strength)
            best = int(score.argmax())
            if not np.isfinite(score[best]):
                return None
            members = [*members, best]
        return members

    def _exchanged(self, members: list[int], strength: float) -> list[int]:
        """Members with the darkest exchanged for a better point as long as that helps."""
        for _ in range(EXCHANGES):
            now, better = self._worst(members, strength), None
            for out in range(len(members)):
                rest = members[:out] + members[out + 1 :]
                score = self._with_each(rest, strength)
                best = int(score.argmax())
                if score[best] > now + 1e-6:
                    now, better = float(score[best]), [*rest, best]
            if better is None:
                break
            members = better
        return members


def covered_share(hangs: Sequence[Hang], points: np.ndarray) -> np.ndarray:
    """Share of all directions about each hook point that a respirator on each other one covers.

    (points, points), the diagonal zero; each is taken as a ball with the mean projected area of
    its bounding box, which is a quarter of the surface of that box.

    Source: mean projection of a convex body, Cauchy 1841; solid angle of a ball (geometry).
    """
    w, d, h = np.ptp(points, axis=0)
    radius = float(np.sqrt(0.5 * (w * d + d * h + h * w) / np.pi))
    at = np.array([hang.at for hang in hangs])
    gap = np.linalg.norm(at[:, None] - at[None], axis=2)
    sine = np.minimum(radius / np.maximum(gap, radius), 1.0)
    share = 0.5 * (1.0 - np.sqrt(1.0 - sine**2))
    np.fill_diagonal(share, 0.0)
    return np.asarray(share)
