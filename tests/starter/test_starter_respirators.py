"""The invented respirators: sound triangles, clear gaps, seams without gaps, right way round."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree
from triangle_distances import clearance, crossings, free_depth, near_pairs, triangle_distances

from raysim.starter import fold_cloth
from raysim.starter.cup import cup_respirator
from raysim.starter.flat_fold import flat_fold, stations
from raysim.starter.hooks import hook
from raysim.starter.straps import HOOK_CLEARANCE_MM

MAKERS = {
    "cup": cup_respirator,
    "flat_fold_open": lambda: flat_fold(1.0),
    "flat_fold_shut": lambda: flat_fold(0.0),
}


@pytest.fixture(scope="module", params=sorted(MAKERS))
def respirator(request):
    """Name and parts of each respirator."""
    return request.param, MAKERS[request.param]()


@pytest.fixture(scope="module")
def opened():
    return flat_fold(1.0)


@pytest.fixture(scope="module")
def shut():
    return flat_fold(0.0)


def pieces(mesh):
    """Split off the connected pieces of a mesh, the highest first."""
    label = trimesh.graph.connected_component_labels(mesh.face_adjacency, len(mesh.faces))
    split = [
        trimesh.Trimesh(mesh.vertices, mesh.faces[label == k], process=False)
        for k in range(label.max() + 1)
    ]
    return sorted(split, key=lambda piece: -piece.triangles[..., 2].max())


def body(parts):
    """Shell and nose clip as one mesh, its vertices merged only where they are bitwise equal."""
    triangles = np.concatenate([parts["shell"].triangles, parts["nose clip"].triangles])
    vertices, index = np.unique(triangles.reshape(-1, 3), axis=0, return_inverse=True)
    return trimesh.Trimesh(vertices, index.reshape(-1, 3), process=False)


def boundary(mesh):
    """Boundary edges (n, 2, 3) of a mesh as sorted pairs of points."""
    edges, count = np.unique(np.sort(mesh.edges, axis=1), axis=0, return_counts=True)
    assert count.max() <= 2
    return edges[count == 1]


def loops(mesh):
    """Count of boundary loops."""
    return len(trimesh.graph.connected_components(boundary(mesh)))


def edge_points(mesh):
    """Boundary edges as a set of point pairs, to the last digit."""
    return {frozenset(map(tuple, pair)) for pair in mesh.vertices[boundary(mesh)].tolist()}


def assert_sound(mesh):
    """Faces of one winding, no slivers, no doubles, no crossings."""
    sides = np.linalg.norm(np.diff(mesh.triangles[:, [0, 1, 2, 0]], axis=1), axis=2)
    assert (2.0 * mesh.area_faces / sides.max(axis=1)).min() > 0.25
    assert mesh.is_winding_consistent
    assert len(np.unique(np.sort(mesh.faces, axis=1), axis=0)) == len(mesh.faces)
    assert len(np.unique(mesh.faces)) == len(mesh.vertices)
    assert len(np.unique(mesh.vertices.round(3), axis=0)) == len(mesh.vertices)
    assert crossings(mesh) == 0


def mean_normal(mesh):
    return (mesh.face_normals * mesh.area_faces[:, None]).sum(axis=0) / mesh.area


def test_helpers_know_right_from_wrong():
    sheet = trimesh.Trimesh([[0, 0, 0], [3, 0, 0], [0, 3, 0]], [[0, 1, 2]], process=False)

    def moved(*by):
        return sheet.copy().apply_translation(by)

    assert clearance(sheet, moved(0.0, 0.0, 0.6)) == pytest.approx(0.6)
    assert clearance(sheet, moved(3.5, 0.0, 0.0)) == pytest.approx(0.5)
    assert clearance(sheet, moved(0.0, 0.0, 9.0)) == np.inf
    assert free_depth(sheet, moved(0.1, 0.1, 4.0)) == pytest.approx(np.array([[4.0, np.inf]]))
    assert free_depth(sheet, moved(0.1, 0.1, -2.0)) == pytest.approx(np.array([[np.inf, 2.0]]))
    assert free_depth(sheet, moved(1.5, 0.0, 4.0)).min() == np.inf
    upright = trimesh.Trimesh([[1, 1, -1], [1, 1, 1], [2, 4, 1]], [[0, 1, 2]], process=False)
    assert clearance(sheet, upright) == 0.0
    assert crossings(trimesh.util.concatenate([sheet, upright])) > 0
    assert crossings(trimesh.creation.icosphere(2)) == 0


# ------------------------------------------------------------------------------ parts and seams


def test_parts_and_counts(respirator):
    _, parts = respirator
    assert set(parts) == {"shell", "straps", "nose clip"}
    assert 3000 <= sum(len(mesh.faces) for mesh in parts.values()) <= 4400
    for mesh in parts.values():
        assert mesh.edges_unique_length.max() <= 6.0


def test_sheets_are_sound_and_open(respirator):
    _, parts = respirator
    for mesh in (parts["straps"], body(parts)):
        assert_sound(mesh)
        assert not mesh.is_watertight
    assert parts["straps"].body_count == 2
    assert loops(parts["straps"]) == 2


def test_nose_clip_is_a_piece_of_the_shell(respirator):
    _, parts = respirator
    shell, clip = parts["shell"], parts["nose clip"]
    assert loops(shell) == 2
    assert loops(clip) == 1
    assert edge_points(clip) < edge_points(shell)
    whole = body(parts)
    assert loops(whole) == 1
    assert edge_points(whole) == edge_points(shell) - edge_points(clip)
    assert whole.is_winding_consistent
    assert 60.0 < clip.extents[0] < 90.0


def test_straps_meet_the_shell_edge_on(respirator):
    _, parts = respirator
    whole = body(parts)
    straps = pieces(parts["straps"])
    for strap in straps:
        assert 0.75 <= clearance(whole, strap) <= 1.0
        near = [whole.triangles[i] for i in _near_faces(whole, strap)]
        rim = cKDTree(whole.vertices[np.unique(boundary(whole))])
        assert rim.query(np.concatenate(near))[0].max() < 6.0
    assert clearance(*straps) == np.inf


def _near_faces(whole, strap):
    """Faces of `whole` closer than 1.5 mm to the strap."""
    i, j = near_pairs(whole.triangles, strap.triangles)
    close = triangle_distances(whole.triangles[i], strap.triangles[j]) < 1.5
    return np.unique(i[close])


def test_no_strap_lies_flat_before_the_shell(respirator):
    _, parts = respirator
    whole = body(parts)
    assert free_depth(whole, parts["straps"]).min() > 5.0
    assert free_depth(parts["straps"], whole).min() > 5.0


# --------------------------------------------------------------------------- place and direction


def test_hangs_below_the_hook_point(respirator):
    _, parts = respirator
    rod, straps = hook(), parts["straps"]
    across = near_pairs(straps.triangles, rod.triangles)
    gap = triangle_distances(straps.triangles[across[0]], rod.triangles[across[1]]).min()
    assert gap == pytest.approx(HOOK_CLEARANCE_MM, abs=0.015)
    assert straps.bounds[1, 2] == pytest.approx(3.5, abs=1e-9)
    for name in ("shell", "nose clip"):
        assert parts[name].bounds[1, 2] < -25.0
    for mesh in parts.values():
        mirrored = mesh.vertices * [-1.0, 1.0, 1.0]
        assert cKDTree(mesh.vertices).query(mirrored)[0].max() < 1e-6


def test_sizes(opened, shut):
    cup = cup_respirator()["shell"].extents
    assert cup == pytest.approx([124.6, 51.6, 131.0], abs=0.5)
    assert opened["shell"].extents == pytest.approx([165.4, 54.0, 102.7], abs=0.5)
    assert shut["shell"].extents == pytest.approx([200.0, 6.1, 60.3], abs=0.5)


def test_cup_normals_point_outside():
    whole = body(cup_respirator())
    behind = whole.bounds.mean(axis=0) + np.array([0.0, 60.0, 0.0])
    away = ((whole.triangles_center - behind) * whole.face_normals).sum(axis=1)
    assert away.min() > 0.0
    assert whole.face_normals[:, 1].max() < 0.2
    assert mean_normal(whole)[1] < -0.5


def test_straps_and_clips_face_outside(respirator):
    name, parts = respirator
    for strap in pieces(parts["straps"]):
        ends = np.abs(strap.triangles_center[:, 0]) > 0.9 * strap.triangles[..., 0].max()
        assert strap.face_normals[ends, 1].max() < -0.3
    outside = 1.0 if name == "flat_fold_shut" else -1.0  # its upper panel is turned over
    assert outside * mean_normal(parts["nose clip"])[1] > 0.1


# ------------------------------------------------------------------------------------- flat fold


@pytest.mark.parametrize("open_fraction", [0.25, 0.75])
def test_fold_is_clear_on_the_way(open_fraction):
    parts = flat_fold(open_fraction)
    whole = body(parts)
    assert crossings(whole) == 0
    assert clearance(whole, parts["straps"]) >= 0.75


@pytest.mark.parametrize("open_fraction", [-0.1, 1.1, float("nan")])
def test_fold_refuses_wrong_fraction(open_fraction):
    with pytest.raises(ValueError, match="open_fraction"):
        flat_fold(open_fraction)


def cloth_places(parts, open_fraction):
    """Merged shell and clip, and each vertex's column and length in mm along the cloth."""
    whole = body(parts)
    grid = fold_cloth.cloth(stations(), open_fraction)
    steps = np.linalg.norm(np.diff(grid, axis=1), axis=2)
    length = np.concatenate([np.zeros((len(grid), 1)), np.cumsum(steps, axis=1)], axis=1)
    points = grid.reshape(-1, 3)
    far, index = cKDTree(points + whole.bounds[0] - points.min(axis=0)).query(whole.vertices)
    assert far.max() < 1e-6
    return whole, index % fold_cloth.COLUMNS, length.ravel()[index]


