"""Faces that lie on one another, corner on corner: drawn twice, or once for each side."""

import numpy as np

# Odd factors that hash the coordinates of a corner. Faces whose corners have the same sum of hashes
# are then compared corner by corner.
_FACTORS = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], np.uint64)


def twins(
    vertices: np.ndarray, corners: np.ndarray, first: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """For each face the first one with the same outline (faces,), and 1, or -1 if it runs reversed.

    Parameters
    ----------
    vertices : (vertices, 3) float64
    corners : (corners,) int64
        Rows of `vertices`, face after face.
    first : (faces,) int64
        Where the corners of each face begin.

    Source: definition.
    """
    codes = ((vertices + 0.0).view(np.uint64) * _FACTORS).sum(axis=1, dtype=np.uint64)
    codes = (codes ^ (codes >> np.uint64(29))) * _FACTORS[0]
    sums = np.add.reduceat(codes[corners], first)
    _, index, inverse = np.unique(sums, return_index=True, return_inverse=True)
    like = index[inverse]
    way = np.ones(len(first), int)
    ends = np.append(first[1:], len(corners))
    for face in np.flatnonzero(like != np.arange(len(like))):
        twin = like[face]
        one, other = (corners[first[k] : ends[k]] for k in (twin, face))
        way[face] = _way_round(vertices[one].tolist(), vertices[other].tolist())
        if not way[face]:
            like[face], way[face] = face, 1
    return like, way


def _way_round(one: list[list[float]], other: list[list[float]]) -> int:
    """1 if two outlines pass the same places in the same order, -1 if reversed, else 0."""
    for start in (k for k, place in enumerate(one) if place == other[0]):
        turned = one[start:] + one[:start]
        if other == turned:
            return 1
        if other == [turned[0], *turned[:0:-1]]:
            return -1
    return 0
