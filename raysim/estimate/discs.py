"""Small discs of the judged surface: face-sides that lie together."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from raysim.scene.cubes import cubes_of
from raysim.scene.triangles import SceneTriangles

PATCH_AREA = 1e-4  # m2, the 1 cm2 that is reported beside the worst face
# Pairs grow with the square of the density. Beyond this number, face-sides in cubes of a quarter of
# the radius are taken together first, which is finer than the light on a disc needs: own choice.
MOST_PAIRS = 10_000_000
CUBES_PER_RADIUS = 4
ROWS = 4096  # at a time, so that pairs need little memory


@dataclass(frozen=True)
class Discs:
    """Which units (face-sides) lie on the disc about each.

    Attributes
    ----------
    areas : (units,) float64, m2
    group : (units,) int64
        Units that are taken together; each by itself unless they lie very densely.
    first, within : (groups + 1,) int64 and (pairs,) int32
        Groups on the disc about each group, in the order of their numbers.
    """

    areas: np.ndarray
    group: np.ndarray
    first: np.ndarray
    within: np.ndarray

    def means(self, values: np.ndarray) -> np.ndarray:
        """Mean of `values` (units,) by area over the disc of each unit (definition)."""
        return np.asarray((self._sums(self.areas * values) / self._area)[self.group])

    def errors(self, errors: np.ndarray) -> np.ndarray:
        """Standard error of `means` where those of the values, (units,), are independent.

        Source: propagation of independent errors through a weighted mean (definition).
        """
        spread = self._sums((self.areas * errors) ** 2)
        return np.asarray((np.sqrt(spread) / self._area)[self.group])

    def members(self, unit: int) -> np.ndarray:
        """Units on the disc of one unit, in the order of their numbers."""
        group = self.group[unit]
        groups = self.within[self.first[group] : self.first[group + 1]].tolist()
        order, start = self._by_group
        return np.sort(np.concatenate([order[start[k] : start[k + 1]] for k in groups]))

    @cached_property
    def _area(self) -> np.ndarray:
        return self._sums(self.areas)

    @cached_property
    def _by_group(self) -> tuple[np.ndarray, np.ndarray]:
        """Units group by group, and where each group begins."""
        start = np.searchsorted(np.sort(self.group), np.arange(len(self.first)))
        return np.argsort(self.group, kind="stable"), start

    def _sums(self, values: np.ndarray) -> np.ndarray:
        """Sum of `values` (units,) over the disc of each group, always in the same order."""
        groups = len(self.first) - 1
        of_group = np.bincount(self.group, values, groups)
        found = np.empty(groups)
        for row in range(0, groups, ROWS):
            first = self.first[row : row + ROWS + 1]
            owner = np.repeat(np.arange(len(first) - 1), np.diff(first))
            these = of_group[self.within[first[0] : first[-1]]]
            found[row : row + ROWS] = np.bincount(owner, these, len(first) - 1)
        return found


def lone_discs(areas: np.ndarray) -> Discs:
    """Discs of one unit each."""
    own = np.arange(len(areas) + 1)
    return Discs(areas, own[:-1], own, own[:-1].astype(np.int32))


def discs_about(
    triangles: SceneTriangles, faces: np.ndarray, sides: np.ndarray, area: float
) -> Discs:
    """Discs of `area` (m2) about given face-sides, (units,) int64.

    Members lie on the same part and side, with their middles no farther away than the radius of
    a disc of that area, and face the same way within 60 degrees (so that the other layer of a
    fold is not taken in). Where face-sides lie so densely that there would be more pairs of them
    than `MOST_PAIRS`, those in one small cube share their disc, and are on a disc together.
    """
    radius = float(np.sqrt(area / np.pi))
    group = _groups(triangles, faces, sides, radius)
    _, lead = np.unique(group, return_index=True)
    count = np.bincount(group)
    middles, normals = (
        np.stack([np.bincount(group, of[faces, axis]) / count for axis in range(3)], axis=1)
        for of in (triangles.centroids, triangles.normals)
    )
    first, within = _pairs(
        middles, normals, triangles.face_part[faces[lead]], sides[lead], radius=radius
    )
    return Discs(triangles.areas[faces], group, first, within)


def _groups(
    triangles: SceneTriangles, faces: np.ndarray, sides: np.ndarray, radius: float
) -> np.ndarray:
    """Group of each face-side (units,): its own number, or by cubes where they lie densely.

    Groups are numbered in the order of their first members.
    """
    cube = cubes_of(triangles, faces, sides, radius)
    _, crowd = np.unique(cube, return_counts=True)
    if np.pi * float((crowd.astype(float) ** 2).sum()) <= MOST_PAIRS:
        return np.arange(len(faces))
    cube = cubes_of(triangles, faces, sides, radius / CUBES_PER_RADIUS)
    _, lead, group = np.unique(cube, return_index=True, return_inverse=True)
    number = np.empty(len(lead), np.int64)
    number[np.argsort(lead)] = np.arange(len(lead))
    return number[group.reshape(-1)]


def _pairs(
    middles: np.ndarray,
    normals: np.ndarray,
    parts: np.ndarray,
    sides: np.ndarray,
    *,
    radius: float,
) -> tuple[np.ndarray, np.ndarray]:
    """`first` and `within` of `Discs`, from what is known of each group."""
    from scipy.spatial import cKDTree

    rows_of = {side: np.flatnonzero(sides == side) for side in np.unique(sides).tolist()}
    trees = {side: cKDTree(middles[rows]) for side, rows in rows_of.items()}
    sizes, within = [np.zeros(1, np.int64)], []
    for row in range(0, len(middles), ROWS):
        block = np.arange(row, min(row + ROWS, len(middles)))
        keys = []
        for side, rows in rows_of.items():
            own = block[sides[block] == side]
            near = cKDTree(middles[own]).sparse_distance_matrix(
                trees[side], radius, output_type="ndarray"
            )
            a, b = own[near["i"]], rows[near["j"]]
            same = (parts[a] == parts[b]) & ((normals[a] * normals[b]).sum(axis=1) > 0.5)
            same |= a == b  # each belongs to its own disc
            keys.append((a[same] - row) * len(middles) + b[same])
        owner, member = np.divmod(np.sort(np.concatenate(keys)), len(middles))
        sizes.append(np.bincount(owner, minlength=len(block)))
        within.append(member.astype(np.int32))
    return np.cumsum(np.concatenate(sizes)), np.concatenate(within)
