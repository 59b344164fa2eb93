"""Lines from an eye that looks at a gap, with the share of the light that each stands for.

Light at an eye is kept as a vector, the sum over lines of weight times (pi L) times direction: its
length is the irradiance of an eye that faces the light.

Coordinates (m) are those of the gap or of one of its legs (`slit`). In those of a leg a line from
an eye runs along (-1, -m, -n), and the leg is a rectangle of slopes m and n, its *window*:

    E = int L d dw,    dw = (1 + n^2) / (1 + m^2 + n^2)^(3/2) dm d(angle),    n = tan(angle).

Source: definition of irradiance by radiance.
"""

from dataclasses import dataclass

import numpy as np

from raysim.studies.leak.slit import Slit
from raysim.studies.leak.walk import walk

GOLDEN = 0.5 * (np.sqrt(5.0) - 1.0)


@dataclass(frozen=True)
class Lines:
    """Lines in sets: unit vectors (sets, lines, 3), coordinates of the gap; weights (sets, lines).

    A set is whole: its weights times pi L add up to the light of one eye. `leg` (sets, lines) is
    that at whose inner opening, or on whose walls, each line ends.
    """

    directions: np.ndarray
    weights: np.ndarray
    leg: np.ndarray

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


def share_out(sizes: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give each of the numbers v (sets, lines), 0 to 1, to a leg, as the `sizes` (sets, legs) are.

    The leg, where v lies in its part (0 to 1), and the share that this part is of the whole; all
    (sets, lines). So lines that are even over v are even over the whole gap.
    """
    whole = sizes.sum(axis=1, keepdims=True)
    share = np.where(whole > 0.0, sizes / np.where(whole > 0.0, whole, 1.0), 0.0)
    share[whole[:, 0] <= 0.0, 0] = 1.0
    last, row = np.cumsum(share, axis=1), np.arange(len(v))[:, None]
    inner = last[:, :-1]
    leg = np.searchsorted((inner + row).ravel(), (v + row).ravel(), side="right").reshape(v.shape)
    leg = np.clip(leg - row * inner.shape[1], 0, inner.shape[1])
    part = np.maximum(share[row, leg], 1e-300)
    return leg, ((v - (last - share)[row, leg]) / part).clip(0.0, 1.0), part


def windows(slit: Slit, eyes: np.ndarray) -> np.ndarray:
    """Slopes m and n of what eyes (eyes, 3; gap) see in each leg, (eyes, legs, 4): from, to, twice.

    From inf to -inf for nothing. A gap of one leg: all lines that lead through. Else all through
    the outer opening of a leg; `walk` tells which of them lead on.
    """
    depth, passage = slit.gap.depth, slit.passage
    if len(slit.middles) == 1:
        along = slit.ends[0, :, 0]
        square = np.array([along[[0, 0]], along[[1, 0]], along[[1, 1]], along[[0, 1]]])
        sides = ((slit.lines, eyes[:, 1]), (square, eyes[:, 2]))
        found = [slopes(lines, depth, eyes[:, 0], place) for lines, place in sides]
        return np.stack([*found[0], *found[1]], axis=1)[:, None]
    own = ((eyes[:, None] - slit.places)[..., None, :] * slit.turns).sum(axis=-1)
    b = np.sort(passage.corners[[passage.outer, passage.outer + 1], 1])
    spans = np.array([slit.spans(depth, side) for side in b])
    ends = [own[..., 1] - b[1], own[..., 1] - b[0]]
    ends += [own[..., 2] - spans[..., 1].max(axis=0), own[..., 2] - spans[..., 0].min(axis=0)]
    off = own[..., :1] - depth
    nothing = np.array([np.inf, -np.inf, np.inf, -np.inf])
    return np.where(off > 0.0, np.stack(ends, axis=-1) / np.where(off > 0.0, off, 1.0), nothing)


def window_lines(slit: Slit, eyes: np.ndarray, lines: int, rng: np.random.Generator) -> Lines:
    """Lines through the gap, one set for each eye (sets, 3), evenly over what it sees through it.

    Weights are 0 for an eye that sees nothing, and for lines that do not get through; there is a
    single one of these where none leads through the gap.
    """
    if not slit.seen_through:
        nothing = np.zeros((len(eyes), 1))
        return Lines(np.zeros((len(eyes), 1, 3)), nothing, nothing.astype(int))
    seen = windows(slit, eyes)
    seen[~((seen[..., 0] < seen[..., 1]) & (seen[..., 2] < seen[..., 3]))] = 0.0
    angles = np.arctan(seen[..., 2:])
    u, v = spread(len(eyes), lines, rng)
    sizes = (seen[..., 1] - seen[..., 0]) * np.diff(np.sin(angles))[..., 0]
    leg, v, part = share_out(sizes, v)
    row = np.arange(len(eyes))[:, None]
    low, high = np.moveaxis(seen[row, leg, :2], -1, 0)
    first, last = np.moveaxis(angles[row, leg], -1, 0)
    m, n = low + u * (high - low), np.tan(first + v * (last - first))
    long = np.sqrt(1.0 + m**2 + n**2)
    weights = (high - low) * (last - first) / u.shape[1] * (1.0 + n**2) / long**3 / np.pi
    directions = -np.stack([np.ones_like(m), m, n], axis=-1) / long[..., None]
    if len(slit.middles) == 1:
        return Lines(directions, weights, leg)
    leg, directions = leg.ravel(), directions.reshape(-1, 3)
    at = slit.to_legs(leg, np.repeat(eyes, lines, axis=0))
    at = at + ((slit.gap.depth - at[:, 0]) / directions[:, 0])[:, None] * directions
    met = walk(slit, leg, at, directions)
    through = (met.edge == slit.passage.inner).reshape(weights.shape)
    directions = slit.turned_back(leg, directions).reshape(*weights.shape, 3)
    return Lines(directions, np.where(through, weights / part, 0.0), met.leg.reshape(weights.shape))


def starts(slit: Slit, eyes: np.ndarray, lines: Lines) -> tuple[np.ndarray, np.ndarray]:
    """Where lines from eyes (sets, 3) enter the chamber, m, and their directions; (n, 3) each."""
    directions = lines.directions.reshape(-1, 3)
    eyes = np.repeat(eyes, lines.weights.shape[1], axis=0)
    return slit.just_inside(lines.leg.ravel(), eyes, directions), directions @ slit.axes[0]


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
    every = np.arange(len(slit.middles))
    own = slit.to_legs(every, np.tile(eye, (len(every), 1)))
    b = low + (high - low) * u
    off = np.hypot(own[:, 0] - depth, own[:, 1] - 0.5 * (low + high))
    angles = np.arctan((slit.spans(depth, 0.5 * (low + high)) - own[:, 2:]) / off[:, None])
    facing = (own[:, 0] - depth).clip(0.0) / off**2
    leg, v, part = share_out((facing * np.diff(np.sin(angles))[:, 0])[None], v[None])
    leg, v, part = leg[0], v[0], part[0]
    (first, last), own, off = angles[leg].T, own[leg], off[leg]
    angle = first + v * (last - first)
    c = own[:, 2] + off * np.tan(angle)
    at = np.stack([np.full(len(b), depth), b, c], axis=1)
    to = at - own
    r = np.linalg.norm(to, axis=1)
    weights = (high - low) * off * (last - first) / np.cos(angle) ** 2 * -to[:, 0] / (np.pi * r**3)
    met = walk(slit, leg, at, to)
    wall = (met.edge >= 0) & (met.edge != slit.passage.inner) & (facing[leg] > 0.0)
    weights = np.where(wall, weights / part, 0.0).reshape(groups, -1) / (len(b) // groups)
    directions = slit.turned_back(leg, to / r[:, None]).reshape(groups, -1, 3)
    along = slit.unrolled(0.0, met.leg, met.c)
    leg = met.leg.reshape(weights.shape)
    strip = slit.strips.number(np.where(wall, met.edge, 0), met.share)
    return Lines(directions, weights, leg), strip, along


def slopes(
    lines: np.ndarray, depth: float, a: np.ndarray, b: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Least and greatest slope of the straight lines through points; none: inf and -inf.

    `lines` (corners, 2) as `passage.lines_through` tells them, `depth` (m) between the openings,
    `a` and `b` (points,) m, outwards and across.
    """
    low, high = np.full(len(a), np.inf), np.full(len(a), -np.inf)
    share = a / depth
    rise = (lines[:, 1] - lines[:, 0]) / depth
    over = lines[:, :1] * (1.0 - share) + lines[:, 1:] * share - b  # corners, points
    for k in range(len(lines)):
        crossed = (over[k - 1] < 0.0) != (over[k] < 0.0)
        part = over[k - 1] / np.where(crossed, over[k - 1] - over[k], 1.0)
        slope = rise[k - 1] + part * (rise[k] - rise[k - 1])
        low = np.where(crossed, np.minimum(low, slope), low)
        high = np.where(crossed, np.maximum(high, slope), high)
    return low, high
