"""Nearest hits against brute force, against an independent library, and on awkward input."""

import numpy as np
import pytest
from built_scenes import box, icosphere, rectangle
from ray_casting import NO_TUBES, cast, tree_of

from raysim.kernels.compile import kernel
from raysim.kernels.intersect import (
    passes_tube,
    ray_triangle_distance,
    ray_tube_distance,
    shear,
)
from raysim.kernels.traverse import nearest_hit, new_scratch


def unit(vectors):
    """Vectors (n, 3) over their lengths."""
    return vectors / np.linalg.norm(vectors, axis=1)[:, None]


def random_triangles(count, seed, size=0.2):
    """Triangles of a random soup in the unit cube."""
    random = np.random.default_rng(seed)
    return random.random((count, 1, 3)) + size * random.normal(size=(count, 3, 3))


def random_rays(count, seed):
    """Origins in and about the unit cube, and unit directions."""
    random = np.random.default_rng(seed)
    return random.uniform(-0.5, 1.5, (count, 3)), unit(random.normal(size=(count, 3)))


def brute_triangles(corners, origins, directions):
    """Distances (rays, faces) by Moeller and Trumbore, JGT 2(1) (1997); inf where missed.

    And the margin by which each is hit or missed.
    """
    a, u, v = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    p = np.cross(directions[:, None], v)
    with np.errstate(divide="ignore", invalid="ignore"):
        inverse = 1.0 / (u * p).sum(axis=2)
        s = origins[:, None] - a
        b = (s * p).sum(axis=2) * inverse
        q = np.cross(s, u)
        c = (directions[:, None] * q).sum(axis=2) * inverse
        t = (v * q).sum(axis=2) * inverse
    margin = np.minimum(np.minimum(b, c), np.minimum(1.0 - b - c, t))
    return np.where(margin > 0.0, t, np.inf), margin


def brute_tubes(tubes, origins, directions):
    """Distances (rays, tubes); inf where missed or where a ray starts inside.

    Found as the overlap of the ray's stay between the end planes with its stay in the endless
    cylinder.
    """
    distances = np.full((len(origins), len(tubes)), np.inf)
    for i, (*start, wx, wy, wz, length, radius) in enumerate(tubes):
        axis = np.array([wx, wy, wz])
        o = origins - np.array(start)
        o_along, d_along = o @ axis, directions @ axis
        o, d = o - o_along[:, None] * axis, directions - d_along[:, None] * axis
        with np.errstate(divide="ignore", invalid="ignore"):
            planes = np.sort(np.stack([-o_along, length - o_along]) / d_along, axis=0)
            a, b, c = (d * d).sum(1), (o * d).sum(1), (o * o).sum(1) - radius**2
            root = np.sqrt(b * b - a * c)  # nan where the cylinder is missed
            round_in, round_out = (-b - root) / a, (root - b) / a
        endless = a == 0.0  # along the axis: always or never inside the endless cylinder
        round_in[endless] = np.where(c[endless] < 0.0, -np.inf, np.inf)
        round_out[endless] = np.inf
        enter, leave = np.maximum(planes[0], round_in), np.minimum(planes[1], round_out)
        hit = (enter < leave) & (enter > 0.0)
        distances[hit, i] = enter[hit]
    return distances


def random_tubes(count, seed):
    """Rows of tubes of all shapes in the unit cube."""
    random = np.random.default_rng(seed)
    axes = unit(random.normal(size=(count, 3)))
    axes[:3] = np.eye(3)[: min(count, 3)]
    sizes = random.uniform(0.02, 0.5, (count, 1)), random.uniform(0.01, 0.2, (count, 1))
    return np.hstack([random.random((count, 3)), axes, *sizes])


def test_nearest_triangle_of_a_soup_is_that_of_brute_force():
    corners = random_triangles(400, 1)
    origins, directions = random_rays(20_000, 2)
    distances, faces = cast(corners, origins, directions)
    for part in np.array_split(np.arange(20_000), 10):
        brute, margin = brute_triangles(corners, origins[part], directions[part])
        doubtful = (np.abs(margin) < 1e-9).any(axis=1)
        assert doubtful.mean() < 1e-3
        nearest = brute.min(axis=1)[~doubtful]
        mine = distances[part][~doubtful]
        assert np.array_equal(np.isfinite(mine), np.isfinite(nearest))
        seen = np.isfinite(mine)
        assert np.abs(mine[seen] / nearest[seen] - 1.0).max() < 1e-9
        assert np.array_equal(faces[part][~doubtful][seen], brute.argmin(axis=1)[~doubtful][seen])


