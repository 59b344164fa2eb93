"""Places in a vessel of any shape: each by its distances from three named corners.

The corners are those of the mesh that lie farthest towards the eight corners of a box: lower left
front, and so on; of several that do, the one farthest to the left or right. The three of a place
lie on one side of the vessel, so that only one place within it has these distances: a tape measure
or three strings find it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np

from raysim.workshop.fixings import Mark, Walls
from raysim.workshop.frames import Steps3
from raysim.workshop.grid import Grid

Place = tuple[float, float, float]
Three = tuple[str, str, str]
_WORDS = (("left", "right"), ("front", "back"), ("lower", "upper"))
EXACT = 1e-9  # m: a distance that near to whole steps was printed
FLAT = 1e-6  # m: corners nearer to each other are one
AS_FAR = 1e-5  # of half the vessel: mesh files keep seven digits


@dataclass(frozen=True)
class CornerPlace:
    """A mark with the names of three corners, and its distance from each, steps."""

    tag: str
    mark: Mark
    corners: Three
    distances: Steps3


@dataclass(frozen=True)
class Corners:
    """The named corners of a vessel, m, and its middle."""

    at: dict[str, Place]
    middle: Place

    def measured(self, place: Place, grid: Grid) -> tuple[Three, Steps3]:
        """The three corners that fix a place (m) best, and how far it is from each, steps.

        Best is the largest volume that unit vectors to the corners span. A place that lies whole
        steps from three others keeps them, so that what was printed once is printed again.

        Source: definition.
        """
        threes = list(self._threes())
        exact = (three for three in threes if self._astray(three, place, grid) < EXACT)
        names = next(exact, None) or max(threes, key=lambda three: self._spanned(three, place))
        x, y, z = (grid.steps(self._away(name, place)) for name in names)
        return names, (x, y, z)

    def printed(self, place: Place, grid: Grid) -> Place:
        """The place (m) that the printed measures of a place give, and that gives the same again.

        The second pass is for places that lie whole steps from several threes of corners.
        """
        once = self.place(*self.measured(place, grid), grid)
        return self.place(*self.measured(once, grid), grid)

    def place(self, names: Three, distances: Steps3, grid: Grid) -> Place:
        """The place (m) that has these distances from three corners, on the side of the middle.

        Source: section of three spheres, in the coordinates that the corners span.
        """
        a, b, c = (np.array(self.at[name]) for name in names)
        r, s, t = (grid.metres(steps) for steps in distances)
        d = float(np.linalg.norm(b - a))
        right = (b - a) / d
        i = float(right @ (c - a))
        up = c - a - i * right
        j = float(np.linalg.norm(up))
        up = up / j
        x = (r * r - s * s + d * d) / (2.0 * d)
        y = (r * r - t * t + i * i + j * j) / (2.0 * j) - i / j * x
        off = np.cross(right, up)
        off *= 1.0 if off @ (np.array(self.middle) - a) > 0.0 else -1.0
        z = np.sqrt(max(r * r - x * x - y * y, 0.0))
        found = a + x * right + y * up + z * off
        return float(found[0]), float(found[1]), float(found[2])

    def _away(self, name: str, place: Place) -> float:
        return float(np.linalg.norm(self._to(name, place)))

    def _astray(self, names: Three, place: Place, grid: Grid) -> float:
        """How far (m) the distances of a place lie off whole steps."""
        away = [self._away(name, place) for name in names]
        return max(abs(one - grid.metres(grid.steps(one))) for one in away)

    def _to(self, name: str, place: Place) -> np.ndarray:
        return np.array(self.at[name]) - np.array(place)

    def _threes(self) -> Iterator[Three]:
        """Three corners that share a side and do not lie in a line."""
        for words in _WORDS:
            for side in words:
                for one, two, three in combinations([n for n in self.at if side in n.split()], 3):
                    a, b, c = (np.array(self.at[name]) for name in (one, two, three))
                    if np.linalg.norm(np.cross(b - a, c - a)) > FLAT:
                        yield one, two, three

    def _spanned(self, names: Three, place: Place) -> float:
        ways = [self._to(name, place) for name in names]
        return abs(float(np.linalg.det([w / max(np.linalg.norm(w), FLAT) for w in ways])))


def corners_of(walls: Walls) -> Corners:
    """The named corners of a vessel (definition); those that are one corner have one name."""
    points = walls.corners.reshape(-1, 3)
    low, high = points.min(axis=0), points.max(axis=0)
    middle = 0.5 * (low + high)
    scaled = (points - middle) / (0.5 * (high - low))
    found: dict[str, Place] = {}
    for sign in product((0, 1), repeat=3):
        ways = scaled * (2.0 * np.array(sign) - 1.0)
        # Of those that lie as far out, on an edge or a face, the last by x, then y, then z: one of
        # its ends, and no point between them where a wall is split.
        left = np.arange(len(points))
        for far in (ways.sum(axis=1), *ways.T):
            left = left[far[left] >= far[left].max() - AS_FAR]
        x, y, z = map(float, points[left[0]])
        name = " ".join(_WORDS[axis][sign[axis]] for axis in (2, 0, 1))
        if all(np.abs(np.subtract((x, y, z), other)).max() > FLAT for other in found.values()):
            found[name] = (x, y, z)
    return Corners(found, (float(middle[0]), float(middle[1]), float(middle[2])))


def corner_places(
    marks: Sequence[Mark], tags: Iterator[str], corners: Corners, grid: Grid
) -> tuple[CornerPlace, ...]:
    """Every mark by its distances from three corners (definition)."""
    rows = []
    for tag, mark in zip(tags, marks, strict=False):
        names, distances = corners.measured(mark.at, grid)
        rows.append(CornerPlace(tag, mark, names, distances))
    return tuple(rows)
