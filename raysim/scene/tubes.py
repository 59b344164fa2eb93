"""Where lamp tubes are: points on them, their distances, and faces that cut into them."""

import numpy as np

from raysim.scene.triangles import LampTube, face_boxes


def segment_distance(a: LampTube, b: LampTube) -> float:
    """Smallest distance (m) between the axes of two tubes.

    Source: closest points of two segments by clamping, Ericson, "Real-Time Collision Detection"
    (2005), section 5.1.9. Here points spread along one segment are tried, each with its nearest
    point of the other segment in closed form; then finer points around the best one, and so on.
    """
    low, high = 0.0, 1.0
    best = np.inf
    along_b = b.end - b.start
    for _ in range(6):
        steps = np.linspace(low, high, 33)
        points = a.start + steps[:, None] * (a.end - a.start)
        share = np.clip((points - b.start) @ along_b / (along_b @ along_b), 0.0, 1.0)
        gaps = np.linalg.norm(points - b.start - share[:, None] * along_b, axis=1)
        k = int(gaps.argmin())
        best = min(best, float(gaps[k]))
        low, high = steps[max(k - 1, 0)], steps[min(k + 1, 32)]
    return best


def tube_frame(tube: LampTube) -> np.ndarray:
    """Unit vectors (3, 3) of a frame whose third axis is that of the tube (definition)."""
    axis = tube.axis
    side = np.cross(axis, [1.0, 0.0, 0.0] if abs(axis[0]) < 0.9 else [0.0, 1.0, 0.0])
    side /= np.linalg.norm(side)
    return np.stack([side, np.cross(axis, side), axis])


def tube_points(tube: LampTube, around: int = 12, along: int = 5) -> np.ndarray:
    """Points (around, along, 3) on the mantle of a tube, m (definition)."""
    side, up, _ = tube_frame(tube)
    angles = np.linspace(0.0, 2.0 * np.pi, around, endpoint=False)
    ring = tube.radius * (np.outer(np.cos(angles), side) + np.outer(np.sin(angles), up))
    steps = np.linspace(0.0, 1.0, along)[:, None]
    return ring[:, None, :] + tube.start + steps * (tube.end - tube.start)


def tube_box(tube: LampTube) -> tuple[np.ndarray, np.ndarray]:
    """Low and high corner (3,), m, of a box that holds a tube (definition)."""
    ends = np.stack([tube.start, tube.end])
    return ends.min(axis=0) - tube.radius, ends.max(axis=0) + tube.radius


def faces_within(corners: np.ndarray, tube: LampTube) -> np.ndarray:
    """Numbers of the faces that reach into a tube.

    Parameters
    ----------
    corners : (faces, 3, 3) float64
        m.

    The part of a face between the two ends of the tube is a convex polygon; seen along the axis
    it must come nearer to the axis than the radius (definition).
    """
    import shapely

    local = (corners - tube.start) @ tube_frame(tube).T
    length = float(np.linalg.norm(tube.end - tube.start))
    low, high = face_boxes(local)
    near = (low[:, :2] < tube.radius).all(axis=1) & (high[:, :2] > -tube.radius).all(axis=1)
    near &= (low[:, 2] < length) & (high[:, 2] > 0.0)
    faces = np.flatnonzero(near)
    seen = [shapely.MultiPoint(_between(local[face], length)[:, :2]) for face in faces]
    away = shapely.distance(shapely.convex_hull(seen), shapely.Point(0.0, 0.0))  # of none: NaN
    return faces[away < tube.radius]


def _between(polygon: np.ndarray, length: float) -> np.ndarray:
    """The part of a convex polygon (corners, 3) with third coordinates from 0 to `length`.

    Source: Sutherland and Hodgman, "Reentrant polygon clipping", CACM 17(1) (1974).
    """
    for sign, level in ((1.0, 0.0), (-1.0, -length)):
        above = sign * polygon[:, 2] - level
        kept = []
        for i, corner in enumerate(polygon):
            before, b = polygon[i - 1], above[i - 1]
            if (b < 0.0) != (above[i] < 0.0):
                kept.append(before + b / (b - above[i]) * (corner - before))
            if above[i] >= 0.0:
                kept.append(corner)
        polygon = np.array(kept).reshape(-1, 3)
    return polygon
