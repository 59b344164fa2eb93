"""The line in which a plane meets the walls of a chamber: straight pieces, one for each facet."""

from dataclasses import dataclass

import numpy as np

JOINED = 1e-6  # m: ends of pieces closer than this are one point
FLAT = 1.0 - 1e-9  # cosine: facets that bend less are one


@dataclass(frozen=True)
class Leg:
    """A straight piece of the middle line of a gap: its ends (3,), m, and the face under it."""

    start: np.ndarray
    end: np.ndarray
    face: int

    @property
    def length(self) -> float:
        """From end to end, m (definition)."""
        return float(np.linalg.norm(self.end - self.start))


@dataclass(frozen=True)
class Seam:
    """The middle line of a gap on the inside of the wall; `closed` where it comes back."""

    legs: tuple[Leg, ...]
    closed: bool = False

    def between(self, start: np.ndarray, end: np.ndarray) -> "Seam":
        """The part from the point next to `start` to that next to `end`, both (3,), m."""
        first, at_first = self._nearest(start)
        last, at_last = self._nearest(end)
        count = last - first
        if count < 0 or (count == 0 and (at_last - at_first) @ _way(self.legs[first]) < 0.0):
            count += len(self.legs)
        if not self.closed and first + count >= len(self.legs):
            return Seam(())
        legs = [self.legs[(first + k) % len(self.legs)] for k in range(count + 1)]
        legs[0] = Leg(at_first, legs[0].end, legs[0].face)
        legs[-1] = Leg(legs[-1].start, at_last, legs[-1].face)
        return Seam(tuple(leg for leg in legs if leg.length > JOINED))

    def _nearest(self, place: np.ndarray) -> tuple[int, np.ndarray]:
        """Leg next to a place (3,), and the point on it."""
        points = []
        for leg in self.legs:
            way = leg.end - leg.start
            share = np.clip((place - leg.start) @ way / (way @ way), 0.0, 1.0)
            points.append(leg.start + share * way)
        nearest = int(np.linalg.norm(np.array(points) - place, axis=1).argmin())
        return nearest, points[nearest]


def plane_cuts(
    corners: np.ndarray, normals: np.ndarray, place: np.ndarray, across: np.ndarray
) -> list[Seam]:
    """Lines in which a plane meets faces, each from end to end.

    Seen from outside, with `across` upwards, they run to the left. A corner that lies in the plane
    counts as above it; so a plane that just touches a level rim runs along it, below.

    Parameters
    ----------
    corners, normals : (faces, 3, 3), (faces, 3)
        m; normals into the chamber.
    place, across : (3,)
        A point of the plane (m), and its unit normal.

    Source: definition.
    """
    faces, starts, ends = _pieces(corners, normals, place, across)
    seams = []
    for numbers, closed in _chains(starts, ends):
        legs = [Leg(starts[k], ends[k], int(faces[k])) for k in numbers]
        seams.append(Seam(tuple(_merged(legs, normals, closed)), closed))
    return seams


def _pieces(
    corners: np.ndarray, normals: np.ndarray, place: np.ndarray, across: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Faces that are cut, and the ends (pieces, 3) of the cut through each."""
    height = (corners - place) @ across
    height[np.abs(height) < JOINED] = 0.0
    above = height >= 0.0
    faces = np.flatnonzero(above.any(axis=1) & ~above.all(axis=1))
    above, height = above[faces], height[faces]
    lone = np.where(above.sum(axis=1) == 1, above.argmax(axis=1), above.argmin(axis=1))
    rows, found = np.arange(len(faces)), []
    for turn in (1, 2):
        other = (lone + turn) % 3
        h, k = height[rows, lone], height[rows, other]
        p, q = corners[faces, lone], corners[faces, other]
        found.append(p + (h / (h - k))[:, None] * (q - p))
    start, end = found
    left = np.cross(-normals[faces], across)
    back = ((end - start) * left).sum(axis=1) < 0.0
    start[back], end[back] = end[back], start[back].copy()
    long = np.linalg.norm(end - start, axis=1) > JOINED
    return faces[long], start[long], end[long]


def _chains(starts: np.ndarray, ends: np.ndarray) -> list[tuple[list[int], bool]]:
    """Numbers of the pieces of each line, in order, and whether it is closed."""
    from scipy.spatial import cKDTree

    if not len(starts):
        return []
    near, following = cKDTree(starts).query(ends, distance_upper_bound=2.0 * JOINED)
    after = {k: int(n) for k, (n, d) in enumerate(zip(following, near, strict=True)) if d < np.inf}
    heads = [k for k in range(len(starts)) if k not in set(after.values())]
    chains, seen = [], set[int]()
    for first in [*heads, *range(len(starts))]:
        chain, k = [], first
        while k not in seen:
            seen.add(k)
            chain.append(k)
            k = after.get(k, first)
        if chain:
            chains.append((chain, after.get(chain[-1]) == first))
    return chains


def _merged(legs: list[Leg], normals: np.ndarray, closed: bool) -> list[Leg]:
    """Legs that go straight on over one flat facet, taken together."""

    def straight(a: Leg, b: Leg) -> bool:
        bend = min(normals[a.face] @ normals[b.face], _way(a) @ _way(b))
        return bool(bend > FLAT)

    if closed:  # begin where it bends
        bends = [k for k in range(len(legs)) if not straight(legs[k - 1], legs[k])]
        first = bends[0] if bends else 0
        legs = legs[first:] + legs[:first]
    merged = legs[:1]
    for leg in legs[1:]:
        if straight(merged[-1], leg):
            merged[-1] = Leg(merged[-1].start, leg.end, merged[-1].face)
        else:
            merged.append(leg)
    return merged


def _way(leg: Leg) -> np.ndarray:
    """Unit vector from start to end, (3,)."""
    return np.asarray((leg.end - leg.start) / max(leg.length, 1e-300))
