"""Stray light of bare tubes at eyes all over a plane, by brute force and apart from the package.

An eye looks through a gap into a box whose walls are black or mirrors. A direction gets through
where it passes the narrowest places of the gap, one after the other; those that do are followed
from wall to wall of the box until they meet a tube:

    E = M / pi  int over the seen part of the tubes of  (mirrored share) d(omega)   (as a vector)

Coordinates (m): a outwards from the inside of the wall, b across the gap, c along it.

Source: definition of the view factor; reflection in plane mirrors.
"""

from dataclasses import dataclass

import numpy as np

FAINT, COARSE = 2e-3, 0.03  # a line is followed until less than this share of its light is left


@dataclass(frozen=True)
class BruteBox:
    """A box, a gap in its wall at a = 0, and tubes, all in coordinates of the gap.

    `low`, `high` (3,) corners of the box, whose walls mirror the share `mirrored`; `tubes` (n, 8):
    start, end, radius, exitance. `gates` (n, 3): at a the gap is open from b to b. `length`,
    `depth` of the gap.
    """

    low: np.ndarray
    high: np.ndarray
    mirrored: float
    tubes: np.ndarray
    gates: np.ndarray
    length: float
    depth: float


def gates(width, depth, step=None):
    """Places where a slit, or one with two bends, is narrowest: (n, 3) a, from b, to b."""
    h, half = 0.5 * width, 0.5 * depth
    if step is None:
        return np.array([[0.0, -h, h], [depth, -h, h]])
    first, last = [-h, h], [step - h, step + h]
    return np.array([[0.0, *first], [half - h, *first], [half + h, *last], [depth, *last]])


def open_slopes(gates, a, b):
    """Least and greatest slope db/da of lines through (a, b) that get through all gates."""
    place, low, high = gates.T
    return ((b - high) / (a - place)).max(), ((b - low) / (a - place)).min()


def _first_tube(x, d, tubes):
    """Distance to the tube that lines (x, d) meet first, inf for none, and what shines there."""
    best, shine = np.full(len(x), np.inf), np.zeros(len(x))
    for tube in tubes:
        start, radius = tube[:3], tube[6]
        length = np.linalg.norm(tube[3:6] - start)
        axis = (tube[3:6] - start) / length
        along, gone = d @ axis, (x - start) @ axis
        p, q = x - start - gone[:, None] * axis, d - along[:, None] * axis
        a, b, c = (q * q).sum(axis=1), (q * p).sum(axis=1), (p * p).sum(axis=1) - radius**2
        with np.errstate(divide="ignore", invalid="ignore"):
            mantle = (-b - np.sqrt(b * b - a * c)) / a
            end = (np.where(along > 0.0, 0.0, length) - gone) / along  # a dark disc
            off = ((p + end[:, None] * q) ** 2).sum(axis=1)
            z = gone + mantle * along
            on_end = (end > 0.0) & (end < best) & (off < radius**2)
            on = (mantle > 0.0) & (mantle < best) & (z > 0.0) & (z < length)
        best[on_end], shine[on_end] = end[on_end], 0.0
        best[on], shine[on] = mantle[on], tube[7]
    return best, shine


def _brought(box, x, d, faint):
    """M times the mirrored share of what lines meet in the end that start at x along d."""
    brought, carried, alive = np.zeros(len(x)), 1.0, np.arange(len(x))
    while carried > faint and len(alive):
        distance, shine = _first_tube(x, d, box.tubes)
        with np.errstate(divide="ignore"):
            walls = (np.where(d > 0.0, box.high, box.low) - x) / d
        walls[d == 0.0] = np.inf
        axis = walls.argmin(axis=1)
        rows = np.arange(len(x))
        to_wall = walls[rows, axis]
        lamp = distance < to_wall
        brought[alive[lamp]] = carried * shine[lamp]
        x = x + to_wall[:, None] * d
        x[rows, axis] = np.where(d[rows, axis] > 0.0, box.high[axis], box.low[axis])
        d[rows, axis] *= -1.0
        alive, x, d = alive[~lamp], x[~lamp], d[~lamp]
        carried *= box.mirrored
    return brought


