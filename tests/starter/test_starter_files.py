"""Hook, rail and the mesh files: closed solids, right sizes, files up to date."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from triangle_distances import crossings

from raysim.starter import hooks
from raysim.starter.cup import cup_strap_fallen_in
from raysim.starter.files import mesh_files
from raysim.starter.flat_fold import flat_fold
from raysim.starter.shapes import SHAPES

MESHES = Path(__file__).resolve().parents[2] / "meshes"
MAKERS = {
    "cup_strap_fallen_in.obj": cup_strap_fallen_in,
    "flat_fold_shut.obj": lambda: flat_fold(0.0),
} | {shape.file: shape.make for shape in SHAPES.values()}
SOLIDS = {"hook.stl": hooks.hook, "rail.ply": hooks.rail}


@pytest.mark.parametrize("solid", [hooks.hook(), hooks.rail()])
def test_solids_are_closed(solid):
    assert solid.is_watertight
    assert solid.is_winding_consistent
    assert solid.volume > 0.0
    assert solid.body_count == 1
    assert solid.area_faces.min() > 0.01
    assert len(np.unique(solid.faces)) == len(solid.vertices)
    assert crossings(solid) == 0
    assert 300 <= len(solid.faces) <= 600


def test_hook_shape():
    solid = hooks.hook()
    assert solid.extents[1] == pytest.approx(70.0, abs=1e-9)
    polygon = 8.0 * np.sin(np.pi / 8.0) * hooks.HOOK_RADIUS_MM**2
    edges = trimesh.intersections.mesh_plane(solid, [0.0, 1.0, 0.0], [0.0, 20.0, 0.0])
    area = 0.5 * np.abs(np.cross(edges[:, 0], edges[:, 1])[:, 1]).sum()
    assert area == pytest.approx(polygon, rel=1e-6)
    straight = solid.vertices[np.abs(solid.vertices[:, 1]) < 12.0]
    round_mm = np.hypot(straight[:, 0], straight[:, 2])
    assert round_mm == pytest.approx(np.full(len(straight), 1.5))
    assert solid.vertices[solid.vertices[:, 1] < -20.0, 2].max() > 8.0


def test_rail_shape():
    solid = hooks.rail()
    assert solid.bounds == pytest.approx(np.array([[-200.0, -5.0, -5.0], [200.0, 5.0, 5.0]]))
    polygon = 12.0 * np.sin(np.pi / 12.0) * hooks.RAIL_RADIUS_MM**2
    assert solid.volume == pytest.approx(400.0 * polygon, rel=1e-9)


def test_files_are_up_to_date():
    made = mesh_files()
    assert set(made) == set(MAKERS) | set(SOLIDS)
    assert max(map(len, made.values())) < 200_000
    there = [path for path in MESHES.iterdir() if path.suffix in (".obj", ".stl", ".ply")]
    assert len(there) >= 6
    for path in there:
        assert made[path.name] == path.read_bytes(), path.name


@pytest.mark.parametrize("name", sorted(MAKERS))
def test_obj_files_keep_their_parts(name, tmp_path):
    (tmp_path / name).write_bytes(mesh_files()[name])
    loaded = trimesh.load(tmp_path / name, split_objects=True).geometry
    made = MAKERS[name]()
    assert set(loaded) == set(made)
    for part, mesh in made.items():
        assert loaded[part].faces.shape == mesh.faces.shape
        assert np.abs(loaded[part].triangles - mesh.triangles).max() < 5.1e-4
        assert loaded[part].edges_unique_length.max() <= 6.0
        assert loaded[part].is_winding_consistent
    shell, clip = ({*map(tuple, loaded[part].vertices)} for part in ("shell", "nose clip"))
    assert len(shell & clip) == len(np.unique(_boundary(loaded["nose clip"])))


def _boundary(mesh):
    edges, count = np.unique(np.sort(mesh.edges, axis=1), axis=0, return_counts=True)
    return edges[count == 1]


@pytest.mark.parametrize("name", sorted(SOLIDS))
def test_solid_files_come_back(name):
    loaded, made = trimesh.load(MESHES / name), SOLIDS[name]()
    assert loaded.is_watertight
    assert loaded.is_winding_consistent
    assert loaded.volume == pytest.approx(made.volume, rel=1e-3)
    assert np.abs(loaded.bounds - made.bounds).max() < 1e-3
