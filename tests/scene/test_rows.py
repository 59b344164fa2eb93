"""Rows of hooks: the same objects as written out one by one, in every command's eyes."""

import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest
from small_scenes import faults_of, only_fault, plate, small_scene, write_scene

from raysim.base.fault_codes import Code
from raysim.dose.simulate import load_scene
from raysim.output.files.guide_scene import rounded_text
from raysim.output.files.scene_file import layout_toml
from raysim.scene.file.read import mesh_names, read_scene, rename_meshes
from raysim.scene.file.rows import spread
from raysim.scene.file.toml import toml_text
from raysim.starter.files import mesh_files
from raysim.studies.hooks.load import find_load
from raysim.workshop.grid import MM

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "scenes" / "clinic_locker.toml"
ROWS = """
[[row]]
name = "upper"
count = 3
from = [115, 220, 870]
spacing = 165
mesh = ["../meshes/cup.obj", "../meshes/flat_fold_open.obj"]
hook = "../meshes/hook.stl"
rail = "../meshes/rail.ply"

[[row]]
name = "lower"
count = 3
from = [115, 220, 440]
spacing = 165
mesh = ["../meshes/flat_fold_open.obj", "../meshes/cup.obj"]
hook = "../meshes/hook.stl"
rail = "../meshes/rail.ply"
"""
# What the objects of the demo are called in its two rows.
NAMES = {"upper rail": "upper rail", "lower rail": "lower rail"}
NAMES |= {f"hook {n + 3 * k}": f"{row} hook {n}" for k, row in ((0, "upper"), (1, "lower")) for n in (1, 2, 3)}  # fmt: skip
NAMES |= {f"respirator {n + 3 * k}": f"{row} {n}" for k, row in ((0, "upper"), (1, "lower")) for n in (1, 2, 3)}  # fmt: skip


@pytest.fixture(scope="module")
def in_rows(tmp_path_factory):
    """The demo scene with its objects in two rows."""
    folder = tmp_path_factory.mktemp("rows") / "scenes"
    folder.mkdir()
    shutil.copytree(ROOT / "meshes", folder.parent / "meshes")
    data = tomllib.loads(DEMO.read_text("utf-8"))
    del data["object"]
    path = folder / "in_rows.toml"
    path.write_text(toml_text(data) + ROWS, "utf-8")
    return path


def test_the_demo_in_two_rows_is_the_demo_to_the_last_bit(in_rows):
    known, found = load_scene(DEMO).triangles, load_scene(in_rows).triangles
    names = [body.name for body in found.bodies]
    for number, body in enumerate(known.bodies):
        mine = known.faces_of(number)
        its = found.faces_of(names.index(NAMES.get(body.name, body.name)))
        assert np.array_equal(known.corners[mine], found.corners[its])
        assert np.array_equal(known.judged[mine], found.judged[its])
        parts = [[t.parts[k] for k in t.face_part[f]] for t, f in ((known, mine), (found, its))]
        for one, other in zip(*parts, strict=True):
            assert known.surfaces[one.surface] == found.surfaces[other.surface]
            assert (one.name, one.two_sided) == (other.name, other.two_sided)
    assert len(known.corners) == len(found.corners)
    assert faults_of(in_rows) == []


def test_written_out_and_read_again_nothing_changes(in_rows, tmp_path):
    scene = read_scene(in_rows)
    data = spread(tomllib.loads(in_rows.read_text("utf-8")), scene.object)
    assert "row" not in data
    again = tmp_path / "again.toml"
    again.write_text(toml_text(data), "utf-8")
    assert read_scene(again).object == scene.object


@pytest.mark.parametrize("unit", ["in", "cm", "m", "ft"])
def test_in_every_unit_it_comes_back_to_the_last_bit(tmp_path, unit):
    data = small_scene() | {"units": unit, "object": []}
    row = {
        "name": "r",
        "count": 3,
        "from": [1 / 3, 2.1, 0.7],
        "spacing": 0.3,
        "mesh": ["plate.ply"],
    }
    row |= {"along": [1, 2, 0], "turn": [0, 0, 20], "edge": 0.1, "parts": {}, "scale": 2}
    path = write_scene(tmp_path, data | {"row": [row]})
    scene = read_scene(path)
    written = spread(tomllib.loads(path.read_text("utf-8")), scene.object)
    other = tmp_path / "other.toml"
    other.write_text(toml_text(written), "utf-8")
    assert read_scene(other).object == scene.object


def test_along_and_rail_follow_the_line(tmp_path):
    row = {"name": "r", "count": 3, "from": [100, 50, 200], "spacing": 60, "along": [0, 1, 0]}
    row |= {"mesh": "plate.ply", "parts": {}, "rail": "rod.ply", "rail_at": [-54, 0, 10]}
    path = write_scene(tmp_path, small_scene() | {"object": [], "row": [row]}, rod=plate())
    rail, *hung = read_scene(path).object
    assert [entry.name for entry in hung] == ["r 1", "r 2", "r 3"]
    assert np.array([entry.at for entry in hung]) == pytest.approx(
        np.array([[0.1, 0.05, 0.2], [0.1, 0.11, 0.2], [0.1, 0.17, 0.2]])
    )
    assert rail.at == pytest.approx((0.046, 0.11, 0.21))
    assert rail.turn == pytest.approx((0.0, 0.0, 90.0))
    assert not rail.judged
    assert all(entry.judged for entry in hung)