def _light(box, eye, slopes, shifts, side, faint):
    """Vector of light (W/m2) at one eye by side[0] by side[1] lines."""
    a, b, c = eye
    (m0, m1), half, ends = slopes, 0.5 * box.length, (a, a - box.depth)
    n0, n1 = max((c - half) / end for end in ends), min((c + half) / end for end in ends)
    if m0 >= m1 or n0 >= n1:
        return np.zeros(3)
    j, k = (g.ravel() for g in np.meshgrid(*(np.arange(s) for s in side), indexing="ij"))
    angle = np.arctan(n0) + (np.arctan(n1) - np.arctan(n0)) * (k + shifts[:, 1]) / side[1]
    m, n = m0 + (m1 - m0) * (j + shifts[:, 0]) / side[0], np.tan(angle)
    d = np.stack([-np.ones(len(m)), -m, -n], axis=1)
    size = np.linalg.norm(d, axis=1)
    brought = _brought(box, eye + (a + 1e-9) * d, d / size[:, None], faint)
    area = (m1 - m0) * (np.arctan(n1) - np.arctan(n0)) / len(m) * (1.0 + n**2) / size**4
    return (brought * area) @ d / np.pi


def light(box, eyes, side=(48, 384), seed=0, faint=FAINT):
    """Irradiance (W/m2) at eyes (n, 3) that face the light, by side[0] by side[1] lines each."""
    shifts = np.random.default_rng(seed).random((side[0] * side[1], 2))
    slopes = {b: open_slopes(box.gates, eyes[0, 0], b) for b in np.unique(eyes[:, 1])}
    found = [_light(box, eye, slopes[eye[1]], shifts, side, faint) for eye in eyes]
    return np.linalg.norm(found, axis=1)


def _grid(a, b, c):
    b, c = (g.ravel() for g in np.meshgrid(b, c, indexing="ij"))
    return np.stack([np.full(len(b), a), b, c], axis=1)


def brightest(box, distance, number=(60, 40), coarse=(8, 96), tops=6, zooms=3):
    """The brightest eye (3,) at this distance, and its irradiance (W/m2) by lines of its own.

    A grid over all places from which lines get through, up to three distances aside of the ends of
    the gap; the best places of the grid are looked at more and more closely.
    """
    a = box.depth + distance
    reach = 1.5 * np.ptp(box.gates[:, 1:]) * (1.0 + distance / box.depth)
    tried = np.linspace(-reach, reach, 1001)
    step = tried[1] - tried[0]
    clear = tried[[low < high for low, high in (open_slopes(box.gates, a, b) for b in tried)]]
    if not len(clear):
        return np.array([a, 0.0, 0.0]), 0.0
    b = clear.min() - step, clear.max() + step
    c = 0.5 * box.length + distance * min(box.length / box.depth, 3.0)
    # Through a short gap a tube is seen from few places, and in few lines.
    finer = int(np.clip(4.0 * c / box.length / number[1], 1, 6))
    number, coarse = (number[0], number[1] * finer), (coarse[0], max(coarse[1] // finer, 8))
    size = np.array([(b[1] - b[0]) / number[0], 2.0 * c / number[1]])
    middles = [(np.arange(n) + 0.5) / n for n in number]
    eyes = _grid(a, b[0] + (b[1] - b[0]) * middles[0], c * (2.0 * middles[1] - 1.0))
    found = light(box, eyes, coarse, faint=COARSE)
    order = np.argsort(-found, kind="stable")[:tops]
    best, most = eyes[order[0]], 0.0
    offsets = np.linspace(-1.0, 1.0, 5)
    for start in order[found[order] > 0.0]:
        eye, near = eyes[start], size.copy()
        for _ in range(zooms):
            around = _grid(a, eye[1] + near[0] * offsets, eye[2] + near[1] * offsets)
            side = (2 * coarse[0], 2 * coarse[1])
            eye = around[light(box, around, side, faint=COARSE).argmax()]
            near *= 0.4
        value = light(box, eye[None], seed=1)[0]
        if value > most:
            best, most = eye, value
    return best, most
