"""Meshes that can only be meant in one way are mended, and what was done is counted."""

import numpy as np
import pytest
import trimesh
from small_scenes import box, errors_of, faults_of, plate, small_scene, with_object, write_scene

import raysim
from raysim.base.errors import Level
from raysim.base.fault_codes import Code
from raysim.scene.mesh.clean import cleaned
from raysim.scene.mesh.fault import MeshFault

BALL = trimesh.creation.icosphere(2, 30.0)
SHEET = trimesh.creation.icosphere(2, 30.0).slice_plane([0, 0, 0.1], [0, 0, 1])


def turned(mesh, rows):
    """Corners and faces of a mesh with some faces turned."""
    faces = np.array(mesh.faces)
    faces[rows] = faces[rows, ::-1]
    return np.array(mesh.vertices), faces


def doubled(mesh):
    """Corners and faces of a mesh in which each face is there for each side."""
    return np.array(mesh.vertices), np.vstack([mesh.faces, np.array(mesh.faces)[:, ::-1]])


def strip(twisted: bool):
    """A ring of 20 squares, with half a turn in it or none."""
    angle = np.linspace(0.0, 2.0 * np.pi, 21)[:-1]
    lean = 0.5 * angle * twisted
    middle = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1) * 30.0
    up = np.sin(lean)[:, None] * middle / 30.0 + np.cos(lean)[:, None] * [0.0, 0.0, 1.0]
    rims = np.stack([middle - 5.0 * up, middle + 5.0 * up], axis=1).reshape(-1, 3)
    quads = np.arange(20)[:, None] * 2 + [0, 2, 3, 1]
    quads = np.where(quads < 40, quads, (quads - 40) ^ twisted)
    return rims, np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


@pytest.mark.parametrize("mesh", [BALL, SHEET], ids=["closed", "open"])
def test_one_of_each_pair_back_to_back_is_left(mesh):
    part = cleaned("", *doubled(mesh))
    assert (part.backs, part.turned, part.dropped) == (len(mesh.faces), 0, 0)
    assert len(part.faces) == len(mesh.faces)
    assert part.consistent
    assert part.closed == mesh.is_watertight
    with pytest.raises(MeshFault, match=f"has {len(mesh.faces)} pairs"):
        cleaned("", *doubled(mesh), repair=False)


def test_pairs_of_which_now_one_and_now_the_other_comes_first_are_evened_out():
    corners, faces = turned(BALL, slice(None, None, 2))
    part = cleaned("", corners, np.vstack([faces, faces[:, ::-1]]))
    assert part.backs == len(faces)
    assert part.consistent
    assert part.closed
    assert trimesh.Trimesh(part.vertices, part.faces).volume == pytest.approx(BALL.volume)


@pytest.mark.parametrize("every", [2, 3, 50])
def test_turned_triangles_of_a_closed_mesh_are_turned_back(every):
    rows = np.arange(0, len(BALL.faces), every)
    part = cleaned("", *turned(BALL, rows))
    assert part.turned == len(rows)
    assert trimesh.Trimesh(part.vertices, part.faces).volume == pytest.approx(BALL.volume)
    assert not cleaned("", *turned(BALL, rows), repair=False).consistent


def test_the_few_turned_triangles_of_a_sheet_are_turned_like_the_others():
    rows = np.arange(0, len(SHEET.faces), 7)
    part = cleaned("", *turned(SHEET, rows))
    assert part.turned == len(rows)
    mended = trimesh.Trimesh(part.vertices, part.faces, process=False)
    assert (mended.face_normals * mended.triangles_center).sum(axis=1).min() > 0.0
    rows = np.arange(0, len(SHEET.faces), 2)  # nobody can tell which half is meant
    part = cleaned("", *turned(SHEET, rows))
    assert not part.consistent
    assert part.turned == 0