def panels(whole, column):
    """Masks of the triangles of the lower, centre and upper panel without their creases."""
    n_centre, n_crease, n_panel = fold_cloth.SEGMENTS
    low, high = column[whole.faces].min(axis=1), column[whole.faces].max(axis=1)
    first, last = n_panel + n_crease, n_panel + n_crease + 2 * n_centre
    return high <= n_panel, (low >= first) & (high <= last), low >= last + n_crease


def test_open_fold_normals_point_outside(opened):
    whole, column, _ = cloth_places(opened, 1.0)
    lower, centre, upper = panels(whole, column)
    assert mean_normal(whole)[1] < -0.5
    assert whole.face_normals[centre, 1].max() < -0.4
    assert (whole.face_normals * whole.area_faces[:, None])[upper].sum(axis=0)[2] > 0.0
    assert (whole.face_normals * whole.area_faces[:, None])[lower].sum(axis=0)[2] < 0.0


def test_shut_fold_normals_point_outside(shut):
    whole, column, _ = cloth_places(shut, 0.0)
    lower, centre, upper = panels(whole, column)
    assert whole.face_normals[centre, 1].max() < -0.99
    assert whole.face_normals[lower | upper, 1].min() > 0.99


def test_tabs_are_single_layers(shut):
    whole, column, _ = cloth_places(shut, 0.0)
    tab = np.abs(whole.triangles_center[:, 0]) > fold_cloth.TAB * 100.0
    _, centre, _ = panels(whole, column)
    assert tab.sum() > 100
    assert centre[tab].all()


def test_layers_of_the_shut_fold_stay_apart(shut):
    whole, column, length = cloth_places(shut, 0.0)
    i, j = near_pairs(whole.triangles, whole.triangles)
    low, high = length[whole.faces].min(axis=1), length[whole.faces].max(axis=1)
    layers = low[i] - high[j] > 5.0
    assert layers.sum() > 1000
    gap = triangle_distances(whole.triangles[i[layers]], whole.triangles[j[layers]]).min()
    assert 2.5 < gap < 3.1
    depths = [whole.triangles_center[panel, 1] for panel in panels(whole, column)]
    for depth, behind in zip(depths, (6.0, 0.0, 3.0), strict=True):
        assert depth - whole.bounds[0, 1] == pytest.approx(behind, abs=0.15)


def test_open_fold_has_no_narrow_slits(opened, shut):
    assert free_depth(body(opened), body(opened)).min() > 2.5
    facing = free_depth(body(shut), body(shut))
    assert 2.5 < facing.min() < 3.1
    assert np.mean(facing.min(axis=1) < 3.3) > 0.4


def test_fold_keeps_its_cloth(opened, shut):
    assert body(opened).area == pytest.approx(body(shut).area, rel=0.02)
