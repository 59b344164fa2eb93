"""Pieces of surface on which photons are counted batch by batch, for backward paths to read."""

from dataclasses import dataclass

import numpy as np

from raysim.kernels.records import AXIS, LENGTH, START
from raysim.scene.triangles import SceneTriangles, face_boxes
from raysim.transport.kernel_scene import KernelScene

TILE = 0.03  # m: faces of one body that look the same way and lie in one cube of this size
# Nearer than so many times its size a tile is not read: its mean need not be the light at a point.
# A lamp within the ball about a tile lights it too unevenly to be read at all.
NEAR = 1.0


@dataclass(frozen=True)
class Tiles:
    """Pieces of surface on which photons are counted batch by batch.

    `of` (2 * triangles,) int32 is the tile of each face-side, in the order of the kernels; `areas`
    (tiles,) float64, m2; `reach` as in `Known`.
    """

    of: np.ndarray
    areas: np.ndarray
    reach: np.ndarray


def tiles_of(scene: KernelScene, triangles: SceneTriangles) -> Tiles:
    """Tiles of a scene: a face larger than `TILE` is one by itself."""
    order = scene.order
    corners = triangles.corners[order]
    cube = np.floor(triangles.centroids[order] / TILE).astype(np.int64)
    facing = np.rint(1.2 * triangles.normals[order]).astype(np.int64)
    keys = np.column_stack([triangles.face_body[order], cube, facing])
    keys -= keys.min(axis=0)
    code = np.ravel_multi_index(tuple(keys.T), tuple(keys.max(axis=0) + 1))
    _, group = np.unique(code, return_inverse=True)
    groups = int(group.max()) + 1
    areas = np.bincount(group, triangles.areas[order], groups)
    low, high = np.full((groups, 3), np.inf), np.full((groups, 3), -np.inf)
    lowest, highest = face_boxes(corners)
    np.minimum.at(low, group, lowest)
    np.maximum.at(high, group, highest)
    size = np.linalg.norm(high - low, axis=1)
    by_lamp = _to_tubes(scene.geometry.tubes, 0.5 * (low + high)) < 0.5 * size
    reach = np.where(by_lamp, np.inf, NEAR * size)
    of = (2 * group[:, None] + np.arange(2)).astype(np.int32).ravel()
    return Tiles(of, np.repeat(areas, 2), np.repeat(reach, 2))


def _to_tubes(tubes: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Distance (m) of points (n, 3) from the axis of the nearest tube, (n,)."""
    nearest = np.full(len(points), np.inf)
    for row in tubes:
        off = points - row[START]
        along = np.clip(off @ row[AXIS], 0.0, row[LENGTH])
        np.minimum(nearest, np.linalg.norm(off - along[:, None] * row[AXIS], axis=1), out=nearest)
    return nearest
