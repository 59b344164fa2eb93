"""A gap of the scene in space, lines that look into it, and what they meet in it."""

from dataclasses import dataclass

import numpy as np

from raysim.base.errors import Fault, SceneError
from raysim.scene.build import BuiltScene
from raysim.scene.check.gaps import wall_face
from raysim.scene.file.written import Gap
from raysim.studies.leak.passage import (
    Passage,
    Strips,
    cut,
    next_wall,
    straight,
    two_bends,
    wall_reply,
)

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

    def point(self, a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
        """Points (n, 3), m, at a outwards, b sideways, c along."""
        axes = np.stack([self.outwards, self.sideways, self.along])
        return self.middle + np.stack([a, b, c], axis=-1) @ axes


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


def scene_fault(scene: BuiltScene, key: str, what: str, mend: str) -> SceneError:
    """One fault of a scene as an error."""
    return SceneError([Fault(str(scene.path), key, what, mend)])


def eye_places(slit: Slit) -> np.ndarray:
    """Places of an eye that are tried, (places, 3), m: a grid at the distance of the gap."""
    gap = slit.gap
    middle = slit.passage.corners[[slit.passage.outer, slit.passage.outer + 1], 1].mean()
    tilt = min(gap.width / gap.depth, 1.0) if gap.step is None else 1.0
    across = middle + np.linspace(-1.0, 1.0, ACROSS) * tilt * gap.distance
    along = np.linspace(-0.5, 0.5, ALONG) * (slit.length + gap.distance)
    b, c = (grid.ravel() for grid in np.meshgrid(across, along))
    return slit.point(np.full(len(b), gap.depth + gap.distance), b, c)


def aimed_lines(
    slit: Slit, eye: np.ndarray, groups: int, lines: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Lines from an eye to points of the outer opening, in `groups` stratified sets.

    Returns sideways and along places (m) of the points, weights and directions. The mean of
    weight times (pi L) over a set is the irradiance of an eye that faces the middle of the gap:

        E = int L cos_eye cos_opening / r^2 dA

    Source: definition of irradiance by radiance.
    """
    corners = slit.passage.corners
    low, high = sorted(corners[[slit.passage.outer, slit.passage.outer + 1], 1])
    side = int(np.sqrt(lines))
    u, v = (g.ravel() for g in np.meshgrid(np.arange(side), np.arange(lines // side)))
    u, v = np.tile(u, groups), np.tile(v, groups)
    b = low + (high - low) * (u + rng.random(len(u))) / side
    c, density = _along(slit, eye, 0.5 * (low + high), (v + rng.random(len(v))) / (lines // side))
    to = slit.point(np.full(len(b), slit.gap.depth), b, c) - eye
    r = np.linalg.norm(to, axis=1)
    directions = to / r[:, None]
    facing = slit.point(np.array(slit.gap.depth), np.array(0.5 * (low + high)), np.array(0.0)) - eye
    facing = facing / np.linalg.norm(facing)
    cosines = (directions @ facing).clip(0.0) * (-(directions @ slit.outwards)).clip(0.0)
    return b, c, (high - low) * cosines / (density * np.pi * r**2), directions


def _along(
    slit: Slit, eye: np.ndarray, sideways: float, share: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Places (m) along the outer opening, even in the angle seen from the eye, and their density.

    `share` (lines,) is uniform, 0 to 1; densities in 1/m. An eye close before a long slit gets
    nearly all its light from the piece before it.
    """
    seen = (eye - slit.middle) @ np.stack([slit.outwards, slit.sideways, slit.along], axis=1)
    off = float(np.hypot(seen[0] - slit.gap.depth, seen[1] - sideways))
    first, last = (np.arctan((end * slit.length - seen[2]) / off) for end in (-0.5, 0.5))
    angle = first + share * (last - first)
    return seen[2] + off * np.tan(angle), np.cos(angle) ** 2 / (off * (last - first))


def through(
    slit: Slit, eye: np.ndarray, b: np.ndarray, c: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Edge of the passage that lines from an eye meet behind the outer opening.

    Returns the edge, the place along it (0 to 1), the sideways place (m) where it is the inner
    opening, and the place along the slit (m).
    """
    seen = (eye - slit.middle) @ np.stack([slit.outwards, slit.sideways, slit.along], axis=1)
    start = np.stack([np.full(len(b), slit.gap.depth), b], axis=1)
    step = start - seen[:2]
    hit, share = next_wall(slit.passage, start, step, np.full(len(b), slit.passage.outer))
    p, q = slit.passage.corners[hit], slit.passage.ends[hit]
    place = p + share[:, None] * (q - p)
    gone = np.linalg.norm(place - start, axis=1) / np.linalg.norm(step, axis=1)
    return hit, share, place[:, 1], c + gone * (c - seen[2])
