"""Closest hits in the demo scenes, against Embree: random rays, and rays at shared edges.

Embree (Intel, Apache 2.0) through the package embreex. It reckons in single precision, so the two
may meet different things where a ray passes an edge; there, brute force in double precision says
who is right. Distances are compared, not faces: faces tie at edges.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from ray_casting import cast

from raysim import load_scene

SCENES = [
    path
    for path in sorted((Path(__file__).parents[2] / "scenes").glob("*.toml"))
    if not path.stem.startswith("lining_")  # of the same triangles as clinic_locker
]


@cache
def corners_of(path):
    """Triangles of a scene, (n, 3, 3), m."""
    return load_scene(path).triangles.corners


def embree_distances(corners, origins, directions):
    """Distance (m) of the first thing that each ray meets by Embree; 1e37 for none."""
    rtcore_scene = pytest.importorskip("embreex.rtcore_scene")
    from embreex.mesh_construction import TriangleMesh

    scene = rtcore_scene.EmbreeScene()
    faces = np.arange(3 * len(corners), dtype=np.int32).reshape(-1, 3)
    TriangleMesh(scene, corners.reshape(-1, 3).astype(np.float32), faces)
    rays = origins.astype(np.float32), directions.astype(np.float32)
    return scene.run(*rays, output=True)["tfar"].astype(float)


def rounded(corners, origins, directions):
    """All of it rounded to single precision, so that both programs get the same problem."""
    return [np.float32(a).astype(float) for a in (corners, origins, directions)]


def inside_points(corners, random, count):
    """Points in the chamber, which holds all else of a scene, m."""
    low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
    return low + (high - low) * random.uniform(0.001, 0.999, (count, 3))


def unit(vectors):
    """Vectors (n, 3) over their lengths."""
    return vectors / np.linalg.norm(vectors, axis=1)[:, None]


def margins(corners, origin, direction):
    """Distance to the plane of each triangle, and by how much of its size the ray clears its edges.

    Positive inside. Method: Moeller and Trumbore, JGT 2(1) (1997), in double precision.
    """
    a, u, v = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    p = np.cross(direction, v)
    with np.errstate(divide="ignore", invalid="ignore"):
        inverse = 1.0 / (u * p).sum(axis=1)
        s = origin - a
        b = (s * p).sum(axis=1) * inverse
        q = np.cross(s, u)
        c = (q @ direction) * inverse
        t = (v * q).sum(axis=1) * inverse
    return np.where(np.isfinite(t), t, np.inf), np.minimum(np.minimum(b, c), 1.0 - b - c)


def compare(path, rays, seed):
    """Random rays in a scene: share of misses of ours, and of rays on which the two differ.

    Where they differ, brute force must find nothing clearly nearer than our hit, and our hit.
    """
    random = np.random.default_rng(seed)
    whole = corners_of(path)
    corners, origins, directions = rounded(
        whole, inside_points(whole, random, rays), unit(random.normal(size=(rays, 3)))
    )
    mine, _ = cast(corners, origins, directions)
    theirs = embree_distances(corners, origins, directions)
    length = np.linalg.norm(directions, axis=1)
    differ = np.flatnonzero(np.abs(theirs - mine) * length > 2e-6 + 1e-5 * mine)
    for i in differ:
        t, margin = margins(corners, origins[i], directions[i])
        nearer = (t > 1e-7) & (t < mine[i] * (1.0 - 1e-9)) & (margin > 1e-7)
        assert not nearer.any(), "a face was missed"
        assert ((abs(t - mine[i]) < 1e-7) & (margin > -1e-7)).any(), "nothing is there"
    return int((~np.isfinite(mine)).sum()), len(differ)


@pytest.mark.parametrize("path", SCENES, ids=lambda p: p.stem)
def test_random_rays_meet_what_embree_says(path, record_property):
    missed, differ = compare(path, 100_000, 1)
    record_property("evidence", f"{path.stem}: misses in 100,000 rays|0|{missed}|")
    record_property("evidence", f"{path.stem}: other distance than Embree's|0|{differ}|")
    assert missed == 0
    assert differ < 100  # one in a thousand


@pytest.mark.slow
@pytest.mark.parametrize("path", SCENES, ids=lambda p: p.stem)
def test_a_million_random_rays_meet_what_embree_says(path):
    missed, differ = compare(path, 1_000_000, 2)
    assert missed == 0
    assert differ < 1_000


def shared(corners):
    """Edges that two or more triangles share, as pairs of corners (n, 2, 3), and corners (m, 3)."""
    points, where = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    faces = where.reshape(-1, 3)
    edges = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    edges, count = np.unique(edges, axis=0, return_counts=True)
    edges = edges[count >= 2]
    return points[edges], points[np.unique(edges)]


def aim(corners, random, rays):
    """Points on shared edges and at their ends, half each, (rays, 3)."""
    edges, points = shared(corners)
    edge = edges[random.integers(len(edges), size=rays // 2)]
    share = random.choice([0.5, 0.25, 1e-9, 0.3, 0.9], rays // 2)[:, None]
    on_edges = edge[:, 0] + share * (edge[:, 1] - edge[:, 0])
    return np.vstack([on_edges, points[random.integers(len(points), size=rays - rays // 2)]])


def aimed(path, rays, seed):
    """Rays at shared edges and corners: how many of ours meet nothing, or go past Embree's hit."""
    random = np.random.default_rng(seed)
    whole = np.float32(corners_of(path)).astype(float)
    targets = aim(whole, random, rays)
    origins = np.float32(inside_points(whole, random, rays)).astype(float)
    directions = targets - origins
    mine, _ = cast(whole, origins, directions)
    theirs = embree_distances(whole, origins, directions)
    length = np.linalg.norm(directions, axis=1)
    beyond = (mine - theirs) * length > 4e-6 + 2e-5 * mine * length
    past = [
        i
        for i in np.flatnonzero(beyond)
        if clearly_there(whole, origins[i], directions[i], mine[i])
    ]
    short = (theirs - mine) * length > 4e-6 + 2e-5 * mine * length
    return int((~np.isfinite(mine)).sum()), len(past), int(short.sum())


def clearly_there(corners, origin, direction, ours):
    """Whether brute force finds a face before our hit, with no edge within 1e-6 of its size."""
    t, margin = margins(corners, origin, direction)
    return bool(((t > 1e-7) & (t < ours * (1.0 - 1e-9)) & (margin > 1e-6)).any())


@pytest.mark.parametrize("path", SCENES, ids=lambda p: p.stem)
def test_no_ray_at_an_edge_or_a_corner_goes_astray(path, record_property):
    missed, past, _ = aimed(path, 60_000, 3)
    record_property("evidence", f"{path.stem}: misses in 60,000 rays at edges|0|{missed}|")
    assert missed == 0
    assert past == 0


@pytest.mark.slow
@pytest.mark.parametrize("path", SCENES, ids=lambda p: p.stem)
def test_no_ray_of_many_at_edges_goes_astray(path):
    missed, past, _ = aimed(path, 250_000, 4)
    assert missed == 0
    assert past == 0
