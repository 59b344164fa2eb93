"""What lines of sight meet inside a scene: walls, objects and lamp tubes, bright case.

The kernels' own tree and tubes are asked, so that what an eye sees is what backward paths meet.
"""

from dataclasses import dataclass

import numpy as np

from raysim.kernels.mirror import mirror_direction
from raysim.kernels.models import MODELS
from raysim.kernels.probe import first_hits
from raysim.kernels.records import AXIS, LENGTH, RADIUS, START
from raysim.transport.kernel_scene import KernelScene

LIFT = 1e-7  # m: a point of a surface is moved this far off it
BRIGHT_COLUMN = 2  # high end of every reflectance
NOBODY = -1


@dataclass(frozen=True)
class Met:
    """What each line meets first.

    `point` and `normal` (lines, 3), towards the viewer; `surface` (lines,) its row, `NOBODY` for
    nothing or the back of a wall; `tube` (lines,) the tube whose mantle it is, else `NOBODY`.
    `reflectance` and `specular` (lines,): share of light sent back, and share of that mirrored.
    """

    point: np.ndarray
    normal: np.ndarray
    surface: np.ndarray
    tube: np.ndarray
    reflectance: np.ndarray
    specular: np.ndarray

    @property
    def mirrored(self) -> np.ndarray:
        """Share of the light that goes on as from a mirror, (lines,) (definition)."""
        return np.asarray(self.reflectance * self.specular)


class Inside:
    """The inside of one scene."""

    def __init__(self, arrays: KernelScene) -> None:
        self.arrays = arrays
        self.triangles = len(arrays.geometry.normals)

    def first(
        self, origins: np.ndarray, directions: np.ndarray, farthest: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Distance (m) and primitive that lines meet within reach; (`farthest`, -1) for nothing.

        `origins` m, `directions` unit vectors, both (lines, 3); `farthest` (lines,) m.
        """
        g = self.arrays.geometry
        origins, directions = np.ascontiguousarray(origins), np.ascontiguousarray(directions)
        return first_hits(g.nodes, g.blocks, g.tubes, self.triangles, origins, directions, farthest)

    def meet(self, origins: np.ndarray, directions: np.ndarray) -> Met:
        """What lines from `origins` (lines, 3) along unit vectors `directions` meet first.

        Source: geometry; Fresnel's equations where a surface has a refractive index.
        """
        g, table = self.arrays.geometry, self.arrays.surfaces
        distance, hit = self.first(origins, directions, np.full(len(origins), np.inf))
        met = hit >= 0
        point = origins + np.where(met, distance, 0.0)[:, None] * directions
        face = np.where(hit < self.triangles, hit, 0)
        normal = g.normals[face]
        away = (directions * normal).sum(axis=1) > 0.0
        seen = met & (g.two_sided[face] | ~away)
        normal = np.where((away & g.two_sided[face])[:, None], -normal, normal)
        tube = np.where(hit >= self.triangles, hit - self.triangles, NOBODY)
        here = tube >= 0
        normal[here], mantle = _tube_normals(g.tubes[tube[here]], point[here])
        seen |= here
        tube[here] = np.where(mantle, tube[here], NOBODY)
        surface = np.where(seen, g.surface[hit], NOBODY)
        back = np.where(seen, table.reflectance[surface, BRIGHT_COLUMN], 0.0)
        cosine = -(normal * directions).sum(axis=1)
        for k in np.flatnonzero(seen & (table.kind[surface] != 0)):
            own = MODELS[table.kind[surface[k]]].reflectance
            share = own(table.numbers, surface[k], min(max(cosine[k], 0.0), 1.0))
            back[k] = back[k] if share < 0.0 else share
        return Met(point, normal, surface, tube, back, table.specular[surface])

    def sharp(self, met: Met, directions: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """Directions (lines, 3) in which the sharp part of light along `directions` goes on.

        Source: law of reflection; the surface's own model where that is no mirror.
        """
        sent, table = mirror(directions, met.normal), self.arrays.surfaces
        own = np.array([model.direction is not mirror_direction for model in MODELS])
        for k in np.flatnonzero((met.surface != NOBODY) & own[table.kind[met.surface]]):
            row, (u, v) = met.surface[k], rng.random(2)
            model = MODELS[table.kind[row]]
            sent[k] = model.direction(table.numbers, row, *directions[k], *met.normal[k], u, v)
        return sent


def _tube_normals(tubes: np.ndarray, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Outward normals (points, 3) of points on closed cylinders, and which are on the mantle."""
    axis, to = tubes[:, AXIS], points - tubes[:, START]
    along = (to * axis).sum(axis=1)
    off = to - along[:, None] * axis
    high = tubes[:, LENGTH] - along
    inset = tubes[:, RADIUS] - np.linalg.norm(off, axis=1)
    mantle = np.abs(inset) <= np.minimum(np.abs(along), np.abs(high))
    end = np.where(np.abs(along) < np.abs(high), -1.0, 1.0)[:, None] * axis
    return np.where(mantle[:, None], off / tubes[:, RADIUS:], end), mantle


def mirror(directions: np.ndarray, normals: np.ndarray) -> np.ndarray:
    """Directions (n, 3) after a mirror with `normals` (n, 3) (definition)."""
    return directions - 2.0 * (directions * normals).sum(axis=1)[:, None] * normals
