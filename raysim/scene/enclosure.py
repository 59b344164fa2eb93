"""Whether walls drawn as a mesh enclose one space, and face into it everywhere."""

import numpy as np

MOST_PAIRS = 20_000_000  # of a point and a triangle, looked at
MOST_POINTS = 500
LIFT = 1e-6  # of the size of the mesh: how far before a wall it is looked at


def signed_volume(corners: np.ndarray) -> float:
    """Volume of a closed mesh, corners (faces, 3, 3); negative where its normals point inwards.

    Source: sum of the signed tetrahedra about the origin (divergence theorem).
    """
    a, b, c = np.moveaxis(corners - corners.reshape(-1, 3).mean(axis=0), 1, 0)
    return float((a * np.cross(b, c)).sum() / 6.0)


def winding_numbers(points: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """How often a closed mesh goes round each point (points,): 1 within, 0 outside.

    Parameters
    ----------
    points : (points, 3) float64
        In the unit of `corners`, none on a triangle.
    corners : (faces, 3, 3) float64
        Counted negative where the normals point inwards.

    Source: sum of solid angles over 4 pi; each by van Oosterom and Strackee, "The solid angle of
    a plane triangle", IEEE Trans. Biomed. Eng. 30(2) (1983), eq. 8.
    """
    found = np.zeros(len(points))
    for number, point in enumerate(points):
        a, b, c = np.moveaxis(corners - point, 1, 0)
        la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
        across = (a * np.cross(b, c)).sum(axis=1)
        along = la * lb * lc
        along += (a * b).sum(axis=1) * lc + (b * c).sum(axis=1) * la + (c * a).sum(axis=1) * lb
        found[number] = 2.0 * np.arctan2(across, along).sum() / (4.0 * np.pi)
    return found


def wall_astray(corners: np.ndarray) -> np.ndarray | None:
    """A point of a closed mesh (3,) that does not part the inside from the outside, or None.

    `corners` (faces, 3, 3) with normals into the chamber. Before each wall must be the inside, and
    behind it the outside: elsewhere the mesh cuts itself, or a part of it faces the wrong way.
    Of large meshes some faces are looked at, evenly spread (definition).
    """
    count = min(len(corners), MOST_POINTS, max(MOST_PAIRS // (2 * len(corners)), 8))
    chosen = np.unique(np.linspace(0, len(corners) - 1, count).astype(int))
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[chosen]
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    middles = corners[chosen].mean(axis=1)
    lift = LIFT * float(np.ptp(corners.reshape(-1, 3), axis=0).max()) * normals
    before, behind = (-winding_numbers(middles + way * lift, corners) for way in (1.0, -1.0))
    astray = (np.abs(before - 1.0) > 0.01) | (np.abs(behind) > 0.01)
    return middles[astray.argmax()] if astray.any() else None