@kernel
def nearest_of_all(corners, origins, directions, distances, faces):
    """Nearest hits by the plain test of every triangle, no hierarchy."""
    for i in range(len(origins)):
        o, d = origins[i], directions[i]
        kx, ky, kz, sx, sy, sz = shear(d[0], d[1], d[2])
        for face in range(len(corners)):
            distance = ray_triangle_distance(
                corners, face, o[kx], o[ky], o[kz], kx, ky, kz, sx, sy, sz
            )
            if distance < distances[i]:
                distances[i], faces[i] = distance, face


MESHES = {
    "soup": random_triangles(500, 14),
    "ball": icosphere(0.4, 3, (0.5, 0.5, 0.5))[0],
    "box far off": box(1_000.0, 1_001.0, 6),
}


@pytest.mark.parametrize("mesh", MESHES)
def test_hits_are_those_of_the_plain_loop_to_the_last_bit(mesh):
    corners, count = MESHES[mesh], 20_000
    low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
    origins, directions = random_rays(count, 15)
    origins = low + (high - low) * origins
    expected, expected_faces = np.full(count, np.inf), np.full(count, -1)
    nearest_of_all(corners.reshape(-1, 9), origins, directions, expected, expected_faces)
    distances, faces = cast(corners, origins, directions)
    assert np.isfinite(expected).mean() > 0.1
    assert (distances == expected).all()
    # Two faces can be met at the same distance only on a common edge: by chance next to never.
    assert (faces != expected_faces).sum() <= 2


@kernel
def tube_answers(tubes, origins, directions, passes, distances):
    """What both tests say of each ray and tube."""
    for i in range(len(origins)):
        o, d = origins[i], directions[i]
        for j in range(len(tubes)):
            passes[i, j] = passes_tube(tubes, j, o[0], o[1], o[2], d[0], d[1], d[2])
            distances[i, j] = ray_tube_distance(tubes, j, o[0], o[1], o[2], d[0], d[1], d[2])


@pytest.mark.parametrize("off", [0.0, 1e3])
def test_only_rays_that_miss_a_tube_are_told_to_pass_it(off):
    tubes = random_tubes(6, 23)
    tubes[:, :3] += off
    origins, directions = random_rays(60_000, 24)
    origins += off
    # Most of them graze the mantle of a tube, on either side of it, by less and less.
    row = tubes[np.arange(len(origins)) % len(tubes)]
    along = row[:, :3] + row[:, 6:7] * np.linspace(0.0, 1.0, len(row))[:, None] * row[:, 3:6]
    side = unit(np.cross(directions, row[:, 3:6]))
    miss = np.resize([0.0, 1e-12, -1e-12, 1e-9, -1e-9, 1e-3, -1e-3, 0.5], len(row))
    grazing = slice(6_000, None)
    origins[grazing] = (along + (row[:, 7] * (1.0 + miss))[:, None] * side - 0.5 * directions)[
        grazing
    ]
    directions[:100] = row[:100, 3:6]  # along the axis, where the lines have no distance
    shape = (len(origins), len(tubes))
    passes, distances = np.zeros(shape, bool), np.zeros(shape)
    tube_answers(tubes, origins, directions, passes, distances)
    assert np.isinf(distances[passes]).all()
    assert np.isfinite(distances).sum() > 10_000
    # It pays: of the rays that miss, nearly all are told to pass.
    assert passes[np.isinf(distances)].mean() > 0.8


