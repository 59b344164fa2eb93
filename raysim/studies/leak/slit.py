"""A gap of the scene in space: straight legs, one after the other, each with the same passage.

Every leg has coordinates of its own (m): a outwards from the inside of the wall, b sideways, c
along the leg, zero in the middle. Where the line of the gap bends, two legs meet in the plane that
halves the bend, and a and b go on. The coordinates *of the gap* are those of its first leg.
*Unrolled* ones are a, b and the way along the whole gap, zero in the middle.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from raysim.scene.build import BuiltScene
from raysim.scene.check.gaps import seam_of
from raysim.scene.file.seams import Gap
from raysim.scene.seam import Seam
from raysim.studies.leak.passage import (
    Passage,
    Strips,
    cut,
    lines_through,
    straight,
    two_bends,
    wall_reply,
)

INSIDE = -1e-6  # m: lines of sight start this far inside the wall
NO_LEG = -1


@dataclass(frozen=True)
class Slit:
    """A gap in space, n legs.

    `middles` (n, 3) of the inner openings and `axes` (n, 3, 3), rows outwards, sideways, along, in
    coordinates of the scene. A leg lies between two `ends` (n, 2, 3), planes c = e0 + e1 a + e2 b;
    beyond them comes leg `beyond` (n, 2), or none. `reply` (strips, strips) is that of
    `passage.wall_reply`.
    """

    gap: Gap
    middles: np.ndarray
    axes: np.ndarray
    ends: np.ndarray
    beyond: np.ndarray
    strips: Strips
    reply: np.ndarray

    @property
    def passage(self) -> Passage:
        """Cross-section (definition)."""
        return self.strips.passage

    @cached_property
    def lines(self) -> np.ndarray:
        """Straight lines that lead through the cross-section (`lines_through`)."""
        return lines_through(self.passage)

    @property
    def seen_through(self) -> bool:
        """Whether any straight line leads through."""
        return len(self.lines) > 0

    @property
    def closed(self) -> bool:
        """Whether the gap comes back to where it begins."""
        return bool((self.beyond != NO_LEG).all())

    def spans(self, a: float, b: float = 0.0) -> np.ndarray:
        """Where legs begin and end at a, b (m): (n, 2), m, the second never before the first."""
        spans = self.ends @ np.array([1.0, a, b])
        spans[:, 1] = spans.max(axis=1)
        return np.asarray(spans)

    def length(self, a: float = 0.0) -> float:
        """Length (m) of the gap at a (m)."""
        return float(np.ptp(self.spans(a), axis=1).sum())

    def rolled(self, a: float, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Leg and c (m) of places at a (m), s (places,) along the gap, m."""
        spans = self.spans(a)
        half, last = 0.5 * self.length(a), np.cumsum(np.ptp(spans, axis=1))
        if self.closed:
            s = (s + half) % (2.0 * half) - half
        leg = np.searchsorted(last[:-1], s + half, side="right")
        return leg, s - self._shifts(a)[leg]

    def unrolled(self, a: float, leg: np.ndarray, c: np.ndarray) -> np.ndarray:
        """The way along the gap (m) of places at a (m), c (m) of legs."""
        return np.asarray(c + self._shifts(a)[leg])

    def _shifts(self, a: float) -> np.ndarray:
        """The way along the gap less c, for each leg."""
        spans = self.spans(a)
        before = np.cumsum(np.ptp(spans, axis=1)) - np.ptp(spans, axis=1)
        return np.asarray(before - 0.5 * self.length(a) - spans[:, 0])

    @cached_property
    def turns(self) -> np.ndarray:
        """Axes of all legs in coordinates of the gap, (n, 3, 3)."""
        turns = self.axes @ self.axes[0].T
        turns[0] = np.eye(3)
        return np.asarray(turns)

    @cached_property
    def places(self) -> np.ndarray:
        """Middles of all legs in coordinates of the gap, (n, 3), m."""
        return np.asarray((self.middles - self.middles[0]) @ self.axes[0].T)

    def placed(self, unrolled: np.ndarray) -> np.ndarray:
        """Coordinates of the gap of points (n, 3), m, all at the same a, given unrolled."""
        leg, c = self.rolled(float(unrolled[0, 0]), unrolled[:, 2])
        own = np.stack([unrolled[:, 0], unrolled[:, 1], c], axis=1)
        return self.places[leg] + (own[:, None] @ self.turns[leg])[:, 0]

    def to_legs(self, leg: np.ndarray, points: np.ndarray) -> np.ndarray:
        """Coordinates of legs (n,) of points (n, 3) in coordinates of the gap, m."""
        return self.turned(leg, points - self.places[leg])

    def turned(self, leg: np.ndarray, vectors: np.ndarray) -> np.ndarray:
        """Vectors (n, 3) of the gap in coordinates of legs (n,)."""
        return np.asarray((self.turns[leg] @ vectors[..., None])[..., 0])

    def turned_back(self, leg: np.ndarray, vectors: np.ndarray) -> np.ndarray:
        """Vectors (n, 3) of legs (n,) in coordinates of the gap."""
        return np.asarray((vectors[:, None] @ self.turns[leg])[:, 0])

    def within(self, leg: np.ndarray, at: np.ndarray) -> np.ndarray:
        """How far (m) points (n, 3) of legs lie within their two ends, (n, 2)."""
        of_legs = self.ends[leg]
        c = of_legs[..., 0] + of_legs[..., 1] * at[:, :1] + of_legs[..., 2] * at[:, 1:2]
        return np.asarray((at[:, 2:] - c) * [1.0, -1.0])

    def just_inside(self, leg: np.ndarray, eyes: np.ndarray, directions: np.ndarray) -> np.ndarray:
        """Points (n, 3), m, where lines come out of legs (n,) into the chamber.

        `eyes` and `directions` (n, 3) in coordinates of the gap.
        """
        outwards = self.turns[leg, 0]
        a = ((eyes - self.places[leg]) * outwards).sum(axis=1)
        gone = (INSIDE - a) / (directions * outwards).sum(axis=1)
        return self.point(*(eyes + gone[:, None] * directions).T)

    def local(self, points: np.ndarray) -> np.ndarray:
        """Coordinates of the gap, m, of points (..., 3)."""
        return np.asarray((points - self.middles[0]) @ self.axes[0].T)

    def point(self, a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
        """Points (n, 3), m, from coordinates of the gap."""
        return np.asarray(self.middles[0] + np.stack([a, b, c], axis=-1) @ self.axes[0])

    @property
    def outwards(self) -> np.ndarray:
        """Outward normal of the wall under the first leg, (3,) (definition)."""
        return np.asarray(self.axes[0, 0])


def slit_of(scene: BuiltScene, gap: Gap, key: str) -> Slit:
    """A gap of the scene in space; one that is not on its wall is a SceneError."""
    triangles, seam = scene.triangles, seam_of(scene, gap, key)
    rho = gap.reflectance
    if rho is None:  # of the brightest wall that it goes through
        parts = {int(triangles.face_part[leg.face]) for leg in seam.legs}
        surfaces = [triangles.surfaces[triangles.parts[part].surface] for part in parts]
        rho = max(surface.reflectance_high for surface in surfaces)
    passage = (
        straight(gap.width, gap.depth)
        if gap.step is None
        else two_bends(gap.width, gap.depth, gap.step)
    )
    strips = cut(passage)
    middles = np.array([0.5 * (leg.start + leg.end) for leg in seam.legs])
    return Slit(gap, middles, *_joined(seam, triangles.normals), strips, wall_reply(strips, rho))


def _joined(seam: Seam, normals: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Axes, ends and neighbours of the legs of a seam, see `Slit`.

    Two legs meet in the plane through their common end, at right angles to the sum of their ways.
    """
    count = len(seam.legs)
    along = np.array([(leg.end - leg.start) / leg.length for leg in seam.legs])
    outwards = np.array([-normals[leg.face] for leg in seam.legs])
    axes = np.stack([outwards, np.cross(along, outwards), along], axis=1)
    half = 0.5 * np.array([leg.length for leg in seam.legs])
    ends, beyond = np.zeros((count, 2, 3)), np.full((count, 2), NO_LEG)
    ends[:, :, 0] = half[:, None] * [-1.0, 1.0]
    for k in range(count if seam.closed else count - 1):
        other = (k + 1) % count
        across = along[k] + along[other]
        for leg, side, neighbour in ((k, 1, other), (other, 0, k)):
            a, b, c = axes[leg] @ across
            ends[leg, side, 1:] = -a / c, -b / c
            beyond[leg, side] = neighbour
    return axes, ends, beyond
