"""Exact distances, crossings and free depths of triangle meshes, for the tests of the shapes."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree


def near_pairs(first, second):
    """Index pairs (n,), (n,) of triangles (., 3, 3) whose bounding balls come within 1.5 mm."""
    balls = []
    for triangles in (first, second):
        centre = triangles.mean(axis=1)
        balls.append((centre, np.linalg.norm(triangles - centre[:, None], axis=2).max(axis=1)))
    (centre_a, radius_a), (centre_b, radius_b) = balls
    near = cKDTree(centre_b).query_ball_point(centre_a, radius_a + radius_b.max() + 1.5)
    i = np.repeat(np.arange(len(first)), [len(n) for n in near])
    j = np.concatenate([np.asarray(n, dtype=int) for n in near])
    keep = np.linalg.norm(centre_a[i] - centre_b[j], axis=1) < radius_a[i] + radius_b[j] + 1.5
    return i[keep], j[keep]


def _segment_distance(p, u, q, v):
    """Distances (n,) of segments p + s u and q + t v, all (n, 3) and none of zero length."""
    w = p - q
    a, b, c = (u * u).sum(1), (u * v).sum(1), (v * v).sum(1)
    d, e = (u * w).sum(1), (v * w).sum(1)
    slant = a * c - b * b
    skew = slant > 1e-12 * a * c
    s = np.where(skew, np.clip((b * e - c * d) / np.where(skew, slant, 1.0), 0.0, 1.0), 0.0)
    t = np.clip((b * s + e) / c, 0.0, 1.0)
    s = np.clip((b * t - d) / a, 0.0, 1.0)
    return np.linalg.norm(w + s[:, None] * u - t[:, None] * v, axis=1)


def _foot_distance(points, triangles):
    """Distances (n,) of points from the planes of triangles, inf where the foot is outside."""
    corner, u, v = triangles[:, 0], *(triangles[:, k] - triangles[:, 0] for k in (1, 2))
    normal = np.cross(u, v)
    area = (normal * normal).sum(1)
    w = points - corner
    s = (np.cross(w, v) * normal).sum(1) / area
    t = (np.cross(u, w) * normal).sum(1) / area
    height = np.abs((w * normal).sum(1)) / np.sqrt(area)
    return np.where((s >= 0.0) & (t >= 0.0) & (s + t <= 1.0), height, np.inf)


def _pierces(start, end, triangles):
    """Whether segments (n, 3) to (n, 3) pass through triangles (n, 3, 3)."""
    corner, u, v = triangles[:, 0], *(triangles[:, k] - triangles[:, 0] for k in (1, 2))
    way, normal = end - start, np.cross(u, v)
    slope = (way * normal).sum(1)
    crossing = np.abs(slope) > 1e-9 * np.linalg.norm(way, axis=1) * np.linalg.norm(normal, axis=1)
    r = ((corner - start) * normal).sum(1) / np.where(crossing, slope, 1.0)
    w = start + r[:, None] * way - corner
    area = (normal * normal).sum(1)
    s = (np.cross(w, v) * normal).sum(1) / area
    t = (np.cross(u, w) * normal).sum(1) / area
    return crossing & (r >= 0.0) & (r <= 1.0) & (s >= 0.0) & (t >= 0.0) & (s + t <= 1.0)


def triangle_distances(a, b):
    """Distances (n,) of triangle pairs (n, 3, 3), 0 where they cross."""
    best = np.full(len(a), np.inf)
    for k in range(3):
        best = np.minimum(best, _foot_distance(a[:, k], b))
        best = np.minimum(best, _foot_distance(b[:, k], a))
        best[_pierces(a[:, k], a[:, k - 1], b) | _pierces(b[:, k], b[:, k - 1], a)] = 0.0
        for m in range(3):
            u, v = a[:, k - 1] - a[:, k], b[:, m - 1] - b[:, m]
            best = np.minimum(best, _segment_distance(a[:, k], u, b[:, m], v))
    return best


def clearance(first, second):
    """Least distance of two meshes in mm, inf when it is beyond 1.5 mm."""
    i, j = near_pairs(first.triangles, second.triangles)
    if len(i) == 0:
        return np.inf
    least = triangle_distances(first.triangles[i], second.triangles[j]).min()
    return least if least <= 1.5 else np.inf


def crossings(mesh):
    """Count of edge and triangle pairs of one mesh that share no vertex and cross."""
    i, j = near_pairs(mesh.triangles, mesh.triangles)
    count = 0
    for k in range(3):
        edge = mesh.faces[i][:, [k, k - 1]]
        apart = ~(edge[:, :, None] == mesh.faces[j][:, None, :]).any(axis=(1, 2))
        ends = mesh.vertices[edge[apart]]
        count += int(_pierces(ends[:, 0], ends[:, 1], mesh.triangles[j[apart]]).sum())
    return count


def free_depth(source, target, reach_mm=6.0):
    """Free way (m, 2) in mm straight out of both sides of each face of `source`.

    The way starts at the middle of a face and runs along its normal (first column) or against
    it, up to the first face of `target`; inf where it meets none within `reach_mm`.
    """
    middle = target.triangles_center
    ball = np.linalg.norm(target.triangles - middle[:, None], axis=2).max()
    near = cKDTree(middle).query_ball_point(source.triangles_center, ball + reach_mm)
    i = np.repeat(np.arange(len(near)), [len(n) for n in near])
    j = np.concatenate([np.asarray(n, dtype=int) for n in near])
    depth = np.full((len(near), 2), np.inf)
    for side, sign in enumerate((1.0, -1.0)):
        start = source.triangles_center + 1e-6 * sign * source.face_normals
        end = source.triangles_center + reach_mm * sign * source.face_normals
        hit = _pierces(start[i], end[i], target.triangles[j])
        a, b = i[hit], j[hit]
        slope = (source.face_normals[a] * target.face_normals[b]).sum(1)
        offset = target.triangles[b, 0] - source.triangles_center[a]
        way = (offset * target.face_normals[b]).sum(1) / slope
        np.minimum.at(depth[:, side], a, sign * way)
    return depth