def test_pieces_are_evened_out_each_by_itself():
    apart = BALL.copy()
    apart.apply_translation([100.0, 0.0, 0.0])
    pair = trimesh.util.concatenate([BALL, apart])
    rows = np.r_[0:20, len(BALL.faces) : len(BALL.faces) + 30]
    part = cleaned("", *turned(pair, rows))
    assert part.turned == 50
    assert trimesh.Trimesh(part.vertices, part.faces).volume == pytest.approx(2 * BALL.volume)
    # The outside of one of several pieces is not told by the volume of all.
    assert not cleaned("", *turned(pair, np.arange(0, len(BALL.faces), 2))).consistent


def test_a_twisted_ring_is_left_alone():
    plain, moebius = cleaned("", *strip(False)), cleaned("", *strip(True))
    assert plain.consistent
    assert not moebius.consistent
    assert moebius.turned == 0


def test_a_wall_between_two_solids_may_be_meant():
    half = box((20.0, 20.0, 20.0))
    mirrored = trimesh.Trimesh(half.vertices * [-1, 1, 1], half.faces[:, ::-1], process=False)
    joined = trimesh.util.concatenate([half, mirrored])
    with pytest.raises(MeshFault, match="nobody can tell which is meant") as told:
        cleaned("", np.array(joined.vertices), np.array(joined.faces))
    assert told.value.code is Code.MESH_BACK_TO_BACK


def test_a_sheet_with_a_rib_drawn_for_both_sides_is_no_puzzle():
    rib = plate(40.0, 40.0).apply_transform(
        trimesh.transformations.rotation_matrix(np.pi / 2, [0.0, 0.0, 1.0])
    )
    both = trimesh.util.concatenate([plate(40.0, 40.0), rib])
    assert cleaned("", *doubled(both)).backs == 4


def test_a_sound_mesh_is_the_same_to_the_last_bit():
    for mesh in (BALL, SHEET):
        arrays = np.array(mesh.vertices), np.array(mesh.faces)
        with_repair, without = cleaned("", *arrays), cleaned("", *arrays, repair=False)
        assert np.array_equal(with_repair.vertices, without.vertices)
        assert np.array_equal(with_repair.faces, without.faces)


def test_what_was_done_is_counted_in_a_warning(tmp_path):
    corners, faces = turned(BALL, np.arange(10))
    thing = trimesh.Trimesh(corners, np.vstack([faces, faces[50:90, ::-1]]), process=False)
    data = with_object(at=[150, 125, 250])
    (fault,) = faults_of(write_scene(tmp_path, data, thing=thing))
    assert fault.level is Level.WARNING
    assert fault.code is Code.MESH_MENDED
    assert fault.key == 'object 2 "thing".mesh'
    assert "40 back to back" in fault.what
    assert "10 that faced the other way" in fault.what
    (fault,) = errors_of(write_scene(tmp_path, data | {"repair": False}, thing=thing))
    assert "40 pairs of triangles back to back" in fault.what


def test_walls_that_face_opposite_ways_are_turned_alike(tmp_path):
    corners, faces = turned(box([300.0, 250.0, 350.0]), [0, 1, 5])
    data = small_scene()
    data["chamber"] = {"mesh": "room.obj", "lining": "foil"}
    lines = [f"v {x} {y} {z}" for x, y, z in corners]
    for number, face in enumerate(faces + 1):
        lines += [f"o wall{number // 2}"] * (number % 2 == 0) + ["f {} {} {}".format(*face)]
    (tmp_path / "room.obj").write_text("\n".join(lines) + "\n")
    path = write_scene(tmp_path, data)
    assert not errors_of(path)
    scene = raysim.load_scene(path).triangles
    walls = scene.corners[scene.face_body < 6]
    a, b, c = np.moveaxis(walls - [0.15, 0.125, 0.175], 1, 0)
    assert (a * np.cross(b, c)).sum(axis=1).max() < 0.0  # all face into the box
