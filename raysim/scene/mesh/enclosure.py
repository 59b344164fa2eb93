"""Whether walls drawn as a mesh enclose one space, and face into it everywhere."""

import numpy as np

from raysim.scene.triangles import normals_and_areas

MOST_PAIRS = 4_000_000  # pairs of a point and a triangle to look at
BLOCK = 100_000  # pairs at a time
MOST_FACES = 200
LIFT = 1e-6  # share of the mesh's size: distance of the test points from their wall
# Test points of a face, as weights of its three corners.
_SHARES = np.array(
    [[1, 1, 1]] + [[9, 1, 1], [1, 9, 1], [1, 1, 9]] + [[5, 5, 1], [1, 5, 5], [5, 1, 5]], float
)
_SHARES /= _SHARES.sum(axis=1, keepdims=True)


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
    block = max(BLOCK // len(corners), 1)
    for first in range(0, len(points), block):
        some = slice(first, first + block)
        a, b, c = np.moveaxis(corners[None] - points[some, None, None], 2, 0)
        la, lb, lc = (np.linalg.norm(v, axis=2) for v in (a, b, c))
        across = (a * np.cross(b, c)).sum(axis=2)
        along = la * lb * lc
        along += (a * b).sum(axis=2) * lc + (b * c).sum(axis=2) * la + (c * a).sum(axis=2) * lb
        found[some] = 2.0 * np.arctan2(across, along).sum(axis=1) / (4.0 * np.pi)
    return found


def wall_astray(corners: np.ndarray) -> np.ndarray | None:
    """A point (3,) of a closed mesh where the wall does not separate inside and outside, or None.

    `corners` (faces, 3, 3) with normals into the chamber. The inside must lie before each wall and
    the outside behind it. Where that fails, the mesh cuts itself, or a part faces the wrong way.
    Test points are the middle of a face and points near its corners and the middles of its edges;
    of large meshes only some faces are tested, evenly spread (definition).
    """
    most = max(MOST_PAIRS // (2 * len(_SHARES) * len(corners)), 2)
    chosen = np.linspace(0, len(corners) - 1, min(len(corners), MOST_FACES, most)).astype(int)
    normals, _ = normals_and_areas(corners[chosen])
    points = (_SHARES @ corners[chosen]).reshape(-1, 3)
    size = float(np.ptp(corners.reshape(-1, 3), axis=0).max())
    lift = LIFT * size * np.repeat(normals, len(_SHARES), axis=0)
    before, behind = (-winding_numbers(points + way * lift, corners) for way in (1.0, -1.0))
    astray = (np.abs(before - 1.0) > 0.01) | (np.abs(behind) > 0.01)
    return points[astray.argmax()] if astray.any() else None
