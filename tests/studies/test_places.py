"""Proposed places of the meter: free, open to the door, and telling."""

import tomllib
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from boxes import three_lamps
from small_scenes import small_scene, write_scene

import raysim
from raysim.base.errors import RaysimError
from raysim.base.units import to_mm
from raysim.output.files.scene_file import meters_toml
from raysim.output.words.survey import places_lines
from raysim.scene.file.written import Meter
from raysim.scene.sides import OF_AXES, OF_BOX
from raysim.scene.triangles import MeterPoint
from raysim.studies.survey.places import (
    AHEAD,
    BY_REFLECTION,
    CLEAR,
    CLEAR_OF_LAMPS,
    WAYS,
    _name,
    free_points,
    most_telling,
    propose,
)
from raysim.studies.survey.run import study
from raysim.workshop.grid import MM

INSIDE = np.array([0.30, 0.25, 0.35])


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    return three_lamps(tmp_path_factory.mktemp("places"))


@pytest.fixture(scope="module")
def found(scene):
    return study(propose(scene))


def test_free_points_are_clear_of_walls_plate_and_lamps(scene):
    """The plate hangs upright at y 125, from x 90 to 210 and z 110 to 230; lamps are upright."""
    points = free_points(scene.triangles)
    assert len(points) > 20
    for point in points:
        x, y, z = point.at
        assert (point.at >= CLEAR - 1e-6).all()
        assert (INSIDE - point.at >= CLEAR - 1e-6).all()
        ahead = point.at + AHEAD * 0.999 * point.facing
        assert (ahead > 0.0).all()
        assert (ahead < INSIDE).all()
        before_plate = 0.09 <= x <= 0.21 and 0.11 <= z <= 0.23
        assert not (before_plate and abs(y - 0.125) < CLEAR - 1e-6)
        assert not (before_plate and y > 0.125)  # no hand gets there from the door
        for lamp in ((0.04, 0.04), (0.26, 0.21), (0.04, 0.215)):
            if 0.06 <= z <= 0.29:
                assert np.hypot(x - lamp[0], y - lamp[1]) > 0.5 * CLEAR_OF_LAMPS


def test_a_lamp_in_the_way_from_the_door_is_in_the_way(scene):
    for point in free_points(scene.triangles):
        x, y, z = point.at
        assert not (abs(x - 0.04) < CLEAR and y > 0.04 and 0.06 <= z <= 0.29)


def test_a_few_places_are_proposed_one_of_them_by_reflected_light(found):
    """Three, and one more for the weak lamp behind the plate."""
    assert len(found.rows) == 4
    assert found.rows[0].meter.reflected > BY_REFLECTION
    assert len({row.meter.name for row in found.rows}) == 4
    assert "mainly by reflection" not in " ".join(
        places_lines(found.rows, found.scene.triangles.lamps)
    )


def test_a_place_is_named_by_its_distances_from_the_walls(found):
    for row in found.rows:
        left, front, floor = (f"{mm:.0f}" for mm in to_mm(row.meter.point.at))
        start = f"{left} mm from left, {front} from front, {floor} up, facing "
        assert row.meter.name.startswith(start)


def test_under_a_roof_a_place_is_named_as_the_guide_prints_it(tmp_path):
    """By its `at`, from the lowest corner; it was the way to the roof, right beside the head."""
    corners = [[x, y, z] for x, z in ((0, 0), (400, 0), (200, 400)) for y in (0, 300)]
    tent = trimesh.Trimesh(corners).convex_hull.apply_translation([-50, 0, 20])
    data = small_scene()
    data["chamber"] = {"mesh": "tent.ply", "lining": "aluminium foil, bright side"}
    for lamp, x in zip(data["lamp"], (30, 270), strict=True):
        lamp |= {"from": [x, 40, 60], "to": [x, 260, 60]}
    scene = raysim.load_scene(write_scene(tmp_path, data, tent=tent))
    for point in propose(scene).triangles.meters:
        left, front, floor = to_mm(point.at) - [-50, 0, 20]
        start = f"{left:.0f} mm along x, {front:.0f} along y, {floor:.0f} up, facing "
        assert point.name.startswith(start)


def test_in_a_scene_in_inches_places_and_their_names_are_on_half_inches(scene):
    written = scene.written.model_copy(update={"units": "in"})
    found = propose(replace(scene, written=written))
    for point in found.triangles.meters:
        assert np.allclose(point.at / 0.0127, np.round(point.at / 0.0127))
        assert " in from left, " in point.name
        whole, *rest = point.name.split(" in ")[0].split()
        assert int(whole) + 0.5 * len(rest) == pytest.approx(point.at[0] / 0.0254)


def test_a_box_of_metres_has_places_too(tmp_path):
    """In a wardrobe the name of a place was longer than a name may be: a traceback."""
    path = three_lamps(tmp_path).path
    path.write_text(
        path.read_text("utf-8").replace("[chamber]", 'units = "cm"\n[chamber]'), "utf-8"
    )
    found = propose(raysim.load_scene(path))
    assert max(point.at[2] for point in found.triangles.meters) > 1.0
    far = MeterPoint("", np.array([2.9, 2.4, 3.4]), WAYS[0], None)
    for sides in (OF_BOX, OF_AXES):
        assert len(_name(np.zeros(3), far, MM, sides)) <= 80


def test_the_lines_to_paste_give_the_same_points_again(found):
    pasted = tomllib.loads(meters_toml(found))["meter"]
    for told, meant in zip(pasted, found.scene.written.meter, strict=True):
        again = Meter.model_validate(told, context={"metres_per_unit": 0.001})
        assert again.at == pytest.approx(meant.at)
        assert again.facing == meant.facing
        assert again.name == meant.name


def test_the_second_place_is_one_that_tells_something_new():
    """Another lamp, and not the first place again, whose four copies are as well lit."""
    first, lamp = [0.5, 0.3, 0.2, 0.8], [0.9, 0.05, 0.05, 0.1]
    rows = np.array([first, lamp, first, first, first]) / 0.09
    reflected = np.array([0.9, 0.1, 0.5, 0.5, 0.0])
    assert most_telling(rows, reflected, rows[:, :2], np.ones(2))[:2] == [0, 1]


def test_places_go_on_until_every_lamp_is_told_of():
    """The fourth lamp weighs little in the fit, and would have been left out."""
    shares = np.array([[0.9, 0.04, 0.03, 0.03], [0.04, 0.9, 0.03, 0.03], [0.03, 0.04, 0.9, 0.03]])
    dim = np.array([[0.25, 0.2, 0.2, 0.35], [0.25, 0.2, 0.2, 0.35], [0.25, 0.25, 0.25, 0.25]])
    shares = np.concatenate([shares, dim])
    rows = np.column_stack([shares, np.zeros(6)]) / 0.09
    picked = most_telling(rows, np.zeros(6), shares, np.ones(4))
    assert len(picked) == 4
    assert {0, 1, 2} < set(picked)
    assert picked[3] in (3, 4)


def test_the_first_place_is_the_most_reflected_where_none_is_mainly_so():
    rows = np.array([[5.0, 0.0, 0.1], [0.0, 5.0, 0.1], [1.0, 1.0, 0.5]])
    assert most_telling(rows, np.array([0.1, 0.2, 0.3]), np.eye(3)[:, :2], np.ones(2))[0] == 2


def test_a_box_too_narrow_for_a_head_is_told_so(scene, monkeypatch):
    monkeypatch.setattr("raysim.studies.survey.places.CLEAR", 0.13)
    with pytest.raises(RaysimError, match="no place for a meter is free of walls, load and lamps"):
        propose(scene)
