"""Slips that make a time too short in silence: units of a lamp or a mesh, a forgotten `judged`."""

import re

import pytest
import trimesh
from small_scenes import faults_of, only_fault, plate, small_scene, with_object, write_scene

from raysim.base.errors import Level
from raysim.base.fault_codes import Code
from raysim.library.lamps import lamp_types


def one_lamp(**keys) -> dict:
    """The small scene with one lamp of these keys along z, in a box that it fits into."""
    data = small_scene()
    data["chamber"]["inside"] = [500, 500, 1500]
    data["lamp"] = [{"name": "lamp", "from": [250, 250, 30], "diameter": 26} | keys]
    return data


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        # 46 uW/cm2 with its unit or its point slipped; the tube is a T8 of 15 W.
        ({"to": [250, 250, 390], "irradiance_at_1m": "460 uW/cm2"}, "so much light"),
        ({"to": [250, 250, 390], "irradiance_at_1m": "4.6 W/m2"}, "so much light"),
        # The whole tube of 437 mm given for the arc of 360 mm, and mains watts with it.
        ({"to": [250, 250, 467], "uvc": "15 W"}, "look like electrical watts"),
        ({"to": [250, 250, 467], "uvc": "49 W"}, "look like electrical watts"),
    ],
)
def test_lamps_that_give_far_more_than_a_like_one_are_an_error(tmp_path, keys, said):
    fault = only_fault(write_scene(tmp_path, one_lamp(**keys)))
    assert fault.level is Level.ERROR
    assert said in fault.what
    assert "T8 15 W lamp" in fault.what
    rating = "uvc" if "uvc" in keys else "irradiance_at_1m"
    assert fault.key == f'lamp 1 "lamp".{rating}'


@pytest.mark.parametrize(
    "keys",
    [
        {"to": [250, 250, 390], "irradiance_at_1m": "46 uW/cm2"},
        {"to": [250, 250, 467], "uvc": "4.9 W"},
        # The strongest lamps without amalgam: long twin tube of 95 W, single tube of 75 W
        # (makers' catalogues, from memory).
        {"to": [250, 250, 540], "uvc": "27 W", "diameter": 17.5, "tubes": 2, "spacing": 39},
        {"to": [250, 250, 1180], "uvc": "25.5 W"},
    ],
)
def test_lamps_as_they_are_sold_are_no_fault(tmp_path, keys):
    assert faults_of(write_scene(tmp_path, one_lamp(**keys))) == []


@pytest.mark.parametrize("kind", lamp_types().values(), ids=lambda kind: kind.name)
def test_no_lamp_of_the_table_is_doubted(tmp_path, kind):
    tubes = {"tubes": 2, "spacing": 2 * kind.diameter_mm} if kind.tubes == 2 else {}
    keys = {"diameter": kind.diameter_mm, "uvc": f"{kind.uvc_W_high} W"} | tubes
    for length in (kind.arc_mm, kind.tube_length_mm):
        lamp = one_lamp(to=[250, 250, 30 + length], **keys)
        assert faults_of(write_scene(tmp_path, lamp)) == []


def test_a_box_in_inches_read_as_centimetres_is_told_by_its_lamps(tmp_path):
    # A T5 of 8 W: 235 and 16 mm are 9.25 and 0.63 inches.
    lamp = {"to": ["25 cm", "25 cm", "12.25 cm"], "diameter": "0.63 cm", "uvc": "2.4 W"}
    fault = only_fault(write_scene(tmp_path, one_lamp(**lamp)))
    assert fault.level is Level.WARNING
    assert "times what the strongest common lamps give" in fault.what
    assert "too short" in fault.what


def test_a_respirator_that_is_not_judged_is_told_of(tmp_path):
    for keys in ({"mesh": "plate.ply"}, {"surface": "respirator fabric"}):
        data = with_object(at=[60, 125, 150], **keys)
        fault = only_fault(write_scene(tmp_path, data, thing=plate(50.0)))
        assert fault.level is Level.WARNING
        assert fault.key == 'object 2 "thing".judged'
        assert "nothing is said about the dose" in fault.what
    fine = with_object(at=[60, 125, 150])
    assert faults_of(write_scene(tmp_path, fine, thing=plate(50.0))) == []


@pytest.mark.parametrize(("scale", "length"), [(0.1, "12 mm"), (1 / 2.54, "47.2 mm"), (1.0, "")])
def test_a_respirator_of_odd_size_is_told_of(tmp_path, scale, length):
    data = small_scene()
    data["object"][0] |= {"mesh": "cup.ply", "scale": scale}
    cup = trimesh.creation.icosphere(subdivisions=2, radius=60)
    path = write_scene(tmp_path, data, cup=cup)
    if not length:
        assert faults_of(path) == []
        return
    fault = only_fault(path)
    assert (fault.level, fault.key) == (Level.WARNING, 'object 1 "plate".scale')
    assert f"{length} long, which is not the size of a respirator" in fault.what
    assert "check scale" in fault.mend


def test_a_solid_that_lets_light_through_is_an_error_and_a_sleeve_is_none(tmp_path):
    """Of a lamp in a closed sleeve all that passes inwards would be lost."""
    glass = {"reflectance": 0.08, "reflectance_low": 0.08, "transmittance": 0.85}
    keys = {"surface": glass, "at": [40, 40, 175]}
    sleeve = trimesh.creation.cylinder(radius=14, height=260, sections=24)
    path = write_scene(tmp_path, with_object(**keys), thing=sleeve)
    fault = only_fault(path)
    assert (fault.level, fault.key) == (Level.ERROR, 'object 2 "thing".sides')
    assert 'sides = "both"' in fault.mend
    thin = with_object(**keys, sides="both")
    assert faults_of(write_scene(tmp_path, thin, thing=sleeve)) == []


@pytest.mark.parametrize(
    ("gap", "shift", "meet"),
    # A T8 of 15 W reaches 38.5 mm beyond either end of its arc, and its pins 7 mm more.
    [
        (30.0, 0.0, True),
        (82.0, 0.0, True),
        (90.0, 0.0, True),
        (92.0, 0.0, False),
        (30.0, 30.0, False),
    ],
)
def test_lamps_end_to_end_need_room_for_their_caps(tmp_path, gap, shift, meet):
    data = one_lamp(to=[250, 250, 390], uvc="4.7 W")
    low, high = 390 + gap, 750 + gap
    other = {"name": "other", "from": [250 + shift, 250, high], "to": [250 + shift, 250, low]}
    data["lamp"].append(data["lamp"][0] | other)
    path = write_scene(tmp_path, data)
    if not meet:
        assert faults_of(path) == []
        return
    fault = only_fault(path)
    assert (fault.code, fault.level) == (Code.CAPS_MEET, Level.WARNING)
    assert fault.key == 'lamp 1 "lamp".from'
    assert re.search(r'"other": .* 3[89] mm beyond the arc', fault.what)
