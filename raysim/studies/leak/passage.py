"""Light in the cross-section of a long slit: straight, or with two bends.

The slit is long against its width, so its walls are endless strips: what leaves one strip lands
on the others after Lambert's law in the plane of the cross-section, and the equations of
radiosity of the strips are solved exactly. Coordinates (m): a from the inside of the wall to the
outside, b sideways, zero in the middle of the inner opening.

Source: radiosity of strips in two dimensions, e.g. Siegel and Howell, "Thermal Radiation Heat
Transfer", chapters on diffuse enclosures and on configuration factors of long strips.
"""

from dataclasses import dataclass

import numpy as np

from raysim.scene.rabbet import step_too_small

POINTS, ANGLES = 8, 2000  # per strip: where rays start, and in how many directions
STRIPS_PER_WIDTH = 4
MOST_STRIPS = 60  # of one wall


@dataclass(frozen=True)
class Passage:
    """Cross-section of a slit as a polygon, counter-clockwise seen with a to the right, b up.

    `corners` (edges, 2), m; edge k runs from corner k to the next. Edges `inner` and `outer` are
    the openings, the others walls. Turned half round it is the same, edge k where n / 2 + k was.
    """

    corners: np.ndarray
    inner: int
    outer: int

    @property
    def ends(self) -> np.ndarray:
        """Second corner of each edge, (edges, 2), m (definition)."""
        return np.roll(self.corners, -1, axis=0)


def straight(width: float, depth: float) -> Passage:
    """Passage of a plain slit (m)."""
    h = 0.5 * width
    return Passage(np.array([[0.0, -h], [depth, -h], [depth, h], [0.0, h]]), 3, 1)


def two_bends(width: float, depth: float, step: float) -> Passage:
    """Passage that goes half the depth, `step` sideways (middle to middle), and on (m)."""
    h, c = 0.5 * width, 0.5 * depth
    corners = [
        [0.0, -h],
        [c + h, -h],
        [c + h, step - h],
        [depth, step - h],
        [depth, step + h],
        [c - h, step + h],
        [c - h, h],
        [0.0, h],
    ]
    if step < width:
        raise ValueError(step_too_small(width, depth))
    return Passage(np.array(corners), 7, 3)


def lines_through(passage: Passage) -> np.ndarray:
    """Straight lines that lead through a passage, (corners, 2), m; no corners where there is none.

    A line is told by its sideways places on the inner and on the outer opening. It keeps clear of
    the walls where it runs above each corner of the lower wall and below each of the upper one.
    Each of these cuts the plane of the two places along a straight line, so what is left is a
    convex polygon, and these are its corners. Walls must not turn back on themselves.

    Source: definition; clipping of convex polygons, Sutherland and Hodgman 1974 (from memory).

    >>> len(lines_through(straight(0.002, 0.02)))
    4
    >>> [len(lines_through(two_bends(0.004, 0.02, step))) > 0 for step in (0.0059, 0.0061)]
    [True, False]
    """
    corners, number = passage.corners, len(passage.corners)
    ordered = np.roll(corners, -passage.inner - 1, axis=0)
    side = np.where(np.arange(number) < (passage.outer - passage.inner) % number, 1.0, -1.0)
    low, high = corners[:, 1].min(), corners[:, 1].max()
    found = np.array([[low, low], [high, low], [high, high], [low, high]])
    for (a, b), sign in zip(ordered, side, strict=True):
        share = a / corners[:, 0].max()
        found = _cut_off(found, sign * (found @ np.array([1.0 - share, share]) - b))
    return found


def _cut_off(corners: np.ndarray, over: np.ndarray) -> np.ndarray:
    """The part of a convex polygon where a linear function, `over` (corners,), is above zero."""
    kept = []
    for k, (here, value) in enumerate(zip(corners, over, strict=True)):
        before, other = corners[k - 1], over[k - 1]
        if (value > 0.0) != (other > 0.0):
            kept.append(before + other / (other - value) * (here - before))
        if value > 0.0:
            kept.append(here)
    return np.array(kept).reshape(-1, 2)


