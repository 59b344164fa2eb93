"""Light in a plane through the box, and the paths of a lamp's photons: for display only."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from raysim.base.units import to_mm, to_mW_cm2
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.trails import Trail, photon_trails

AXES = "xyz"
CELL = 0.018  # m: edge of the squares of a slice
THICKNESS = 0.024  # m: thickness of the slab that a slice stands for
SAMPLES = 6  # points along the piece of a path within the slab
SLICE_TRAILS = 40_000  # photons of all lamps together
TRIES = 60  # photons tried for each trail that has to reach something


@dataclass(frozen=True)
class Plane:
    """A plane at right angles to an axis (0, 1 or 2), at a distance in m."""

    axis: int
    at: float

    @property
    def words(self) -> str:
        """Such as "x = 300 mm" (definition)."""
        return f"{AXES[self.axis]} = {to_mm(self.at):.0f} mm"


@dataclass(frozen=True)
class LightSlice:
    """Fluence rate in a slab about a plane.

    Attributes
    ----------
    plane : Plane
    edges : two arrays float64, mm
        Borders of the squares along the two other axes, in the order of `AXES`.
    light : (squares, squares) float64, mW/cm2
    """

    plane: Plane
    edges: tuple[np.ndarray, np.ndarray]
    light: np.ndarray


def lamp_trails(scene: KernelScene, count: int, seed: int, case: int) -> list[list[Trail]]:
    """The first `count` photons of every lamp, by lamp."""
    lamps = range(len(scene.lamp_watts))
    return [photon_trails(scene, lamp, count, seed=seed, case=case) for lamp in lamps]


def trails_reaching(
    scene: KernelScene, wanted: np.ndarray, count: int, seed: int, case: int
) -> list[list[Trail]]:
    """Up to `count` trails of every lamp that meet a face of `wanted` (faces,) bool, by lamp.

    Each ends at its first hit on such a face. After `TRIES` photons for each wanted trail the
    search stops with the trails found so far.
    """
    found = []
    for lamp in range(len(scene.lamp_watts)):
        mine: list[Trail] = []
        for first in range(0, TRIES * count, max(count, 1)):
            trails = photon_trails(scene, lamp, count, seed=seed, case=case, first=first)
            mine += [end for end in (_up_to(trail, wanted) for trail in trails) if end is not None]
            if len(mine) >= count:
                break
        found.append(mine[:count])
    return found


def _up_to(trail: Trail, wanted: np.ndarray) -> Trail | None:
    """The trail up to its first hit on a wanted face, if there is one."""
    hits = np.flatnonzero((trail.faces >= 0) & wanted[trail.faces])
    if not len(hits):
        return None
    last = int(hits[0]) + 1
    return Trail(
        trail.points[: last + 1],
        trail.power[:last],
        trail.faces[:last],
        trail.sides[:last],
        0.0,
    )


def light_slices(
    scene: KernelScene,
    planes: list[Plane],
    bounds: tuple[np.ndarray, np.ndarray],
    output: float,
    *,
    seed: int,
    case: int,
    count: int = SLICE_TRAILS,
) -> list[LightSlice]:
    """Fluence rate in slabs about some planes, mW/cm2, from the lengths of photon paths in them.

    Parameters
    ----------
    bounds : two arrays (3,), m
        Lowest and highest corner of the box.
    output : float
        Output of the lamps as a share of their rating.

    Source: track-length estimator, Spanier, "Two pairs of families of estimators for transport
    problems", SIAM J. Appl. Math. 14 (1966): fluence is path length per volume.
    """
    if not planes:
        return []
    share = scene.lamp_watts / scene.lamp_watts.sum()
    starts, ends, powers = [], [], []
    for lamp, part in enumerate(share):
        photons = max(1, round(count * part))
        trails = photon_trails(scene, lamp, photons, seed=seed, case=case)
        starts += [trail.points[:-1] for trail in trails]
        ends += [trail.points[1:] for trail in trails]
        watts = output * scene.lamp_watts[lamp] / photons
        powers += [watts * trail.power for trail in trails]
    segments = np.concatenate(starts), np.concatenate(ends), np.concatenate(powers)
    return [_slice(plane, segments, bounds) for plane in planes]


def _slice(
    plane: Plane,
    segments: tuple[np.ndarray, np.ndarray, np.ndarray],
    bounds: tuple[np.ndarray, np.ndarray],
) -> LightSlice:
    start, end, watts = segments
    low, high = plane.at - 0.5 * THICKNESS, plane.at + 0.5 * THICKNESS
    a, b = start[:, plane.axis], end[:, plane.axis]
    with np.errstate(divide="ignore", invalid="ignore"):
        first, last = (low - a) / (b - a), (high - a) / (b - a)
    enter, leave = np.fmin(first, last), np.fmax(first, last)
    flat = a == b
    enter[flat] = np.where((a[flat] > low) & (a[flat] < high), 0.0, 2.0)
    leave[flat] = 1.0
    enter, leave = np.clip(enter, 0.0, 1.0), np.clip(leave, 0.0, 1.0)
    length = (leave - enter) * np.linalg.norm(end - start, axis=1)
    inside = length > 0.0
    along = (np.arange(SAMPLES) + 0.5) / SAMPLES
    share = enter[inside, None] + (leave - enter)[inside, None] * along
    points = start[inside, None] + share[..., None] * (end - start)[inside, None]
    weights = np.repeat((watts * length)[inside] / SAMPLES, SAMPLES)
    others = [axis for axis in range(3) if axis != plane.axis]
    steps = [max(1, round((bounds[1][k] - bounds[0][k]) / CELL)) for k in others]
    edges: Any = [
        np.linspace(bounds[0][k], bounds[1][k], n + 1) for k, n in zip(others, steps, strict=True)
    ]
    flat_points = points.reshape(-1, 3)[:, others]
    counted, *_ = np.histogram2d(flat_points[:, 0], flat_points[:, 1], bins=edges, weights=weights)
    # Only the part of a slab that is within the box has paths.
    within = min(high, bounds[1][plane.axis]) - max(low, bounds[0][plane.axis])
    volume = np.outer(np.diff(edges[0]), np.diff(edges[1])) * max(within, 1e-9)
    return LightSlice(plane, (to_mm(edges[0]), to_mm(edges[1])), to_mW_cm2(counted / volume))