def row_in(tmp_path, **keys):
    """The small scene with a row of two plates beside its own."""
    row = {"name": "r", "count": 2, "from": [60, 60, 150], "spacing": 60, "mesh": "plate.ply"}
    row = {k: v for k, v in (row | {"parts": {}, "edge": 25} | keys).items() if v is not None}
    return write_scene(tmp_path, small_scene() | {"row": [row]})


def test_a_sound_row_has_no_faults(tmp_path):
    assert faults_of(row_in(tmp_path)) == []


@pytest.mark.parametrize(
    ("keys", "key", "said"),
    [
        ({"spacing": None}, 'row 1 "r"', "2 hooks need a spacing"),
        ({"rail_at": [0, 1, 0]}, 'row 1 "r"', "rail_at goes with rail"),
        ({"count": 0}, 'row 1 "r".count', "greater than or equal to 1"),
        ({"count": 201}, 'row 1 "r".count', "less than or equal to 200"),
        ({"spacing": 0}, 'row 1 "r".spacing', "greater than 0"),
        ({"along": [0, 0, 0]}, 'row 1 "r".along', "all zero"),
        ({"mesh": []}, 'row 1 "r".mesh', "at least 1 item"),
        ({"mesh": 5}, 'row 1 "r".mesh', "list"),
        ({"mesh": "none.ply"}, 'row 1 "r": "r 1".mesh', "none.ply"),
        ({"hooks": 3}, 'row 1 "r".hooks', "no such key"),
        ({"parts": {"straps": "strap"}}, 'row 1 "r": "r 1".parts.straps', "no such part"),
        ({"name": "plate", "count": 1}, None, ""),
        ({"surface": "unobtainium"}, 'row 1 "r": "r 1".surface', "no surface is called"),
    ],
)
def test_a_fault_of_a_row_names_the_row(tmp_path, keys, key, said):
    faults = faults_of(row_in(tmp_path, **keys))
    if key is None:
        assert faults == []
        return
    assert faults[0].key == key
    assert said in faults[0].what


def test_names_of_a_row_must_be_free(tmp_path):
    data = small_scene()
    data["object"][0]["name"] = "r 2"
    row = {"name": "r", "count": 2, "from": [60, 60, 150], "spacing": 60, "mesh": "plate.ply"}
    fault = only_fault(write_scene(tmp_path, data | {"row": [row]}))
    assert 'two entries of object are called "r 2"' in fault.what


def test_rows_of_too_many_objects_are_refused(tmp_path):
    row = {"count": 200, "from": [60, 60, 150], "spacing": 1, "mesh": "plate.ply"}
    rows = [{"name": f"r{k}"} | row for k in range(6)]
    fault = only_fault(write_scene(tmp_path, small_scene() | {"row": rows}))
    assert fault.code is Code.BAD_VALUE
    assert "1,201 objects" in fault.what


def test_hooks_that_stand_too_close_are_told(tmp_path):
    faults = faults_of(row_in(tmp_path, spacing=20, along=[1, 0.0001, 0]))
    assert faults[0].key.startswith('row 1 "r": "r ')


def test_a_shape_that_is_too_long_is_told_with_both_heights(in_rows, tmp_path):
    scenes = tmp_path / "scenes"
    shutil.copytree(in_rows.parent.parent / "meshes", tmp_path / "meshes")
    scenes.mkdir()
    path = scenes / "low.toml"
    text = in_rows.read_text("utf-8")
    path.write_text(text.replace("from = [115, 220, 440]", "from = [115, 220, 230]"), "utf-8")
    told = [fault for fault in faults_of(path) if fault.code is Code.CANNOT_HANG]
    assert [fault.key for fault in told] == ['row 2 "lower": "lower 2".at']
    assert "needs 254 mm below its hook point, and there are 230 mm" in told[0].what
    assert "264 mm above the floor" in told[0].mend
    path.write_text(
        text.replace("[560, 440, 940]", "[560, 440, 250]").replace(" 870]", " 240]"), "utf-8"
    )
    told = [fault for fault in faults_of(path) if fault.code is Code.CANNOT_HANG]
    assert any("a box higher than 250 mm" in fault.mend for fault in told)


def test_hooks_and_guide_write_objects_in_its_place(in_rows, tmp_path):
    scene = load_scene(in_rows)
    load = find_load(scene)
    assert load.model.name == "upper 1"
    assert [entry.name for entry in load.along] == ["upper hook 1"]
    assert len(load.now) == 6
    folder = tmp_path / "out"
    folder.mkdir()
    for text in (
        layout_toml(load, load.now, folder, ("a layout",)),
        rounded_text(scene, MM, folder)[0],
    ):
        path = folder / "new.toml"
        path.write_text(text, "utf-8")
        found = load_scene(path)
        assert not found.written.row
        assert len(found.written.object) == len(scene.written.object)
        assert sum(entry.judged for entry in found.written.object) == 6


def test_all_names_of_meshes_are_found_and_renamed(in_rows):
    scene = read_scene(in_rows)
    assert mesh_names(scene) == sorted(
        f"../meshes/{name}" for name in ("cup.obj", "flat_fold_open.obj", "hook.stl", "rail.ply")
    )
    data = tomllib.loads(in_rows.read_text("utf-8"))
    rename_meshes(data, lambda name: Path(name).name)
    assert data["row"][0]["mesh"] == ["cup.obj", "flat_fold_open.obj"]
    assert data["row"][1]["rail"] == "rail.ply"
    assert set(mesh_files()) > {"cup.obj", "hook.stl"}
