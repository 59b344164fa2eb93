"""What shines at somebody who looks into the box along given lines: radiance, W/m2/sr times pi.

A line of sight is followed into the chamber, through mirror reflections, to the lamp tube or to
the first surface that scatters; the light on that surface comes from backward paths.

    pi L = M (lamp tube met)  +  rho (1 - s) E        s: mirror share, by chance followed on

Source: rendering equation, Kajiya 1986, split at the first diffuse surface.
"""

from dataclasses import dataclass

import numpy as np

from raysim.kernels.surfaces import fresnel_reflectance
from raysim.scene.check.contact import Surroundings
from raysim.scene.triangles import SceneTriangles
from raysim.transport.tracing import AdjointRun, KernelScene, Target

MOST_MIRRORS = 60
LIFT = 1e-7  # m: a point of a surface is moved this far off it
BRIGHT_COLUMN = 2  # high end of every reflectance


@dataclass(frozen=True)
class Seen:
    """Where lines of sight end.

    `lamp` (lines, lamps) is the exitance (W/m2) of the tube met, at rated output; `weight`
    (lines,) the diffuse reflectance of the surface met (0 for none), at point `at` (m) with
    normal `normal`, both (lines, 3). `straight` (lines,) bool: whether that tube is met without a
    mirror on the way.
    """

    lamp: np.ndarray
    weight: np.ndarray
    at: np.ndarray
    normal: np.ndarray
    straight: np.ndarray


