"""Lines from an eye that looks at a gap, with the share of the light that each stands for.

Light at an eye is kept as a vector, the sum over lines of weight times (pi L) times direction: its
length is the irradiance of an eye that faces the light.

Coordinates (m) are those of the gap: a outwards, b sideways, c along. In the picture of an eye (see
`picture`) a line has its place at (m, angle), n = tan(angle), and

    E = int L d dw,    dw = (1 + n^2) / (1 + m^2 + n^2)^(3/2) dm d(angle).

Source: definition of irradiance by radiance; sampling in several ways at once by the balance
heuristic, Veach, "Robust Monte Carlo Methods for Light Transport Simulation" (1997), chapter 9.
"""

from dataclasses import dataclass

import numpy as np

from raysim.passage import next_wall
from raysim.picture import Tubes
from raysim.slit import Slit


@dataclass(frozen=True)
class Lines:
    """Lines in independent groups: unit vectors (groups, lines, 3) and weights (groups, lines)."""

    directions: np.ndarray
    weights: np.ndarray

    def light(self, radiance: np.ndarray) -> np.ndarray:
        """Light (W/m2) that each line brings, vectors (groups, lines, 3).

        `radiance` (groups * lines,) is pi times the radiance along them, W/m2.
        """
        values = self.weights * radiance.reshape(self.weights.shape)
        return values[..., None] * self.directions

    @property
    def whole(self) -> float:
        """Irradiance for pi times the radiance of 1 W/m2 along all lines (definition)."""
        light = (self.weights[..., None] * self.directions).sum(axis=(0, 1))
        return float(np.linalg.norm(light) / len(self.weights))


