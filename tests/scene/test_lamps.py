"""Lamps: their ratings, and the tubes they become."""

import re

import numpy as np
import pytest
from small_scenes import only_fault, small_scene, write_scene

from raysim.dose.simulate import load_scene
from raysim.library.assumptions import assumptions
from raysim.library.keitz import keitz_irradiance
from raysim.scene.file.written import Lamp
from raysim.scene.place import lamp_tubes
from raysim.scene.triangles import LampTube
from raysim.scene.tubes import faces_within, segment_distance, tube_points

ARC = 0.230  # m, both lamps of the small scene


def scene_with_lamp(folder, **keys):
    """The small scene, its first lamp rated by `keys` instead of uvc."""
    data = small_scene()
    del data["lamp"][0]["uvc"]
    data["lamp"][0] |= keys
    return write_scene(folder, data)


def test_irradiance_at_1_m_becomes_watts_and_back(tmp_path):
    built = load_scene(scene_with_lamp(tmp_path, irradiance_at_1m="21 uW/cm2"))
    watts = built.triangles.lamps[0].uvc_W
    # Keitz with alpha = atan(L / 2D), by hand: 0.21 W/m2 * 2 pi^2 * 0.23 / (2 a + sin 2 a).
    alpha = np.arctan(0.115)
    by_hand = 0.21 * 2.0 * np.pi**2 * ARC / (2.0 * alpha + np.sin(2.0 * alpha))
    assert watts == pytest.approx(by_hand, rel=1e-12)
    assert watts == pytest.approx(2.090, abs=0.001)
    assert keitz_irradiance(watts, 1.0, ARC) == pytest.approx(0.21, rel=1e-12)


def test_the_watts_of_a_scene_are_those_written(tmp_path):
    lamps = load_scene(scene_with_lamp(tmp_path, uvc="1900 mW", hours=120)).triangles.lamps
    assert [lamp.uvc_W for lamp in lamps] == pytest.approx([1.9, 2.4])
    assert [lamp.hours for lamp in lamps] == [120.0, 0.0]
    assert [lamp.name for lamp in lamps] == ["left", "right"]


def test_electrical_watts_alone_are_refused_with_the_typical_range(tmp_path):
    fault = only_fault(scene_with_lamp(tmp_path, electrical="15 W"))
    assert fault.key == 'lamp 1 "left"'
    assert "electrical watts are not UVC watts" in fault.what
    low, high = (float(x) for x in re.search(r"some ([\d.]+) to ([\d.]+) W", fault.what).groups())
    shares = [assumptions()[f"uvc_share_{end}"].value for end in ("low", "high")]
    assert [low, high] == pytest.approx([15.0 * share for share in shares], rel=0.02)
    assert 0.2 <= shares[0] < shares[1] <= 0.45
    assert "uvc" in fault.what
    assert "irradiance_at_1m" in fault.what


def test_a_lamp_without_any_rating_is_refused(tmp_path):
    fault = only_fault(scene_with_lamp(tmp_path))
    assert "give uvc" in fault.what
    assert "electrical" not in fault.what


def test_electrical_watts_beside_uvc_are_welcome(tmp_path):
    built = load_scene(scene_with_lamp(tmp_path, uvc="2.4 W", electrical="8 W"))
    assert built.triangles.lamps[0].uvc_W == pytest.approx(2.4)


def lamp(**keys) -> Lamp:
    """A lamp from its keys in metres, along x at a height of 1 m unless told otherwise."""
    common = {"name": "l", "from": [0, 0, 1], "to": [0.3, 0, 1], "diameter": 0.012, "uvc": "1 W"}
    return Lamp.model_validate(common | keys, context={"metres_per_unit": 1.0})


def test_one_tube_lies_on_its_line():
    (tube,) = lamp_tubes(4, lamp())
    assert tube.lamp == 4
    assert tube.radius == pytest.approx(0.006)
    assert np.allclose([tube.start, tube.end], [[0, 0, 1], [0.3, 0, 1]], atol=1e-15)


