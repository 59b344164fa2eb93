"""What shines at somebody who looks into the box along given lines: radiance, W/m2/sr times pi.

A line of sight is followed into the chamber, through mirror reflections, to the lamp tubes and to
the first surface that scatters; the light on that surface comes from backward paths.

    pi L = sum over mirror reflections of  (mirrored share)  M (tube met)        `lamp_light`
           +  rho (1 - s) E  where it ends, s by chance followed on             `scattered_light`

Source: rendering equation, Kajiya 1986, split at the first diffuse surface.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from raysim.kernels.records import AXIS, LENGTH, RADIUS, START
from raysim.studies.leak.inside import LIFT, Inside
from raysim.transport.paths import Traced
from raysim.transport.starts import Start

MOST_MIRRORS = 60
FAINT = 0.05  # lines with less than this share left go on by chance, one in two
DARK = 1e-6
FEW = 8  # paths from where a line ends, if thousands of lines are averaged: their ends differ more
Trace = Callable[..., Traced]  # `traced_irradiance` of a scene in the bright case


@dataclass(frozen=True)
class Ends:
    """Where lines of sight end.

    `weight` (lines,) is the diffuse reflectance of the surface met (0 for none), at point `at` (m)
    with normal `normal`, both (lines, 3).
    """

    weight: np.ndarray
    at: np.ndarray
    normal: np.ndarray


def follow(
    inside: Inside, origins: np.ndarray, directions: np.ndarray, rng: np.random.Generator
) -> Ends:
    """Follow lines of sight (lines, 3) to where they are scattered, high end of reflectances."""
    n = len(origins)
    ends = Ends(np.zeros(n), np.zeros((n, 3)), np.zeros((n, 3)))
    x, d, carried = origins.copy(), directions.copy(), np.ones(n)
    alive = np.arange(n)
    for _ in range(MOST_MIRRORS):
        if not len(alive):
            break
        met = inside.meet(x[alive], d[alive])
        sharp = rng.random(len(alive)) < met.specular
        carried[alive] *= met.reflectance
        x[alive] = met.point + LIFT * met.normal
        stays = ~sharp & (carried[alive] > 0.0)
        ends.weight[alive[stays]] = carried[alive[stays]]
        ends.at[alive[stays]] = x[alive[stays]]
        ends.normal[alive[stays]] = met.normal[stays]
        d[alive] = inside.sharp(met, d[alive], rng)
        alive = alive[sharp & (carried[alive] > DARK)]
    return ends


def light_on(trace: Trace, ends: Ends, stream: int, paths: int) -> np.ndarray:
    """Irradiance (W/m2, all lamps at rated output) on what each line ends on, (lines,).

    `paths` for each line; `stream` and on are words of the random counter, one a line.
    """
    light = np.zeros(len(ends.weight))
    lit = np.flatnonzero(ends.weight > 0.0)
    if not len(lit):
        return light
    starts = [Start(stream + int(k), at=ends.at[k], facing=ends.normal[k]) for k in lit]
    traced = trace(starts, 1, batches=paths)
    light[lit] = traced.batches[..., 0].sum(axis=2).mean(axis=1)
    return light


def scattered_light(
    trace: Trace,
    inside: Inside,
    origins: np.ndarray,
    directions: np.ndarray,
    *,
    rng: np.random.Generator,
    stream: int,
    paths: int,
) -> np.ndarray:
    """pi times the radiance along each line that was scattered last, W/m2, (lines,).

    Bright case, lamps at rated output; `paths` backward from where each line ends.

    Source: equation of the module.
    """
    ends = follow(inside, origins, directions, rng)
    return np.asarray(ends.weight * light_on(trace, ends, stream, paths))


def lamp_light(
    inside: Inside,
    origins: np.ndarray,
    directions: np.ndarray,
    rng: np.random.Generator,
    straight: bool = True,
) -> np.ndarray:
    """pi times the radiance along each line that comes from tubes by mirrors alone, W/m2, (lines,).

    Bright case, lamps at rated output; without what comes `straight` from a tube if so told.

    Source: equation of the module; faint lines end by chance, Russian roulette.
    """
    light, carried = np.zeros(len(origins)), np.ones(len(origins))
    x, d = origins.copy(), directions.copy()
    alive = np.arange(len(origins))
    exitance = inside.arrays.geometry.tube_exitance
    for mirrors in range(MOST_MIRRORS):
        if not len(alive):
            break
        met = inside.meet(x[alive], d[alive])
        lamp = met.tube >= 0
        if mirrors or straight:
            light[alive[lamp]] += carried[alive[lamp]] * exitance[met.tube[lamp]]
        left = carried[alive] * met.mirrored
        faint = left < FAINT
        left[faint] *= 2.0 * (rng.random(faint.sum()) < 0.5)
        x[alive], d[alive] = met.point + LIFT * met.normal, inside.sharp(met, d[alive], rng)
        carried[alive] = left
        alive = alive[left > DARK]
    return light


def lines_to_tube(
    inside: Inside,
    number: int,
    origins: np.ndarray,
    facing: np.ndarray,
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    """Lines from points (side * side, 3) to points of one tube's mantle, and their weights.

    The mean of weight times exitance is the irradiance (W/m2) straight from the tube on the points,
    which face `facing` (side * side, 3):  weight = A cos_tube cos_point / (pi r^2), 0 where
    something stands in the way.

    Source: definition of irradiance by radiance; stratified over the mantle.
    """
    tube, side = inside.arrays.geometry.tubes[number], int(np.sqrt(len(origins)))
    start, axis, length, radius = tube[START], tube[AXIS], tube[LENGTH], tube[RADIUS]
    across = np.linalg.svd(axis[None])[2][1:]  # two directions at right angles to the axis
    cells = np.stack(np.meshgrid(np.arange(side), np.arange(side))).reshape(2, -1)
    along, turn = (cells + rng.random(cells.shape)) / side
    angle = 2.0 * np.pi * turn[:, None]
    normal = np.cos(angle) * across[0] + np.sin(angle) * across[1]
    to = start + along[:, None] * length * axis + radius * normal - origins
    r = np.linalg.norm(to, axis=1)
    directions = to / r[:, None]
    cosines = (directions * facing).sum(axis=1).clip(0.0) * (
        -(directions * normal).sum(axis=1)
    ).clip(0.0)
    reach, hit = inside.first(origins, directions, np.full(len(r), np.inf))
    free = (hit == inside.triangles + number) & (np.abs(reach - r) < 1e-6 + 1e-6 * r)
    mantle = 2.0 * np.pi * radius * length
    return directions, np.where(free, mantle * cosines / (np.pi * r**2), 0.0)
