"""What a dark patch sees of the lamps, and what stands in between."""

from dataclasses import dataclass

import numpy as np

from raysim.base.figures import Figures
from raysim.scene.check.surroundings import Surroundings
from raysim.scene.triangles import LampTube, SceneTriangles
from raysim.studies.shadows.patches import CLEAR, DarkPatch, sample_points

POINTS = 48  # sampled on a patch
ALONG = 24  # sampled along each lamp tube
SHORT = 1e-6  # share by which a sight line ends before the tube
REACH = 0.02  # m: what lies nearer than this before a patch shuts out the light from its front
MUCH = 0.3  # of a patch
ITSELF_TURNED = "turned away from the lamp"


@dataclass(frozen=True)
class Sight(Figures):
    """What is seen of one lamp from a patch: shares of all sight lines, 0 to 1.

    `hidden` is by name of what is met first, lines from points turned away under
    `ITSELF_TURNED`.
    """

    lamp: str
    seen: float
    hidden: dict[str, float]


@dataclass(frozen=True)
class InFront(Figures):
    """What lies right before a patch, by name, and its least distance along the normal, m."""

    name: str
    distance: float


@dataclass(frozen=True)
class Thing:
    """What can hide a lamp, taken apart: body by number, part and wall by name, "" for none."""

    body: int
    part: str
    wall: str


class View:
    """What is seen from points all over a patch."""

    def __init__(self, triangles: SceneTriangles, patch: DarkPatch) -> None:
        self.triangles = triangles
        self.everything = Surroundings(triangles)
        points, self.normals = sample_points(triangles, patch, POINTS, 1)
        self.starts = points + CLEAR * self.normals
        names = [triangles.bodies[part.body].name for part in triangles.parts]
        own = [f", {part.name}" if part.name else "" for part in triangles.parts]
        self.names = np.array([body + part for body, part in zip(names, own, strict=True)])

    def things(self) -> dict[str, Thing]:
        """Everything but lamps that can hide one, by the names that `Sight` and `InFront` give."""
        bodies = self.triangles.bodies
        return {
            name: Thing(part.body, part.name, bodies[part.body].wall)
            for name, part in zip(self.names.tolist(), self.triangles.parts, strict=True)
        }

    def in_front(self) -> InFront | None:
        """What lies right before most of the points that have anything within `REACH`.

        None where less than `MUCH` of the patch has.
        """
        triangles = self.triangles
        hit = self.everything.first(self.starts, self.normals, np.full(len(self.starts), REACH))
        if (hit >= 0).mean() < MUCH:
            return None
        met = np.flatnonzero(hit >= 0)
        corner, normal = triangles.corners[hit[met], 0], triangles.normals[hit[met]]
        across = ((corner - self.starts[met]) * normal).sum(axis=1)
        distance = CLEAR + across / (self.normals[met] * normal).sum(axis=1)
        names = self.names[triangles.face_part[hit[met]]]
        kinds, count = np.unique(names, return_counts=True)
        name = str(kinds[count.argmax()])
        return InFront(name, float(distance[names == name].min()))

    def sights(self) -> tuple[Sight, ...]:
        """What the patch sees of each lamp, and which object hides how much of it.

        Sight lines go from points all over the patch to points along the near side of each tube.
        """
        return tuple(self._sight(lamp) for lamp in range(len(self.triangles.lamps)))

    def _sight(self, lamp: int) -> Sight:
        lamps = self.triangles.lamps
        starts, ends, facing = self._lines(lamp)
        way = ends - starts
        length = np.linalg.norm(way, axis=1)
        met = np.full(len(starts), "", object)
        for tube in self.triangles.tubes:
            if tube.lamp != lamp:
                met[_passes(tube, starts, ends)] = f"lamp {lamps[tube.lamp].name}"
        hit = self.everything.first(starts, way, length * (1.0 - SHORT))
        met[hit >= 0] = self.names[self.triangles.face_part[hit[hit >= 0]]]
        met[(way * facing).sum(axis=1) <= 0.0] = ITSELF_TURNED
        hidden: dict[str, float] = {}
        for name in met[met != ""].tolist():
            hidden[name] = hidden.get(name, 0.0) + 1.0 / len(starts)
        ordered = dict(sorted(hidden.items(), key=lambda item: -item[1]))
        return Sight(lamps[lamp].name, max(1.0 - sum(hidden.values()), 0.0), ordered)

    def _lines(self, lamp: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Starts, ends on the near side of the lamp's tubes, and normals, (lines, 3) each."""
        steps = (np.arange(ALONG) + 0.5) / ALONG
        ends = []
        for tube in (one for one in self.triangles.tubes if one.lamp == lamp):
            on_axis, unit = tube.start + steps[:, None] * (tube.end - tube.start), tube.axis
            way = self.starts[:, None] - on_axis[None]
            across = way - (way @ unit)[..., None] * unit
            across /= np.maximum(np.linalg.norm(across, axis=2, keepdims=True), 1e-12)
            ends.append((on_axis[None] + tube.radius * across).reshape(-1, 3))
        each = [np.repeat(own, ALONG, axis=0) for own in (self.starts, self.normals)]
        starts, facing = (np.tile(own, (len(ends), 1)) for own in each)
        return starts, np.concatenate(ends), facing


def _passes(tube: LampTube, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Whether lines come nearer to the tube's axis than its radius, between its ends.

    Nearest points of a line and an axis in closed form, each held within its ends.

    Source: Ericson, "Real-Time Collision Detection" (2005), section 5.1.9.
    """
    d1, d2, r = ends - starts, tube.end - tube.start, starts - tube.start
    a, e, f = (d1 * d1).sum(axis=1), float(d2 @ d2), r @ d2
    b, c = d1 @ d2, (d1 * r).sum(axis=1)
    below = a * e - b * b
    s = np.clip(
        np.where(below > 0.0, (b * f - c * e) / np.where(below > 0.0, below, 1.0), 0.0), 0, 1
    )
    t = np.clip((b * s + f) / e, 0.0, 1.0)
    s = np.clip((b * t - c) / a, 0.0, 1.0)
    gap = starts + s[:, None] * d1 - tube.start - t[:, None] * d2
    return np.asarray(np.linalg.norm(gap, axis=1) < tube.radius)
