"""Folds of a respirator, found in its mesh: lines along which the cloth is bent sharply."""

from dataclasses import dataclass

import numpy as np

from raysim.scene.triangles import SceneTriangles
from raysim.studies.shadows.patches import connected, neighbours

TIGHT = 0.006  # m: cloth bent to a smaller radius than this is folded (estimate)
LEAST_BEND = np.radians(5.0)  # of one edge; less is the roundness of the mesh
SHORTEST = 0.4  # of the width of the object: what is shorter is no fold
NEARBY = 0.008  # m: bends nearer to each other than this make one fold
AT = 0.004  # m: nearer than this, a spot lies at the fold itself


@dataclass(frozen=True)
class Fold:
    """One fold of an object: its name, and points along it (points, 3), m."""

    name: str
    points: np.ndarray


def folds(triangles: SceneTriangles, body: int) -> tuple[Fold, ...]:
    """Folds of a judged object as it hangs.

    Those in its lower half lie at the chin, others at the nose; a bend that runs all round is the
    rim.

    An edge belongs to a fold where the angle between its two faces over the way between their
    middles says a radius below `TIGHT`.
    """
    cloth = np.flatnonzero(np.isin(triangles.face_part, _shells(triangles, body)))
    if not len(cloth):
        return ()
    size = np.ptp(triangles.corners[cloth].reshape(-1, 3), axis=0)
    middle = float(np.average(triangles.centroids[cloth][:, 2], weights=triangles.areas[cloth]))
    found = []
    for line in _connected(_bends(triangles, cloth)):
        extent = np.ptp(line, axis=0)
        if np.hypot(*extent[:2]) < SHORTEST * np.hypot(*size[:2]):
            continue
        name = "chin fold" if line[:, 2].mean() < middle else "nose fold"
        found.append(Fold("rim" if extent[2] > 0.7 * size[2] else name, line))
    return tuple(found)


def fold_words(triangles: SceneTriangles, body: int, point: np.ndarray) -> str:
    """How far a point (m) lies from the nearest fold of an object, "" where it has none."""
    nearest = [
        (float(np.linalg.norm(fold.points - point, axis=1).min()), fold.name)
        for fold in folds(triangles, body)
    ]
    if not nearest:
        return ""
    distance, name = min(nearest)
    return f"at the {name}" if distance < AT else f"{1000 * distance:.0f} mm from the {name}"


def _shells(triangles: SceneTriangles, body: int) -> list[int]:
    """Parts of a body that are cloth: all thin sheets but the straps and clips."""
    own = [k for k, part in enumerate(triangles.parts) if part.body == body and part.two_sided]
    area = {k: triangles.areas[triangles.face_part == k].sum() for k in own}
    return [k for k in own if area[k] >= 0.5 * max(area.values())]


def _bends(triangles: SceneTriangles, faces: np.ndarray) -> np.ndarray:
    """Middles (edges, 3), m, of the edges between two faces along which the cloth is folded."""
    a, b, ends = neighbours(triangles, faces)
    normals, middles = triangles.normals[faces], triangles.centroids[faces]
    angle = np.arccos(np.clip((normals[a] * normals[b]).sum(axis=1), -1.0, 1.0))
    along = ends[:, 1] - ends[:, 0]
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-12)[:, None]
    way = middles[b] - middles[a]
    across = np.linalg.norm(way - (way * along).sum(axis=1)[:, None] * along, axis=1)
    sharp = (angle > LEAST_BEND) & (angle * TIGHT > across)
    return np.asarray(ends[sharp].mean(axis=1))


def _connected(points: np.ndarray) -> list[np.ndarray]:
    """Points (n, 3) in groups of which each is nearer than `NEARBY` to the next, largest first."""
    if not len(points):
        return []
    from scipy.spatial import cKDTree

    pairs = cKDTree(points).query_pairs(NEARBY, output_type="ndarray")
    count, label = connected(len(points), *pairs.T)
    groups = [points[label == k] for k in range(count)]
    return sorted(groups, key=lambda group: -len(group))