def next_wall(
    passage: Passage, points: np.ndarray, directions: np.ndarray, skip: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Edge that each ray in the plane meets, and how far along that edge (0 to 1).

    Parameters
    ----------
    points, directions : (rays, 2) float64
        m, and any length.
    skip : (rays,) int
        Edge that each ray starts on.
    """
    best = np.full(len(points), np.inf)
    edge = np.full(len(points), -1)
    along = np.zeros(len(points))
    for k, (p, q) in enumerate(zip(passage.corners, passage.ends, strict=True)):
        side = q - p
        cross = directions[:, 0] * side[1] - directions[:, 1] * side[0]
        to = p - points
        with np.errstate(divide="ignore", invalid="ignore"):
            distance = (to[:, 0] * side[1] - to[:, 1] * side[0]) / cross
            share = (to[:, 0] * directions[:, 1] - to[:, 1] * directions[:, 0]) / cross
        hit = (skip != k) & (distance > 0.0) & (distance < best) & (share >= 0.0) & (share <= 1.0)
        best[hit], edge[hit], along[hit] = distance[hit], k, share[hit]
    return edge, along


@dataclass(frozen=True)
class Strips:
    """Edges of a passage cut into strips; strips of edge k are first[k] up to first[k + 1]."""

    passage: Passage
    first: np.ndarray  # (edges + 1,) int64

    def number(self, edge: np.ndarray, along: np.ndarray) -> np.ndarray:
        """Strip at places `along` (0 to 1) of edges."""
        count = np.diff(self.first)[edge]
        return self.first[edge] + np.minimum((along * count).astype(int), count - 1)

    @property
    def sizes(self) -> np.ndarray:
        """Width of each strip, (strips,), m (definition)."""
        lengths = np.linalg.norm(self.passage.ends - self.passage.corners, axis=1)
        count = np.diff(self.first)
        return np.repeat(lengths / count, count)


def cut(passage: Passage) -> Strips:
    """Strips about a quarter of the width of the inner opening wide; few on long walls."""
    lengths = np.linalg.norm(passage.ends - passage.corners, axis=1)
    size = lengths[passage.inner] / STRIPS_PER_WIDTH
    count = np.clip(np.ceil(lengths / size - 1e-9), 1, MOST_STRIPS).astype(int)
    return Strips(passage, np.concatenate([[0], np.cumsum(count)]))


def view_factors(strips: Strips) -> np.ndarray:
    """Share of the light that leaves each strip and lands on each other, (strips, strips).

    Midpoint rule over starting points and over the sine of the angle, in which Lambert's law in
    the plane is uniform. Rows add up to one: the passage with its openings is closed. Half of the
    edges tell of the others.

    Source: configuration factor of long strips, dF = d(sin angle) / 2, Siegel and Howell.
    """
    passage, total = strips.passage, int(strips.first[-1])
    sine = (np.arange(ANGLES) + 0.5) * 2.0 / ANGLES - 1.0
    cosine = np.sqrt(1.0 - sine**2)
    factors = np.zeros((total, total))
    half = len(passage.corners) // 2
    for edge, (p, q) in enumerate(zip(passage.corners[:half], passage.ends[:half], strict=True)):
        along = (q - p) / np.linalg.norm(q - p)
        inward = np.array([-along[1], along[0]])  # counter-clockwise: the inside is on the left
        directions = sine[:, None] * along + cosine[:, None] * inward
        count = int(strips.first[edge + 1] - strips.first[edge])
        for strip in range(count):
            shares = (strip + (np.arange(POINTS) + 0.5) / POINTS) / count
            points = np.repeat(p + shares[:, None] * (q - p), ANGLES, axis=0)
            skip = np.full(len(points), edge)
            hit, where = next_wall(passage, points, np.tile(directions, (POINTS, 1)), skip)
            seen = hit >= 0  # a ray into a corner can slip between two edges
            landed = strips.number(hit[seen], where[seen])
            share = np.bincount(landed, minlength=total) / seen.sum()
            factors[strips.first[edge] + strip] = share
    factors[total // 2 :] = np.roll(factors[: total // 2], total // 2, axis=1)
    return factors


def wall_reply(strips: Strips, reflectance: float) -> np.ndarray:
    """Radiosity of each strip per irradiance that comes to each from outside, (strips, strips).

    B = rho (E + F B) on walls, so B = (1 - rho F)^-1 rho E; openings send nothing back.

    Source: radiosity equations, Siegel and Howell.
    """
    passage, total = strips.passage, int(strips.first[-1])
    rho = np.full(total, reflectance)
    for edge in (passage.inner, passage.outer):
        rho[strips.first[edge] : strips.first[edge + 1]] = 0.0
    return np.linalg.solve(np.eye(total) - rho[:, None] * view_factors(strips), np.diag(rho))


def wall_radiosity(strips: Strips, reflectance: float) -> np.ndarray:
    """Radiosity of each strip for one W/m2 of diffuse light through the inner opening, (strips,).

    Source: `wall_reply`, with the irradiance from an opening that shines evenly.
    """
    inner = slice(strips.first[strips.passage.inner], strips.first[strips.passage.inner + 1])
    radiosity = wall_reply(strips, reflectance) @ view_factors(strips)[:, inner].sum(axis=1)
    radiosity[inner] = 1.0
    return radiosity
