"""One lamp more: where it may stand so that a dark patch sees it."""

from dataclasses import dataclass

import numpy as np

from raysim.base.figures import Figures
from raysim.scene.build import BuiltScene
from raysim.scene.check.surroundings import Surroundings
from raysim.scene.file.written import Lamp
from raysim.scene.sides import Pairs, sides_of
from raysim.studies.shadows.patches import CLEAR, DarkPatch, sample_points

FROM_WALL = 0.035  # m from a wall to the axis of a lamp more: room for its sockets (estimate)
FROM_CORNER = 0.03  # m from its ends to the next wall (estimate)
POINTS, ALONG = 32, 16  # of sight lines


@dataclass(frozen=True)
class LampPlace(Figures):
    """A place for one lamp more, in words; `light` (1/m2) is what the patch sees of it directly.

    `light` is the irradiance at the patch for each watt of the lamp, by sight lines.
    """

    words: str
    lamp: Lamp
    light: float


def lamp_places(scene: BuiltScene, patch: DarkPatch) -> list[LampPlace]:
    """Places inside for a copy of the strongest lamp, that which the patch sees best first.

    Along each wall of the box about the chamber, level with the patch; and mirrored at the middle
    planes of the box.
    """
    triangles = scene.triangles
    strongest = int(np.argmax([lamp.uvc_W for lamp in triangles.lamps]))
    entry = scene.written.lamp[strongest]
    low, high = triangles.box
    sides = sides_of(triangles)
    ends = _along_walls(entry, low, high, patch.centroid, sides.walls)
    ends += _mirrored(entry, low, high, sides.things)
    points, normals = sample_points(triangles, patch, POINTS, 1)
    around = Surroundings(triangles, np.flatnonzero(triangles.on_wall))
    everything = Surroundings(triangles)
    name = _new_name(scene)
    found = []
    for words, start, end in ends:
        if not around.seen_from_inside(np.array([start, end])).all():
            continue
        keys = {"name": name, "start": tuple(start.tolist()), "end": tuple(end.tolist())}
        lamp = entry.model_copy(update=keys | {"spread": None})
        light = _direct_light(everything, points + CLEAR * normals, normals, start, end)
        found.append(LampPlace(f'a lamp like "{entry.name}" more, {words}', lamp, light))
    return sorted(found, key=lambda place: -place.light)


def _new_name(scene: BuiltScene) -> str:
    names = {lamp.name.casefold() for lamp in scene.written.lamp}
    return next(n for k in range(99) if (n := f"lamp more {k + 1}").casefold() not in names)


def _along_walls(
    entry: Lamp, low: np.ndarray, high: np.ndarray, middle: np.ndarray, words: Pairs
) -> list[tuple[str, np.ndarray, np.ndarray]]:
    """Words, start and end (3,) of the lamp along each wall, level with `middle` where it fits."""
    length = float(np.linalg.norm(np.subtract(entry.end, entry.start)))
    found = []
    for axis in range(3):
        others = [k for k in range(3) if k != axis]
        fits = [k for k in others if high[k] - low[k] >= length + 2.0 * FROM_CORNER]
        if not fits:
            continue
        along = max(fits, key=lambda k: high[k] - low[k])
        for side in range(2):
            centre = np.clip(middle, low + FROM_CORNER, high - FROM_CORNER)
            half = 0.5 * length + FROM_CORNER
            centre[along] = np.clip(middle[along], low[along] + half, high[along] - half)
            centre[axis] = high[axis] - FROM_WALL if side else low[axis] + FROM_WALL
            step = 0.5 * length * np.eye(3)[along]
            found.append((words[axis][side], centre - step, centre + step))
    return found


def _mirrored(
    entry: Lamp, low: np.ndarray, high: np.ndarray, words: Pairs
) -> list[tuple[str, np.ndarray, np.ndarray]]:
    """Words, start and end (3,) of the lamp mirrored at each middle plane of the box."""
    found = []
    for axis, between in enumerate(words):
        start, end = np.array(entry.start), np.array(entry.end)
        for point in (start, end):
            point[axis] = low[axis] + high[axis] - point[axis]
        found.append((f"mirrored between {' and '.join(between)}", start, end))
    return found


def _direct_light(
    everything: Surroundings,
    points: np.ndarray,
    normals: np.ndarray,
    start: np.ndarray,
    end: np.ndarray,
) -> float:
    """Mean irradiance over points for each watt of a thin Lambertian tube, 1/m2.

    dE = I(theta) cos(angle) / d^2 along the tube, I = sin(theta) / (pi^2 l) for each watt and
    metre; what is hidden counts nothing.

    Source: Keitz, "Light Calculations and Measurements" (1971), the line source.
    """
    steps = (np.arange(ALONG) + 0.5) / ALONG
    ends = start + steps[:, None] * (end - start)
    way = (ends[None] - points[:, None]).reshape(-1, 3)
    starts = np.repeat(points, ALONG, axis=0)
    distance = np.linalg.norm(way, axis=1)
    cosine = (way * np.repeat(normals, ALONG, axis=0)).sum(axis=1) / distance
    axis = (end - start) / np.linalg.norm(end - start)
    sine = np.linalg.norm(np.cross(way, axis), axis=1) / distance
    free = everything.first(starts, way, distance) < 0
    light = np.where(free & (cosine > 0.0), sine * cosine / distance**2, 0.0)
    return float(light.mean() / np.pi**2)