def test_tubes_are_hit_where_brute_force_says():
    tubes = random_tubes(12, 3)
    origins, directions = random_rays(60_000, 4)
    directions[:3_000] = np.sign(directions[:3_000]) * np.eye(3)[np.arange(3_000) % 3]
    brute = brute_tubes(tubes, origins, directions)
    inside = np.zeros(len(origins), bool)
    for row in tubes:
        along = (origins - row[:3]) @ row[3:6]
        across = np.linalg.norm(origins - row[:3] - along[:, None] * row[3:6], axis=1)
        inside |= (along > -1e-9) & (along < row[6] + 1e-9) & (across < row[7] + 1e-9)
    distances, hits = cast(np.zeros((0, 3, 3)), origins, directions, tubes)
    nearest = brute.min(axis=1)
    assert np.array_equal(np.isfinite(distances[~inside]), np.isfinite(nearest[~inside]))
    seen = np.isfinite(distances) & ~inside
    assert seen.sum() > 4_000
    assert np.abs(distances[seen] - nearest[seen]).max() < 1e-9
    assert np.array_equal(hits[seen], brute.argmin(axis=1)[seen])


def test_rays_along_and_across_a_tube():
    tube = np.array([[0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.5, 0.1]])
    down, up = (0.0, 0.0, -1.0), (-0.0, -0.0, 1.0)
    assert ray_tube_distance(tube, 0, 0.05, 0.0, 2.0, *down) == 1.5
    assert ray_tube_distance(tube, 0, 0.05, 0.0, -1.0, *up) == 1.0
    assert ray_tube_distance(tube, 0, 0.2, 0.0, 2.0, *down) == np.inf
    assert ray_tube_distance(tube, 0, 0.05, 0.0, 2.0, *up) == np.inf
    assert ray_tube_distance(tube, 0, 1.0, 0.0, 0.25, -1.0, 0.0, -0.0) == pytest.approx(0.9)
    assert ray_tube_distance(tube, 0, 1.0, 0.0, 0.75, -1.0, 0.0, 0.0) == np.inf
    assert ray_tube_distance(tube, 0, 1.0, 0.2, 0.25, -1.0, 0.0, 0.0) == np.inf
    assert ray_tube_distance(tube, 0, 1.0, 0.0, 0.25, 1.0, 0.0, 0.0) == np.inf


def test_the_nearer_of_tube_and_triangle_is_met():
    corners, tubes = random_triangles(200, 5), random_tubes(6, 6)
    origins, directions = random_rays(10_000, 7)
    both, hits = cast(corners, origins, directions, tubes)
    faces_only, _ = cast(corners, origins, directions)
    tubes_only, _ = cast(np.zeros((0, 3, 3)), origins, directions, tubes)
    assert np.array_equal(both, np.minimum(faces_only, tubes_only))
    assert np.array_equal(hits >= 200, tubes_only < faces_only)


@pytest.mark.parametrize("zero", [0.0, -0.0])
@pytest.mark.parametrize("axis", range(3))
@pytest.mark.parametrize("way", [1.0, -1.0])
def test_rays_along_the_axes_of_a_box(axis, way, zero):
    # Also through grid lines and from the coordinates of walls' edges, where 0 * inf can arise.
    corners = box((0.0, 0.0, 0.0), (1.0, 2.0, 4.0), 8)
    steps = [np.linspace(0.0, size, 17) for size in (1.0, 2.0, 4.0)]
    grids = np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1).reshape(-1, 3)
    inner = (grids[:, axis] > 0.0) & (grids[:, axis] < steps[axis][-1])
    origins = grids[inner]
    directions = np.full((len(origins), 3), zero)
    directions[:, axis] = way
    distances, _ = cast(corners, origins, directions)
    end = steps[axis][-1] if way > 0 else 0.0
    assert np.abs(distances - np.abs(end - origins[:, axis])).max() < 1e-15


def test_rays_in_the_plane_of_a_wall_pass_it():
    wall = rectangle((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), 4)
    origins = np.array([[-1.0, 0.3, 0.0], [0.5, -2.0, 0.0], [-1.0, -1.0, 0.0], [-1.0, 0.25, 0.0]])
    directions = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, -0.0], [0.6, 0.8, 0.0], [1.0, 0.0, 0.0]])
    distances, hits = cast(wall, origins, directions)
    assert (distances == np.inf).all()
    assert (hits == -1).all()
    behind = np.vstack([wall, wall + np.array([3.0, 0.0, 0.0])])
    assert (cast(behind, origins, directions)[0] == np.inf).all()


