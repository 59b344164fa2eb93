"""Scans finer than light needs: offered to be thinned, and what that changes is measured."""

import numpy as np
import pytest
import trimesh
from small_scenes import errors_of, faults_of, with_object, write_scene

import raysim
from raysim.base.errors import Level
from raysim.base.fault_codes import Code
from raysim.scene.mesh.thin import CannotThin, thinned

BALL = trimesh.creation.icosphere(5, 30.0)  # 20,480 triangles with edges of 1.1 mm


def arrays(mesh):
    return np.array(mesh.vertices), np.array(mesh.faces)


def test_a_ball_keeps_its_shape_and_what_changed_is_measured():
    found = thinned(*arrays(BALL), 4.0)
    small = trimesh.Trimesh(found.vertices, found.faces, process=False)
    assert found.before == 20_480
    assert np.median(small.edges_unique_length) == pytest.approx(4.0, rel=0.2)
    assert small.is_watertight
    assert small.is_winding_consistent
    assert small.volume == pytest.approx(BALL.volume, rel=0.01)
    assert found.area == pytest.approx(small.area / BALL.area, rel=1e-9)
    # How far below the ball the thinned surface lies, in the direction of each corner.
    within = np.linalg.inv(small.triangles.transpose(0, 2, 1)) @ np.array(BALL.vertices).T
    shares = within.transpose(0, 2, 1)  # of the corners of each triangle, (triangles, points, 3)
    hit = (shares > -1e-9).all(axis=2)
    apart = 30.0 * np.abs(1.0 - 1.0 / (shares.sum(axis=2) * hit).max(axis=0))
    assert 0.98 * apart.max() <= found.farthest < 1.5 * apart.max()
    assert found.mean == pytest.approx(apart.mean(), rel=0.2)


def test_a_mesh_that_is_no_finer_is_left_alone():
    assert thinned(*arrays(BALL), 1.0) is None


def test_what_would_be_another_thing_is_refused():
    with pytest.raises(CannotThin):
        thinned(*arrays(BALL), 50.0)


def scene_with(folder, **keys):
    data = with_object(at=[150, 125, 250], judged=True, surface="respirator fabric", **keys)
    return write_scene(folder, data, thing=BALL)


def test_a_thinned_object_says_what_changed(tmp_path):
    path = scene_with(tmp_path, thin="3 mm")
    (fault,) = [one for one in faults_of(path) if one.code is Code.MESH_THINNED]
    assert fault.level is Level.WARNING
    assert fault.key == 'object 2 "thing".thin'
    assert "thinned from 20,480 to" in fault.what
    assert "mm on average" in fault.what
    triangles = raysim.load_scene(path).triangles
    own = triangles.faces_of([body.name for body in triangles.bodies].index("thing"))
    assert 2_000 < len(own) < 5_000
    # In the unit of the mesh, whatever that of the scene and the scale.
    twice = raysim.load_scene(scene_with(tmp_path, thin="6 mm", scale=2, edge=100)).triangles
    once = raysim.load_scene(scene_with(tmp_path, thin="3 mm", edge=100)).triangles
    assert len(twice.areas) == len(once.areas)


def test_a_length_that_fits_no_thing_is_an_error(tmp_path):
    (fault,) = errors_of(scene_with(tmp_path, thin="50 mm"))
    assert fault.code is Code.MESH_THINNED
    assert "cannot be thinned to edges of 50 mm" in fault.what


def test_a_scan_finer_than_light_needs_is_told_of(tmp_path, monkeypatch):
    path = scene_with(tmp_path)
    assert not [one for one in faults_of(path) if one.code is Code.MESH_FINE]
    monkeypatch.setattr("raysim.scene.mesh.thin.MANY", 20_000)
    (fault,) = [one for one in faults_of(path) if one.code is Code.MESH_FINE]
    assert 'thin = "2 mm"' in fault.mend
    assert "20,480 triangles" in fault.what