def _stratified(groups: int, lines: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Two random numbers a line, each group spread evenly over the square; (groups, lines)."""
    side = int(np.sqrt(lines))
    rows, columns = np.divmod(np.arange(side * (lines // side)), side)
    u, v = rng.random((2, groups, len(rows)))
    return (columns + u) / side, (rows + v) / (lines // side)


def window_lines(
    slit: Slit, eye: np.ndarray, groups: int, lines: int, rng: np.random.Generator
) -> Lines:
    """Lines from an eye (3,) through the gap, evenly over what it sees through it."""
    return picture_lines(slit, eye, None, groups, (lines, 0), rng)


def wall_lines(
    slit: Slit, eye: np.ndarray, groups: int, lines: int, rng: np.random.Generator
) -> tuple[Lines, np.ndarray, np.ndarray]:
    """Lines from an eye (3,) to places all over the outer opening, for the walls of the gap.

    Also the strip of its walls that each meets, and the place along the gap (m) where it does;
    strips that are openings, or that lie beyond the ends of the gap, have weight 0.

    Source: E = int L cos_opening / r^2 dA, as a vector.
    """
    corners, depth = slit.passage.corners, slit.gap.depth
    low, high = np.sort(corners[[slit.passage.outer, slit.passage.outer + 1], 1])
    u, v = (some.ravel() for some in _stratified(groups, lines, rng))
    # Even in the angle along: an eye close before a long gap gets most from the piece before it.
    b = low + (high - low) * u
    off = float(np.hypot(eye[0] - depth, eye[1] - 0.5 * (low + high)))
    first, last = np.arctan((np.array([-0.5, 0.5]) * slit.length - eye[2]) / off)
    angle = first + v * (last - first)
    c = eye[2] + off * np.tan(angle)
    to = np.stack([np.full(len(b), depth), b, c], axis=1) - eye
    r = np.linalg.norm(to, axis=1)
    weights = (high - low) * off * (last - first) / np.cos(angle) ** 2 * -to[:, 0] / (np.pi * r**3)
    start = np.stack([np.full(len(b), depth), b], axis=1)
    outer = np.full(len(b), slit.passage.outer)
    edge, share = next_wall(slit.passage, start, to[:, :2], outer)
    p, q = slit.passage.corners[edge], slit.passage.ends[edge]
    met = p + share[:, None] * (q - p)
    gone = np.linalg.norm(met - start, axis=1) / np.linalg.norm(to[:, :2], axis=1)
    along = c + gone * to[:, 2]
    wall = (edge >= 0) & (edge != slit.passage.inner) & (np.abs(along) <= 0.5 * slit.length)
    weights = np.where(wall, weights, 0.0).reshape(groups, -1) / (len(b) // groups)
    directions = (to / r[:, None]).reshape(groups, -1, 3)
    return Lines(directions, weights), slit.strips.number(edge, share), along


def picture_lines(
    slit: Slit,
    eye: np.ndarray,
    tubes: Tubes | None,
    groups: int,
    lines: tuple[int, int],
    rng: np.random.Generator,
) -> Lines:
    """Lines from an eye (3,) through the gap, and further ones at some tubes seen through it.

    `lines` of a group through the gap, and at each of the `tubes`. Where the tubes stand only
    steers effort: what is not covered by the further lines is covered by the others.
    """
    window = slit.windows(eye[None])[0]
    if not (window[0] < window[1] and window[2] < window[3]):
        return Lines(np.zeros((groups, 0, 3)), np.zeros((groups, 0)))
    ways: list[_Window | _Tube] = [_Window(window)]
    if tubes is not None:
        ways += [_Tube(tubes, number, eye, window) for number in range(len(tubes))]
    counts = [lines[0], *[lines[1]] * (len(ways) - 1)]
    places = [
        way.place(*_stratified(groups, count, rng)) for way, count in zip(ways, counts, strict=True)
    ]
    m, angle = np.concatenate(places, axis=2)
    aimed = np.isfinite(angle)
    angle = np.where(aimed, angle, 0.0)
    density = sum(
        place.shape[2] * way.density(m, angle) for way, place in zip(ways, places, strict=True)
    )
    n = np.tan(angle)
    long = np.sqrt(1.0 + m**2 + n**2)
    weights = np.where(aimed, (1.0 + n**2) / long**3 / (np.pi * density), 0.0)
    return Lines(-np.stack([np.ones_like(m), m, n], axis=-1) / long[..., None], weights)


class _Window:
    """Lines all over a window (4,)."""

    def __init__(self, window: np.ndarray) -> None:
        self.m, self.angle = window[:2], np.arctan(window[2:])

    def place(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        """Places (2, ...) in the picture of random numbers: m and angle."""
        return np.stack([self.m[0] + u * np.ptp(self.m), self.angle[0] + v * np.ptp(self.angle)])

    def density(self, m: np.ndarray, angle: np.ndarray) -> np.ndarray:
        """Lines per m and angle (definition)."""
        return np.full(m.shape, 1.0 / (np.ptp(self.m) * np.ptp(self.angle)))


class _Tube:
    """Lines at the part of one tube that stands in a window."""

    def __init__(self, tubes: Tubes, number: int, eye: np.ndarray, window: np.ndarray) -> None:
        self.tubes, self.seen = tubes, (np.array([number]), eye[None], window[None])
        (first,), (last,) = tubes.width(*self.seen[:2])
        self.m = max(first, window[0])
        self.width = max(min(last, window[1]) - self.m, 0.0)

    def _angles(self, m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        low, size = self.tubes.cut(*self.seen, m.reshape(1, -1))
        return low.reshape(m.shape), size.reshape(m.shape)

    def place(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        """The same; no angle (nan) where the tube is not in the window at that m."""
        m = self.m + u * self.width
        low, size = self._angles(m)
        there = (size > 0.0) & (self.width > 0.0)
        return np.stack([m, np.where(there, low + v * size, np.nan)])

    def density(self, m: np.ndarray, angle: np.ndarray) -> np.ndarray:
        """Lines per m and angle (definition)."""
        low, size = self._angles(m)
        on = (m >= self.m) & (m <= self.m + self.width) & (angle >= low) & (angle <= low + size)
        on &= size * self.width > 0.0
        return np.where(on, 1.0 / np.where(on, self.width * size, 1.0), 0.0)
