"""Meshes drawn in another unit than the scene: the answer names the scale that mends it."""

import numpy as np
import pytest
from small_scenes import box, faults_of, small_scene, write_scene

from raysim.base.errors import Level
from raysim.scene.build import build_scene
from raysim.scene.check.check import check_scene
from raysim.scene.file.read import read_scene
from raysim.scene.mesh.drawn_in import scale_mend
from raysim.starter.files import mesh_files

CUP = np.array([125.0, 74.0, 258.0])  # as drawn, in mm
BOX = np.array([0.5, 0.42, 0.62])  # m


@pytest.mark.parametrize(
    ("units", "metres", "scale"),
    [("cm", 0.01, "0.1"), ("in", 0.0254, "0.0393701"), ("m", 1.0, "0.001")],
)
def test_a_mesh_in_millimetres_is_known_by_its_size(units, metres, scale):
    mend = scale_mend(units, 1.0, CUP * metres, BOX)
    assert mend.endswith(f"write scale = {scale} if it was drawn in mm")


def test_a_mesh_in_metres_in_a_scene_in_millimetres():
    assert "scale = 1000 if it was drawn in m" in scale_mend("mm", 1.0, CUP * 1e-6, BOX)


def test_the_scale_that_is_there_already_is_reckoned_with():
    assert "scale = 1 if it was drawn in mm" in scale_mend("mm", 50.0, CUP * 0.05, BOX)


def test_a_box_in_metres_in_a_scene_in_millimetres(tmp_path):
    data = small_scene()
    data["chamber"] = {"mesh": "room.ply", "lining": "aluminium foil, bright side"}
    (fault,) = faults_of(write_scene(tmp_path, data, room=box([0.3, 0.25, 0.35])))
    assert "scale = 1000 if it was drawn in m" in fault.mend


def test_what_fits_no_unit_is_left_to_the_user():
    assert scale_mend("mm", 1.0, CUP * 1e6, BOX) == 'check units = "mm" and scale'


@pytest.mark.parametrize(("units", "share"), [("in", 1 / 25.4), ("ft", 1 / 304.8), ("cm", 0.1)])
def test_a_scene_put_into_other_units_without_its_meshes_says_so(tmp_path, units, share):
    """Not that the edge is too short: that was the answer for inches and feet."""
    data = small_scene()
    data["units"] = units
    chamber = data["chamber"]
    chamber["inside"] = [share * side for side in chamber["inside"]]
    for lamp in data["lamp"]:
        lamp["diameter"] *= share
        lamp["from"], lamp["to"] = ([share * x for x in lamp[end]] for end in ("from", "to"))
    (plate,) = data["object"]
    plate["at"] = [share * x for x in plate["at"]]
    del plate["edge"]
    path = write_scene(tmp_path, data)
    faults = check_scene(build_scene(path, read_scene(path)))
    (fault,) = (one for one in faults if one.key.endswith(".scale"))
    assert f"write scale = {share:.6g} if it was drawn in mm" in fault.mend
    assert "e+" not in fault.what


def test_a_cup_in_millimetres_in_a_scene_in_inches_says_so_once(tmp_path):
    """Of 3.3 m it was split to over a million faces, and the answer was that the edge is short."""
    data = small_scene()
    data["units"] = "in"
    data["chamber"]["inside"] = [20.0, 16.0, 24.0]
    data["lamp"] = [{**data["lamp"][0], "from": [2, 2, 4], "to": [2, 2, 18], "diameter": 1}]
    data["object"] = []
    data["row"] = [{"name": "cups", "count": 1, "from": [10, 8, 22], "mesh": "cup.obj"}]
    path = write_scene(tmp_path, data)
    (tmp_path / "cup.obj").write_bytes(mesh_files()["cup.obj"])
    faults = check_scene(build_scene(path, read_scene(path)))
    (fault,) = (one for one in faults if "cups 1" in one.key)
    assert fault.level is Level.ERROR
    assert "write scale = 0.0393701 if it was drawn in mm" in fault.mend
