"""Paths of single photons, corner by corner, for pictures that explain; never for numbers.

The paths are those of the run: photon i of a lamp takes the very corners it takes in
`kernels.history.follow_photon`, which draws from the same random counters. Where the run would end
it by chance, the trail goes on and carries the share of power that the surface sends back.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from raysim.kernels.emission import emitted_ray
from raysim.kernels.history import hit_normal, scattered_direction
from raysim.kernels.models import model_reflectance
from raysim.kernels.random_numbers import EMISSION, SCATTERING, split_word, uniforms
from raysim.kernels.surfaces import ABSORBED, REFLECTED, TRANSMITTED, case_fate
from raysim.kernels.traverse import nearest_hit, new_scratch
from raysim.transport.kernel_scene import KernelScene

FAINTEST = 0.01  # share of the power below which a trail is not followed on
MOST_CORNERS = 400


@dataclass(frozen=True)
class Trail:
    """One photon's way from its lamp.

    Attributes
    ----------
    points : (segments + 1, 3) float64, m
    power : (segments,) float64
        Share of the power it left with that it carries on each segment, 0 to 1.
    faces : (segments,) int64
        Face of the scene that ends each segment; -1 - tube for a lamp tube.
    sides : (segments,) int64
        0 outside, 1 inside, as hit.
    left : float
        Share of the power still carried after the last hit; 0 where it ended for good.
    """

    points: np.ndarray
    power: np.ndarray
    faces: np.ndarray
    sides: np.ndarray
    left: float


def photon_trails(
    scene: KernelScene, lamp: int, count: int, *, seed: int = 1, case: int = 0, first: int = 0
) -> list[Trail]:
    """Trails of the photons `first` up to `first + count` of one lamp.

    Parameters
    ----------
    scene : KernelScene
    lamp : int
        Row of the lamp in the scene.
    count : int
    seed : int
        That of the run, whose photons these are.
    case : int
        Row of `raysim.base.cases.CASES` whose reflectances take power away.
    """
    keys = split_word(seed)
    scratch = new_scratch()
    return [
        _trail(scene, lamp, photon, keys=keys, case=case, scratch=scratch)
        for photon in range(first, first + count)
    ]


def _trail(
    scene: KernelScene, lamp: int, photon: int, *, keys: Any, case: int, scratch: Any
) -> Trail:
    tubes = scene.lamp_tubes
    tube = int(tubes.first[lamp]) + photon % int(tubes.number[lamp])
    numbers = _numbers(lamp, photon, keys)
    ray = emitted_ray(scene.geometry.tubes, tube, *next(numbers))
    points: list[Any] = [ray[:3]]
    power: list[float] = []
    faces: list[int] = []
    sides: list[int] = []
    share, last = 1.0, len(scene.order) + tube
    while share >= FAINTEST and len(power) < MOST_CORNERS:
        hit = _hit(scene, ray, last, scratch)
        if hit is None:
            return _recorded(points, power, faces, sides, 0.0)
        last, point, normal, side = hit
        points.append(point)
        power.append(share)
        triangles = len(scene.order)
        faces.append(int(scene.order[last]) if last < triangles else triangles - last - 1)
        sides.append(side)
        if side == 1 and not scene.geometry.two_sided[last]:
            return _recorded(points, power, faces, sides, 0.0)
        back, direction = _sent_on(scene, ray[3:], normal, last, case=case, numbers=next(numbers))
        share *= back
        ray = (*point, *direction)
    return _recorded(points, power, faces, sides, share)


def _numbers(lamp: int, photon: int, keys: Any) -> Iterator[tuple[float, float, float, float]]:
    """Four uniform numbers for the emission, then four for each bounce, as the run draws them."""
    low, high = split_word(photon)
    stream = np.uint64(lamp << 8)
    yield uniforms(low, high, np.uint64(0), stream | EMISSION, *keys)
    for bounce in range(MOST_CORNERS + 1):
        yield uniforms(low, high, np.uint64(bounce + 1), stream | SCATTERING, *keys)


def _hit(scene: KernelScene, ray: Any, last: int, scratch: Any) -> Any:
    """Primitive, point, normal towards the ray and side of what a ray meets; None for nothing."""
    geometry = scene.geometry
    triangles = len(scene.order)
    distance, hit = nearest_hit(
        geometry.nodes, geometry.blocks, geometry.tubes, triangles, *ray,
        math.inf, last, -1, False, *scratch,
    )  # fmt: skip
    if hit < 0:
        return None
    point = tuple(ray[k] + distance * ray[3 + k] for k in range(3))
    *normal, side, _ = hit_normal(geometry.normals, geometry.tubes, hit, *point, *ray[3:])
    return hit, point, normal, side


def _sent_on(
    scene: KernelScene, direction: Any, normal: Any, primitive: int, *, case: int, numbers: Any
) -> tuple[float, Any]:
    """Share of the power that goes on, and the direction it takes.

    A photon that the run would absorb goes the way that what is sent back takes: the number that
    decided its end is spread anew over reflection and transmission.
    """
    table, surface = scene.surfaces, int(scene.geometry.surface[primitive])
    cosine = -sum(d * n for d, n in zip(direction, normal, strict=True))
    back = model_reflectance(table.kind[surface], table.numbers, surface, cosine)
    back = back if back >= 0.0 else float(table.reflectance[surface, case])
    through = float(table.transmittance[surface, case])
    if back + through <= 0.0:
        return 0.0, (0.0, 0.0, 0.0)
    u, *others = numbers
    way = case_fate(back, through, u)
    if way == ABSORBED:
        again = (u - back) / (1.0 - back - through)
        way = REFLECTED if again * (back + through) < back else TRANSMITTED
    x, y, z, _ = scattered_direction(
        table.kind, table.numbers, surface, *direction, *normal, way,
        float(table.specular[surface]), *others,
    )  # fmt: skip
    return back + through, (x, y, z)


def _recorded(points: Any, power: Any, faces: Any, sides: Any, left: float) -> Trail:
    return Trail(
        np.array(points, float).reshape(-1, 3),
        np.array(power, float),
        np.array(faces, np.int64),
        np.array(sides, np.int64),
        left,
    )