def test_triangles_without_area_are_not_met():
    line = np.array([[[0.0, 0.0, 0.0], [1.0, 1.0, 1.0], [2.0, 2.0, 2.0]], [[0.5] * 3] * 3])
    origins = np.array([[0.0, 0.0, 1.0], [0.5, 0.5, 2.0]])
    directions = unit(np.array([[1.0, 1.0, -0.2], [0.0, 0.0, -1.0]]))
    assert (cast(line, origins, directions)[0] == np.inf).all()


def test_a_ray_does_not_meet_what_it_is_told_to_pass_over():
    floor = rectangle((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    ceiling = floor + np.array([0.0, 0.0, 1.0])
    both = np.vstack([floor, ceiling])
    start = both[0].mean(axis=0)[None]
    up = np.array([[0.0, 0.0, 1.0]])
    distances, hits = cast(both, start, up, skip=np.array([0]))
    assert distances[0] == 1.0
    assert hits[0] in (2, 3)


def test_nothing_at_or_beyond_the_farthest_is_seen():
    things, _ = tree_of(rectangle((0, 0, 1), (1.0, 0, 0), (0, 1.0, 0)))
    scratch = new_scratch()
    ray = (0.3, 0.4, 0.0, 0.0, 0.0, 1.0)
    assert nearest_hit(*things, *ray, 1.0, -1, -1, True, *scratch) == (1.0, -1)
    assert nearest_hit(*things, *ray, np.nextafter(1.0, 2.0), -1, -1, True, *scratch)[1] >= 0
    assert nearest_hit(*things, *ray, np.inf, -1, -1, False, *scratch)[0] == 1.0


def test_any_hit_finds_something_exactly_where_nearest_hit_does():
    corners = random_triangles(300, 8, 0.4)
    things, _ = tree_of(corners, random_tubes(3, 9))
    scratch, agree = new_scratch(), 0
    for o, d in zip(*random_rays(3_000, 10), strict=True):
        near, hit = nearest_hit(*things, *o, *d, np.inf, -1, -1, False, *scratch)
        for reach in (0.5 * near, 0.999999 * near, 1.000001 * near):
            if np.isfinite(reach):
                found = nearest_hit(*things, *o, *d, reach, -1, -1, True, *scratch)[1] >= 0
                assert found == (reach > near)
                agree += 1
        if hit < 0:
            assert nearest_hit(*things, *o, *d, 1e9, -1, -1, True, *scratch)[1] == -1
    assert agree > 3_000


@pytest.mark.parametrize("scale", [1e-3, 1.0, 1e3])
def test_distances_equal_those_of_embree(scale):
    # Embree (Intel, Apache 2.0) through the package embreex; it reckons in single precision.
    rtcore_scene = pytest.importorskip("embreex.rtcore_scene")
    from embreex.mesh_construction import TriangleMesh

    ball, _ = icosphere(0.4 * scale, 4, (0.5 * scale,) * 3)
    corners = np.vstack(
        [ball, box(-0.6 * scale, 1.6 * scale, 5), random_triangles(500, 11) * scale]
    )
    count = 200_000
    origins, directions = random_rays(count, 12)
    origins = origins * scale
    scene = rtcore_scene.EmbreeScene()
    faces = np.arange(3 * len(corners), dtype=np.int32).reshape(-1, 3)
    TriangleMesh(scene, corners.reshape(-1, 3).astype(np.float32), faces)
    rays = origins.astype(np.float32), directions.astype(np.float32)
    theirs = scene.run(*rays, output=True)["tfar"]
    mine, _ = cast(corners, origins, directions)
    assert np.isfinite(mine).all()
    assert (theirs < 1e3 * scale).all()
    differ = np.abs(theirs - mine) > 3e-6 * scale + 1e-5 * mine
    # Where a ray passes within single precision of an edge, the two may meet different things.
    assert differ.sum() < 2e-4 * count
    for i in np.flatnonzero(differ):
        brute, margin = brute_triangles(corners, origins[i : i + 1], directions[i : i + 1])
        assert mine[i] == pytest.approx(brute.min(), rel=1e-9) or np.abs(margin).min() < 1e-9


def test_no_triangles_at_all():
    distances, hits = cast(np.zeros((0, 3, 3)), *random_rays(10, 13), NO_TUBES)
    assert (distances == np.inf).all()
    assert (hits == -1).all()
