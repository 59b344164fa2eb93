"""Mesh files: what is read, what is put right, what is refused."""

from pathlib import Path

import numpy as np
import pytest
import trimesh
from small_scenes import box, plate

from raysim.scene.mesh import meshes
from raysim.scene.mesh.clean import first_of_its_kind
from raysim.scene.mesh.mend import backs
from raysim.scene.mesh.meshes import MeshFault, load_parts

SIZE = (1.0, 2.0, 3.0)


def written(folder: Path, mesh, name: str, **options) -> Path:
    """Path of a mesh (or of text or bytes) written under `name`."""
    path = folder / name
    if isinstance(mesh, str):
        path.write_text(mesh)
    elif isinstance(mesh, bytes):
        path.write_bytes(mesh)
    else:
        mesh.export(path, **options)
    return path


def refused(path: Path) -> MeshFault:
    """The fault of a mesh file, which must tell what is wrong and how to mend it in one line."""
    with pytest.raises(MeshFault) as refusal:
        load_parts(path)
    assert refusal.value.mend
    assert "\n" not in f"{refusal.value.what}{refusal.value.mend}"
    return refusal.value


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("box.stl", {}),
        ("box.STL", {"file_type": "stl_ascii"}),
        ("box.obj", {}),
        ("box.ply", {}),
        ("box.ply", {"encoding": "ascii"}),
        ("box.glb", {}),
    ],
)
def test_every_format_gives_the_same_closed_box(tmp_path, name, options):
    (part,) = load_parts(written(tmp_path, box(SIZE), name, **options))
    assert part.name == ""
    # STL and GLB give each triangle corners of its own: they must have been welded.
    assert part.vertices.shape == (8, 3)
    assert part.faces.shape == (12, 3)
    assert (part.closed, part.consistent, part.turned_round, part.dropped) == (True, True, False, 0)
    assert np.ptp(part.vertices, axis=0) == pytest.approx(SIZE, rel=1e-6)
    assert trimesh.Trimesh(part.vertices, part.faces).volume == pytest.approx(6.0, rel=1e-6)


def test_an_open_sheet_is_open(tmp_path):
    (part,) = load_parts(written(tmp_path, plate(), "plate.stl"))
    assert not part.closed
    assert part.consistent
    assert not part.turned_round


CORNERS = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nv 0 0 1\n"


def test_objects_of_an_obj_file_are_parts(tmp_path):
    text = CORNERS + "o shell\nf 1 2 3 4\no nose clip\nf 1 2 5\n"
    parts = {part.name: part for part in load_parts(written(tmp_path, text, "a.obj"))}
    assert set(parts) == {"shell", "nose clip"}
    assert len(parts["shell"].faces) == 2  # the square as two triangles
    assert len(parts["nose clip"].faces) == 1
    assert parts["nose clip"].vertices[parts["nose clip"].faces[0]].tolist() == [
        [0, 0, 0],
        [1, 0, 0],
        [0, 0, 1],
    ]


def test_materials_of_an_obj_file_change_nothing(tmp_path):
    text = f"mtllib none.mtl\n{CORNERS}o a\nusemtl x\nf 1 2 3\nusemtl y\nf 1 3 4\no b\nf 1 2 5\n"
    parts = {part.name: len(part.faces) for part in load_parts(written(tmp_path, text, "a.obj"))}
    assert parts == {"a": 2, "b": 1}


def test_solids_of_an_stl_file_are_parts(tmp_path):
    solid = "solid {0}\nfacet normal 0 0 1\nouter loop\nvertex 0 0 {1}\nvertex 1 0 {1}\n"
    solid += "vertex 0 1 {1}\nendloop\nendfacet\nendsolid {0}\n"
    text = solid.format("left", 0) + solid.format("right", 1)
    parts = {part.name: part for part in load_parts(written(tmp_path, text, "a.stl"))}
    assert set(parts) == {"left", "right"}
    assert (parts["right"].vertices[:, 2] == 1.0).all()


def test_nodes_of_a_glb_file_are_parts_in_their_places(tmp_path):
    scene = trimesh.Scene()
    moved = trimesh.transformations.translation_matrix([5.0, 0.0, 0.0])
    scene.add_geometry(box(SIZE), geom_name="left")
    scene.add_geometry(box(SIZE), geom_name="right", transform=moved)
    parts = {part.name: part for part in load_parts(written(tmp_path, scene, "a.glb"))}
    assert set(parts) == {"left", "right"}
    assert parts["left"].vertices[:, 0].min() == pytest.approx(0.0, abs=1e-6)
    assert parts["right"].vertices[:, 0].min() == pytest.approx(5.0, rel=1e-6)


def test_one_shape_used_twice_in_a_glb_file_is_there_twice(tmp_path):
    scene = trimesh.Scene()
    scene.add_geometry(box(SIZE), geom_name="half", node_name="left")
    moved = trimesh.transformations.translation_matrix([5.0, 0.0, 0.0])
    scene.graph.update("right", geometry="half", matrix=moved)
    parts = load_parts(written(tmp_path, scene, "a.glb"))
    assert sorted(float(part.vertices[:, 0].min()) for part in parts) == pytest.approx([0.0, 5.0])
    # Parts are told apart by their names.
    assert len({part.name for part in parts}) == 2


def test_degenerate_triangles_are_dropped_and_counted(tmp_path):
    # One good triangle, one that names a corner twice, one of three corners in a line.
    text = CORNERS + "v 2 0 0\nf 1 2 3\nf 1 1 3\nf 1 2 6\n"
    (part,) = load_parts(written(tmp_path, text, "a.obj"))
    assert part.dropped == 2
    assert len(part.faces) == 1
    corners = part.vertices[part.faces[0]]
    assert np.linalg.norm(np.cross(corners[1] - corners[0], corners[2] - corners[0])) == 1.0