@pytest.mark.parametrize(
    ("ends", "spread", "across"),
    [
        # Level, unless the lamp stands upright; then along x.
        (([0, 0, 1], [0.3, 0, 1]), None, [0, 1, 0]),
        (([0, 0, 1], [0, 0.3, 1]), None, [-1, 0, 0]),
        (([0, 0, 0], [0, 0, 0.3]), None, [1, 0, 0]),
        (([0, 0, 1], [0.3, 0, 1]), [0, 0, 2], [0, 0, 1]),
        # Only what of `spread` lies across the axis counts.
        (([0, 0, 1], [0.3, 0, 1]), [5, 0, 1], [0, 0, 1]),
        # Along the axis it says nothing, and the tubes still stand apart.
        (([0, 0, 1], [0.3, 0, 1]), [1, 0, 0], None),
    ],
)
def test_twin_tubes_stand_side_by_side_about_the_line(ends, spread, across):
    keys = {"from": ends[0], "to": ends[1], "tubes": 2, "spacing": 0.02}
    tubes = lamp_tubes(0, lamp(**keys, **({"spread": spread} if spread else {})))
    assert len(tubes) == 2
    starts = np.array([tube.start for tube in tubes])
    stops = np.array([tube.end for tube in tubes])
    assert np.allclose(starts.mean(axis=0), ends[0], atol=1e-15)
    assert np.allclose(stops.mean(axis=0), ends[1], atol=1e-15)
    step = starts[1] - starts[0]
    assert np.linalg.norm(step) == pytest.approx(0.02, rel=1e-12)
    assert step @ np.subtract(ends[1], ends[0]) == pytest.approx(0.0, abs=1e-15)
    if across is not None:
        assert abs(step @ np.array(across)) == pytest.approx(0.02, rel=1e-12)


def test_four_tubes_are_evenly_spaced():
    tubes = lamp_tubes(0, lamp(tubes=4, spacing=0.02))
    y = sorted(tube.start[1] for tube in tubes)
    assert np.allclose(y, [-0.03, -0.01, 0.01, 0.03], atol=1e-15)


def test_tubes_that_would_cut_each_other_are_refused():
    with pytest.raises(ValueError, match="spacing must exceed diameter"):
        lamp(tubes=2, spacing=0.012)


@pytest.mark.parametrize(
    ("a", "b", "distance"),
    [
        # Parallel; crossed at a right angle; end to end; end against side; skew beyond both ends.
        (([0, 0, 0], [1, 0, 0]), ([0, 2, 0], [1, 2, 0]), 2.0),
        (([0, 0, 0], [1, 0, 0]), ([0.4, -1, 3], [0.4, 1, 3]), 3.0),
        (([0, 0, 0], [1, 0, 0]), ([1.5, 0, 0], [2, 0, 0]), 0.5),
        (([0, 0, 0], [1, 0, 0]), ([0.3, 0.2, 0], [0.3, 5, 0]), 0.2),
        (([0, 0, 0], [1, 0, 0]), ([4, 4, 0], [4, 9, 0]), 5.0),
        (([0, 0, 0], [1, 1, 0]), ([0, 1, 0], [1, 0, 0]), 0.0),
    ],
)
def test_distance_between_two_tubes(a, b, distance):
    tubes = [LampTube(0, np.array(s, float), np.array(e, float), 0.1) for s, e in (a, b)]
    assert segment_distance(*tubes) == pytest.approx(distance, abs=1e-9)
    assert segment_distance(*tubes[::-1]) == pytest.approx(distance, abs=1e-9)


@pytest.mark.parametrize("end", [[0.3, 0, 0], [0, 0.3, 0], [0, 0, 0.3], [0.1, -0.2, 0.3]])
def test_points_of_a_tube_lie_on_its_mantle(end):
    tube = LampTube(0, np.zeros(3), np.array(end, float), 0.013)
    points = tube_points(tube, around=12, along=5)
    assert points.shape == (12, 5, 3)
    axis = tube.end / np.linalg.norm(tube.end)
    height = points @ axis
    assert np.allclose(height, np.linspace(0.0, np.linalg.norm(end), 5)[None], atol=1e-15)
    from_axis = points - height[..., None] * axis
    assert np.allclose(np.linalg.norm(from_axis, axis=2), 0.013, rtol=1e-12)
    assert np.allclose(from_axis.sum(axis=0), 0.0, atol=1e-12)


def test_a_triangle_through_a_tube_with_a_corner_level_with_its_end_cuts_it():
    tube = LampTube(0, np.zeros(3), np.array([0.0, 0.0, 0.2]), 0.02)
    # Seen along the axis, what lies between the ends is a triangle around the axis.
    through = np.array([[0.27, 0.10, 0.0], [-0.01, -0.06, 0.12], [-0.07, 0.12, -0.03]])
    beside = through + [0.0, 0.2, 0.0]
    assert faces_within(np.stack([beside, through]), tube).tolist() == [1]
