"""Small discs of the judged surface: face-sides that lie together."""

import numpy as np

from raysim.scene.triangles import SceneTriangles

PATCH_AREA = 1e-4  # m2, the 1 cm2 that is reported beside the worst face


def disc_members(
    triangles: SceneTriangles, faces: np.ndarray, sides: np.ndarray, area: float
) -> tuple[np.ndarray, np.ndarray]:
    """Face-sides within a disc of `area` around each given face-side.

    Members lie on the same part and side, with their middles no farther away than the radius of
    a disc of that area, and face the same way within 60 degrees (so that the other layer of a
    fold is not taken in).

    Parameters
    ----------
    faces, sides : (units,) int64
    area : float
        m2.

    Returns
    -------
    owner, member : (pairs,) int64
        Row of the unit, and row (of the same arrays) that belongs to its disc; sorted by owner.
    """
    from scipy.spatial import cKDTree

    count, radius = len(faces), np.sqrt(area / np.pi)
    middles, normals = triangles.centroids[faces], triangles.normals[faces]
    parts = triangles.face_part[faces]
    keys = [np.arange(count) * (count + 1)]  # owner * count + member; each belongs to its own disc
    for side in np.unique(sides):
        rows = np.flatnonzero(sides == side)
        a, b = rows[cKDTree(middles[rows]).query_pairs(radius, output_type="ndarray")].T
        same = (parts[a] == parts[b]) & ((normals[a] * normals[b]).sum(axis=1) > 0.5)
        a, b = a[same], b[same]
        keys += [a * count + b, b * count + a]
    return np.divmod(np.sort(np.concatenate(keys)), count)


def disc_means(
    values: np.ndarray, areas: np.ndarray, owner: np.ndarray, member: np.ndarray
) -> np.ndarray:
    """Area-weighted mean of `values` (units,) over the disc of each unit (definition)."""
    units = len(values)
    weight = np.bincount(owner, areas[member], units)
    return np.bincount(owner, (areas * values)[member], units) / weight


def disc_errors(
    errors: np.ndarray, areas: np.ndarray, owner: np.ndarray, member: np.ndarray
) -> np.ndarray:
    """Standard error of `disc_means` where those of the values, (units,), are independent.

    Source: propagation of independent errors through a weighted mean (definition).
    """
    units = len(errors)
    weight = np.bincount(owner, areas[member], units)
    return np.sqrt(np.bincount(owner, ((areas * errors) ** 2)[member], units)) / weight
