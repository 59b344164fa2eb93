"""Patches: connected dark sites of the judged surface."""

from dataclasses import dataclass

import numpy as np

from raysim.base.figures import Figures
from raysim.scene.triangles import SceneTriangles

CLEAR = 2e-5  # m, start of a sight line before its face


@dataclass(frozen=True)
class DarkPatch(Figures):
    """Face-sides that lie together and get less than the limit; `faces` (members,), one side."""

    faces: np.ndarray
    side: int
    body: int
    area: float  # m2
    centroid: np.ndarray  # (3,) m


def patch_of(triangles: SceneTriangles, faces: np.ndarray, side: int) -> DarkPatch:
    """Patch of some face-sides (members,) of one body."""
    areas = triangles.areas[faces]
    centroid = (areas / areas.sum()) @ triangles.centroids[faces]
    return DarkPatch(faces, side, int(triangles.face_body[faces[0]]), float(areas.sum()), centroid)


def dark_patches(
    triangles: SceneTriangles, irradiance: np.ndarray, limit: float, smallest: float
) -> list[DarkPatch]:
    """Connected judged face-sides below `limit`, the largest patch first.

    Connected means sharing an edge, on one part and side.

    Parameters
    ----------
    irradiance : (faces, 2) float64
        W/m2.
    limit : float
        W/m2.
    smallest : float
        Area below which a patch is left out, m2.
    """
    found = []
    for side in (0, 1):
        faces = np.flatnonzero(triangles.judged[:, side] & (irradiance[:, side] < limit))
        if not len(faces):
            continue
        a, b, _ = neighbours(triangles, faces)
        count, label = connected(len(faces), a, b)
        areas = np.bincount(label, triangles.areas[faces], count)
        for number in np.flatnonzero(areas >= smallest):
            found.append(patch_of(triangles, faces[label == number], side))
    return sorted(found, key=lambda patch: -patch.area)


def connected(count: int, a: np.ndarray, b: np.ndarray) -> tuple[int, np.ndarray]:
    """How many groups `count` things make with links from `a` to `b`, and the group of each."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    links = coo_matrix((np.ones(len(a)), (a, b)), shape=(count, count))
    groups, label = connected_components(links, directed=False)
    return int(groups), label


def neighbours(
    triangles: SceneTriangles, faces: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pairs of rows of `faces` that share an edge on one part, and the ends of it.

    Rows (pairs,) and (pairs,); ends (pairs, 2, 3), m.
    """
    points, edges = triangles.edges_of(faces)
    owner = np.repeat(np.arange(len(faces)), 3)
    keys = np.column_stack([edges, triangles.face_part[faces[owner]]])
    _, where = np.unique(keys, axis=0, return_inverse=True)
    order = np.argsort(where.reshape(-1), kind="stable")
    same = where.reshape(-1)[order]
    touching = np.flatnonzero(same[1:] == same[:-1])
    ends = points[edges[order[touching]]]
    return owner[order[touching]], owner[order[touching + 1]], ends


def sample_points(
    triangles: SceneTriangles, patch: DarkPatch, count: int, seed: int
) -> tuple[np.ndarray, np.ndarray]:
    """Points (count, 3), m, uniform over a patch, and the site normals there on its side."""
    random = np.random.default_rng(seed)
    areas = triangles.areas[patch.faces]
    faces = patch.faces[random.choice(len(areas), count, p=areas / areas.sum())]
    u, v = np.sqrt(random.random(count)), random.random(count)
    corners = triangles.corners[faces]
    weights = np.stack([1.0 - u, u * (1.0 - v), u * v], axis=1)
    points = np.einsum("nk,nkx->nx", weights, corners)
    return points, triangles.normals[faces] * (1.0 if patch.side == 0 else -1.0)