def test_slim_but_real_triangles_are_kept(tmp_path):
    text = "v 0 0 0\nv 1 0 0\nv 0.5 1e-6 0\nf 1 2 3\n"
    (part,) = load_parts(written(tmp_path, text, "a.obj"))
    assert part.dropped == 0
    assert len(part.faces) == 1


def test_a_closed_mesh_that_is_inside_out_is_turned_round(tmp_path):
    inverted = box(SIZE)
    inverted.invert()
    (part,) = load_parts(written(tmp_path, inverted, "a.stl"))
    assert part.turned_round
    assert trimesh.Trimesh(part.vertices, part.faces).volume == pytest.approx(6.0)


def test_neighbours_that_face_opposite_ways_are_noted(tmp_path):
    mixed = box(SIZE)
    faces = np.array(mixed.faces)
    faces[0] = faces[0, ::-1]
    mesh = trimesh.Trimesh(mixed.vertices, faces, process=False)
    (part,) = load_parts(written(tmp_path, mesh, "a.ply"), repair=False)
    assert not part.consistent
    assert not part.turned_round


@pytest.mark.parametrize("kind", ["stl", "ply", "glb"])
@pytest.mark.parametrize("share", [0.02, 0.5, 0.995])
def test_a_truncated_file_is_refused(tmp_path, kind, share):
    whole = written(tmp_path, box(SIZE), f"a.{kind}").read_bytes()
    fault = refused(written(tmp_path, whole[: int(share * len(whole))], f"cut.{kind}"))
    assert "cannot be read" in fault.what or "holds no triangle" in fault.what
    assert "export the mesh again" in fault.mend


@pytest.mark.parametrize("kind", ["stl", "ply", "glb", "obj"])
@pytest.mark.parametrize(
    "content", [b"\x89PNG\r\n\x1a\n" + bytes(range(256)), b"hello", b"\x00" * 200]
)
def test_a_file_of_another_kind_is_refused(tmp_path, kind, content):
    refused(written(tmp_path, content, f"a.{kind}"))


@pytest.mark.parametrize("kind", ["stl", "ply", "glb", "obj"])
@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_a_corner_that_is_not_finite_is_refused(tmp_path, kind, value):
    mesh = plate()
    corners = np.array(mesh.vertices)
    corners[1, 2] = value
    broken = trimesh.Trimesh(corners, mesh.faces, process=False)
    with np.errstate(invalid="ignore"):  # STL holds normals: trimesh reckons them as it writes
        path = written(tmp_path, broken, f"a.{kind}")
    fault = refused(path)
    assert "finite" in fault.what or "cannot be read" in fault.what


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.obj", "v 0 0 0\nv 1 0 0\nv 1 1 0\nf 1 2 9\n", "cannot be read as OBJ"),
        ("a.obj", "v 0 0 0\nv 1 0 0\nv 1 1 0\n", "holds no triangle"),
        ("a.obj", "v 0 0 0\nv 1 0 0\nv 2 0 0\nf 1 2 3\n", "holds no triangle"),
        ("a.obj", "v 0 0 0\nv 1 0 0\nv 1 1 0\nl 1 2 3\n", "holds no triangle"),
        ("a.stl", "", "is an empty file"),
        ("a.step", "ISO-10303-21;", '".step" is not a mesh format'),
        ("a", "o x", "is not a mesh format"),
    ],
)
def test_what_holds_no_usable_triangles_is_refused(tmp_path, name, content, said):
    assert said in refused(written(tmp_path, content, name)).what


def test_a_cloud_of_points_is_refused(tmp_path):
    cloud = trimesh.PointCloud(np.eye(3))
    assert "holds no triangle" in refused(written(tmp_path, cloud, "a.ply")).what


def test_a_missing_file_says_where_paths_begin(tmp_path):
    for path in (tmp_path / "none.stl", tmp_path / "none" / "none.stl"):
        fault = refused(path)
        assert fault.what == "is not there (no such file)"
        assert fault.mend == "paths are relative to the scene file"
    plate().export(tmp_path / "own mask.stl")
    close = refused(tmp_path / "own_Mask.stl")
    assert close.mend == 'did you mean "own mask.stl"? paths are relative to the scene file'
    (tmp_path / "folder.stl").mkdir()
    refused(tmp_path / "folder.stl")
    refused(tmp_path / "zero\0byte.stl")
    refused(tmp_path / ("long" * 200 + ".stl"))


def test_a_file_or_a_mesh_that_is_too_large_is_refused(tmp_path, monkeypatch):
    path = written(tmp_path, box(SIZE), "a.stl")
    monkeypatch.setattr(meshes, "MOST_TRIANGLES", 11)
    assert "more than 11 triangles" in refused(path).what
    monkeypatch.setattr(meshes, "LARGEST_MESH_FILE", path.stat().st_size - 1)
    assert "larger than" in refused(path).what


def test_like_faces_are_found_alike_where_corners_are_too_many_for_one_number():
    random = np.random.default_rng(3)
    first = np.arange(3) + 3 * np.arange(50)[:, None]
    again = np.array(
        [np.roll(face, turn) for face, turn in zip(first[::2], [0, 1, 2] * 9, strict=False)]
    )
    faces = np.vstack([first, again])[random.permutation(75)]
    quick = first_of_its_kind(faces)
    assert quick.sum() == 50
    faces += 2**40
    assert (first_of_its_kind(faces) == quick).all()
    again = np.vstack([faces, faces[:1, ::-1]])
    keep = first_of_its_kind(again)
    assert keep.sum() == 51
    assert np.flatnonzero(backs(again, keep)).tolist() == [75]
