"""A gap of the scene in space, lines that look into it, and what they meet in it."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from raysim.scene.build import BuiltScene
from raysim.scene.check.gaps import wall_face
from raysim.scene.file.written import Gap
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
ACROSS, ALONG = 7, 5  # places of the eye that are tried


@dataclass(frozen=True)
class Slit:
    """A gap in space: middle of the inner opening, axes along, sideways and outwards, sizes (m)."""

    gap: Gap
    middle: np.ndarray
    along: np.ndarray
    sideways: np.ndarray
    outwards: np.ndarray
    length: float
    strips: Strips
    reply: np.ndarray  # (strips, strips), see `passage.wall_reply`

    @property
    def passage(self) -> Passage:
        """Cross-section (definition)."""
        return self.strips.passage

    @cached_property
    def lines(self) -> tuple[np.ndarray, np.ndarray]:
        """Straight lines that lead through, in the cross-section and along (`lines_through`)."""
        half = 0.5 * self.length
        square = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
        return lines_through(self.passage), square

    @property
    def seen_through(self) -> bool:
        """Whether any straight line leads through."""
        return len(self.lines[0]) > 0

    def windows(self, eyes: np.ndarray) -> np.ndarray:
        """What eyes (eyes, 3; a, b, c) see through the gap, (eyes, 4): from and to m, n.

        Slopes sideways and along, see `picture`; from inf to -inf where they see nothing.
        """
        depth = self.gap.depth
        m = slopes(self.lines[0], depth, eyes[:, 0], eyes[:, 1])
        return np.stack([*m, *slopes(self.lines[1], depth, eyes[:, 0], eyes[:, 2])], axis=1)

    @property
    def axes(self) -> np.ndarray:
        """Rows: outwards, sideways, along (definition)."""
        return np.stack([self.outwards, self.sideways, self.along])

    def just_inside(self, eyes: np.ndarray, directions: np.ndarray) -> np.ndarray:
        """Points (lines, 3), m, where lines come out of the gap into the chamber.

        `eyes` and `directions` (lines, 3) in coordinates of the gap.
        """
        gone = (INSIDE - eyes[:, 0]) / directions[:, 0]
        return self.point(*(eyes + gone[:, None] * directions).T)

    def local(self, points: np.ndarray) -> np.ndarray:
        """Coordinates a, b, c (m) of points (..., 3)."""
        return np.asarray((points - self.middle) @ self.axes.T)

    def point(self, a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
        """Points (n, 3), m, at a outwards, b sideways, c along."""
        return self.middle + np.stack([a, b, c], axis=-1) @ self.axes


def slit_of(scene: BuiltScene, gap: Gap, key: str) -> Slit:
    """A gap of the scene in space; one that is not on its wall is a SceneError."""
    triangles = scene.triangles
    nearest = wall_face(scene, gap, key)
    start, end = np.array(gap.start), np.array(gap.end)
    middle = 0.5 * (start + end)
    outwards = -triangles.normals[nearest]
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    surface = triangles.surfaces[triangles.parts[triangles.face_part[nearest]].surface]
    rho = surface.reflectance_high if gap.reflectance is None else gap.reflectance
    passage = (
        straight(gap.width, gap.depth)
        if gap.step is None
        else two_bends(gap.width, gap.depth, gap.step)
    )
    strips = cut(passage)
    return Slit(
        gap,
        middle,
        along,
        np.cross(along, outwards),
        outwards,
        length,
        strips,
        wall_reply(strips, rho),
    )


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


def eye_places(slit: Slit) -> np.ndarray:
    """Places of an eye that are tried, (places, 3), m: grids at the distance of the gap.

    In coordinates of the gap: one over all places from which lines lead through, and one where only
    the walls of a gap with bends are seen. Light from the walls of box and gap changes slowly from
    one place to the next; for lamps see `brightest`.
    """
    gap, lines, across = slit.gap, slit.lines[0], []
    if slit.seen_through:
        there = lines[:, 0] + (lines[:, 1] - lines[:, 0]) * (1.0 + gap.distance / gap.depth)
        inner = (np.arange(ACROSS) + 1.0) / (ACROSS + 1.0)
        across.append(there.min() + np.ptp(there) * inner)
    if gap.step is not None:
        across.append(gap.step + np.linspace(-1.0, 1.0, ACROSS) * gap.distance)
    along = np.linspace(-0.5, 0.5, ALONG) * (slit.length + gap.distance)
    b, c = (grid.ravel() for grid in np.meshgrid(np.concatenate(across), along))
    return np.stack([np.full(len(b), gap.depth + gap.distance), b, c], axis=1)