def nearest_tube(
    triangles: SceneTriangles, origins: np.ndarray, directions: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Distance (m) to the mantle of the nearest tube, inf for none, and its number.

    Source: intersection of a line and a cylinder (geometry).
    """
    best, which = np.full(len(origins), np.inf), np.full(len(origins), -1)
    for number, tube in enumerate(triangles.tubes):
        length = np.linalg.norm(tube.end - tube.start)
        axis = (tube.end - tube.start) / length
        along, to = directions @ axis, origins - tube.start
        d, p = directions - along[:, None] * axis, to - (to @ axis)[:, None] * axis
        a, b = (d * d).sum(axis=1), (d * p).sum(axis=1)
        root = b * b - a * ((p * p).sum(axis=1) - tube.radius**2)
        with np.errstate(divide="ignore", invalid="ignore"):
            distance = (-b - np.sqrt(root)) / a
            place = to @ axis + distance * along
        hit = (root > 0.0) & (distance > LIFT) & (distance < best) & (place > 0.0)
        hit &= place < length
        best[hit], which[hit] = distance[hit], number
    return best, which


def follow(
    triangles: SceneTriangles,
    arrays: KernelScene,
    origins: np.ndarray,
    directions: np.ndarray,
    rng: np.random.Generator,
) -> Seen:
    """Follow lines of sight (lines, 3) into the chamber, high end of every reflectance."""
    world = Surroundings(triangles, np.arange(len(triangles.areas)))
    n = len(origins)
    seen = Seen(
        np.zeros((n, len(triangles.lamps))),
        np.zeros(n),
        np.zeros((n, 3)),
        np.zeros((n, 3)),
        np.zeros(n, bool),
    )
    x, d, carried = origins.copy(), directions.copy(), np.ones(n)
    alive = np.arange(n)
    for mirrors in range(MOST_MIRRORS):
        if not len(alive):
            break
        point, normal, surface, tube = _hits(triangles, world, x[alive], d[alive])
        met = np.flatnonzero(tube >= 0)
        lamps = arrays.geometry.tube_lamp[tube[met]]
        exitance = arrays.geometry.tube_exitance[tube[met]]
        seen.lamp[alive[met], lamps] += carried[alive[met]] * exitance
        seen.straight[alive[met]] = mirrors == 0
        cosine = -(normal * d[alive]).sum(axis=1)
        on, back, specular = surface >= 0, *_response(arrays, surface, cosine)
        mirrored = on & (cosine > 0.0) & (rng.random(len(alive)) < specular)
        ends = on & (cosine > 0.0) & ~mirrored
        seen.weight[alive[ends]] = carried[alive[ends]] * back[ends]
        seen.at[alive[ends]] = point[ends] + LIFT * normal[ends]
        seen.normal[alive[ends]] = normal[ends]
        carried[alive] *= back
        d[alive] += 2.0 * cosine[:, None] * normal
        x[alive] = point + LIFT * normal
        alive = alive[mirrored & (carried[alive] > 1e-6)]
    return seen


def _hits(
    triangles: SceneTriangles, world: Surroundings, x: np.ndarray, d: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Point, normal towards the viewer, surface and tube (-1 for none) that each line meets."""
    face = world.first(x, d, np.full(len(x), np.inf))
    normal = triangles.normals[face]
    speed = (d * normal).sum(axis=1)
    two_sided = np.array([part.two_sided for part in triangles.parts])[triangles.face_part[face]]
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = ((triangles.corners[face, 0] - x) * normal).sum(axis=1) / speed
    distance = np.where(face >= 0, distance, np.inf)
    surface = np.array([part.surface for part in triangles.parts])[triangles.face_part[face]]
    surface = np.where((face >= 0) & (two_sided | (speed < 0.0)), surface, -1)
    normal = np.where((speed > 0.0)[:, None] & two_sided[:, None], -normal, normal)
    to_tube, tube = nearest_tube(triangles, x, d)
    tube = np.where(to_tube < distance, tube, -1)
    distance = np.where(tube >= 0, to_tube, distance)
    point = x + np.where(np.isfinite(distance), distance, 0.0)[:, None] * d
    for number, cylinder in enumerate(triangles.tubes):
        here = tube == number
        axis = (cylinder.end - cylinder.start) / np.linalg.norm(cylinder.end - cylinder.start)
        to = point[here] - cylinder.start
        normal[here] = (to - (to @ axis)[:, None] * axis) / cylinder.radius
        surface[here] = triangles.lamps[cylinder.lamp].surface
    return point, normal, surface, tube


def _response(
    arrays: KernelScene, surface: np.ndarray, cosine: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Reflectance (bright case) and mirror share of surfaces met at these cosines."""
    table = arrays.surfaces
    back = table.reflectance[surface, BRIGHT_COLUMN].copy()
    for k in np.flatnonzero((table.kind[surface] != 0) & (surface >= 0)):
        n, extinction = table.refractive_index[surface[k]], table.extinction[surface[k]]
        back[k] = fresnel_reflectance(min(max(cosine[k], 0.0), 1.0), n, extinction)
    return back, table.specular[surface]


def light_on(run: AdjointRun, seen: Seen, stream: int, paths: int) -> np.ndarray:
    """Irradiance (W/m2, by lamp at rated output) on what each line ends on, (lines, lamps).

    `paths` per line and batch; `stream` and on are words of the random counter, one a line.
    """
    light = np.zeros(seen.lamp.shape)
    lit = np.flatnonzero(seen.weight > 0.0)
    if not len(lit):
        return light
    first = len(run.paths)
    run.add_targets([Target(stream + int(k), at=seen.at[k], facing=seen.normal[k]) for k in lit])
    chosen = first + np.arange(len(lit))
    run.add_paths(chosen, np.full(len(lit), paths))
    light[lit] = run.batch_irradiance(chosen)[..., 0].mean(axis=1)
    return light


def radiance_times_pi(
    run: AdjointRun,
    triangles: SceneTriangles,
    origins: np.ndarray,
    directions: np.ndarray,
    rng: np.random.Generator,
    stream: int,
) -> np.ndarray:
    """pi times the radiance along each line towards its origin, W/m2 by lamp, (lines, lamps).

    Bright case, lamps at rated output, one backward path a batch for each line.

    Source: equation of the module.
    """
    seen = follow(triangles, run.scene, origins, directions, rng)
    return seen.lamp + seen.weight[:, None] * light_on(run, seen, stream, 1)


def radiance_but_lamps(
    run: AdjointRun,
    triangles: SceneTriangles,
    origins: np.ndarray,
    directions: np.ndarray,
    rng: np.random.Generator,
    stream: int,
) -> np.ndarray:
    """As `radiance_times_pi`, without the light that comes straight from a tube, (lines, lamps).

    Source: equation of the module.
    """
    seen = follow(triangles, run.scene, origins, directions, rng)
    lamp = np.where(seen.straight[:, None], 0.0, seen.lamp)
    return lamp + seen.weight[:, None] * light_on(run, seen, stream, 1)


def lines_to_tube(
    triangles: SceneTriangles,
    number: int,
    origins: np.ndarray,
    facing: np.ndarray,
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    """Lines from points (side * side, 3) to points of one tube's mantle, and their weights.

    The mean of weight times exitance is the irradiance (W/m2) straight from the tube on the points,
    which face `facing` (3,):  weight = A cos_tube cos_point / (pi r^2), 0 where something stands in
    the way.

    Source: definition of irradiance by radiance; stratified over the mantle.
    """
    tube, side = triangles.tubes[number], int(np.sqrt(len(origins)))
    length = float(np.linalg.norm(tube.end - tube.start))
    axis = (tube.end - tube.start) / length
    across = np.linalg.svd(axis[None])[2][1:]  # two directions at right angles to the axis
    cells = np.stack(np.meshgrid(np.arange(side), np.arange(side))).reshape(2, -1)
    along, turn = (cells + rng.random(cells.shape)) / side
    angle = 2.0 * np.pi * turn[:, None]
    normal = np.cos(angle) * across[0] + np.sin(angle) * across[1]
    to = tube.start + along[:, None] * length * axis + tube.radius * normal - origins
    r = np.linalg.norm(to, axis=1)
    directions = to / r[:, None]
    cosines = (directions @ facing).clip(0.0) * (-(directions * normal).sum(axis=1)).clip(0.0)
    world = Surroundings(triangles, np.arange(len(triangles.areas)))
    free = world.first(origins, directions, r - LIFT) < 0
    first, which = nearest_tube(triangles, origins, directions)
    free &= (which == number) & (np.abs(first - r) < 1e-6 + 1e-6 * r)
    mantle = 2.0 * np.pi * tube.radius * length
    return directions, np.where(free, mantle * cosines / (np.pi * r**2), 0.0)
