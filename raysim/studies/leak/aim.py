"""Lines from an eye that looks at a gap, with the share of the light that each stands for.

Light at an eye is kept as a vector, the sum over lines of weight times (pi L) times direction: its
length is the irradiance of an eye that faces the light.

Coordinates (m) are those of the gap: a outwards, b sideways, c along. A line from an eye runs along
(-1, -m, -n), and the gap is a rectangle of slopes m and n, its *window* (`Slit.windows`):

    E = int L d dw,    dw = (1 + n^2) / (1 + m^2 + n^2)^(3/2) dm d(angle),    n = tan(angle).

Source: definition of irradiance by radiance.
"""

from dataclasses import dataclass

import numpy as np

from raysim.studies.leak.passage import next_wall
from raysim.studies.leak.slit import Slit

GOLDEN = 0.5 * (np.sqrt(5.0) - 1.0)


@dataclass(frozen=True)
class Lines:
    """Lines in sets: unit vectors (sets, lines, 3), coordinates of the gap; weights (sets, lines).

    A set is whole: its weights times pi L add up to the light of one eye.
    """

    directions: np.ndarray
    weights: np.ndarray

    def light(self, radiance: np.ndarray) -> np.ndarray:
        """Light (W/m2) that each line brings, vectors (sets, lines, 3).

        `radiance` (sets * lines,) is pi times the radiance along them, W/m2.
        """
        values = self.weights * radiance.reshape(self.weights.shape)
        return np.asarray(values[..., None] * self.directions)

    @property
    def whole(self) -> float:
        """Irradiance for pi times the radiance of 1 W/m2 along all lines (definition)."""
        light = self.light(np.ones(self.weights.size)).sum(axis=1)
        return float(np.linalg.norm(light, axis=1).mean())


def spread(sets: int, lines: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Two numbers from 0 to 1 for each line, each set even over the square; (sets, lines).

    Source: Fibonacci lattice, shifted at random for each set (Cranley and Patterson 1976; from
    memory): no two lines of a set share a row or a column.
    """
    shift = rng.random((2, sets, 1))
    number = np.arange(lines)
    return (number / lines + shift[0]) % 1.0, (number * GOLDEN + shift[1]) % 1.0


def window_lines(slit: Slit, eyes: np.ndarray, lines: int, rng: np.random.Generator) -> Lines:
    """Lines through the gap, one set for each eye (sets, 3), evenly over what it sees through it.

    Weights are 0 for an eye that sees nothing.
    """
    windows = slit.windows(eyes)
    seen = (windows[:, 0] < windows[:, 1]) & (windows[:, 2] < windows[:, 3])
    windows[~seen] = 0.0
    first, last = np.arctan(windows[:, 2:]).T
    u, v = spread(len(eyes), lines, rng)
    m = windows[:, :1] + u * (windows[:, 1:2] - windows[:, :1])
    n = np.tan(first[:, None] + v * (last - first)[:, None])
    long = np.sqrt(1.0 + m**2 + n**2)
    size = (windows[:, 1] - windows[:, 0]) * (last - first) / u.shape[1]
    weights = size[:, None] * (1.0 + n**2) / long**3 / np.pi
    return Lines(-np.stack([np.ones_like(m), m, n], axis=-1) / long[..., None], weights)


def starts(slit: Slit, eyes: np.ndarray, lines: Lines) -> tuple[np.ndarray, np.ndarray]:
    """Where lines from eyes (sets, 3) enter the chamber, m, and their directions; (n, 3) each."""
    directions = lines.directions.reshape(-1, 3)
    eyes = np.repeat(eyes, lines.weights.shape[1], axis=0)
    return slit.just_inside(eyes, directions), directions @ slit.axes


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
    u, v = (some.ravel() for some in spread(groups, lines, rng))
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
