"""Reading a scene file: what is wrong is said in one line with file, key and mend."""

import math
from pathlib import Path

import pytest
from small_scenes import (
    errors_of,
    faults_of,
    is_one_clear_line,
    only_fault,
    small_scene,
    write_scene,
)

import raysim
from raysim.base.errors import Level, SceneError
from raysim.scene.file.read import file_hash, read_scene
from raysim.studies.design.wish import read_wish

STARTER = Path(raysim.__file__).parent / "starter"


def changed(path: tuple, value) -> dict:
    """The small scene with one entry set, or taken out where `value` is ..."""
    data = small_scene()
    inner = data
    for step in path[:-1]:
        inner = inner[step]
    if value is ...:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    return data


def test_the_small_scene_has_no_faults(tmp_path):
    assert faults_of(write_scene(tmp_path)) == []


def test_lengths_are_in_the_scenes_units_or_carry_their_own(tmp_path):
    millimetres = read_scene(write_scene(tmp_path)).chamber.inside
    assert millimetres == pytest.approx((0.3, 0.25, 0.35), rel=1e-12)
    for unit, size in (("cm", [30, 25, 35]), ("m", [0.3, 0.25, 0.35])):
        data = small_scene() | {"units": unit}
        data["chamber"]["inside"] = size
        assert read_scene(write_scene(tmp_path, data)).chamber.inside == pytest.approx(millimetres)
    data = small_scene() | {"units": "in"}
    data["chamber"]["inside"] = ["300 mm", "0.25 m", 10]
    inside = read_scene(write_scene(tmp_path, data)).chamber.inside
    assert inside == pytest.approx((0.3, 0.25, 0.254), rel=1e-12)


# Where, what stands there, the key in the message, and words of the message.
WRONG = [
    (("chamber", "lining"), ..., "chamber.lining", "this key is missing", "add lining = ..."),
    (("title",), ..., "title", "this key is missing", "add title"),
    (("lamp", 0, "from"), ..., 'lamp 1 "left".from', "this key is missing", "add from"),
    (("lamp", 1, "diameter"), -16, 'lamp 2 "right".diameter', "greater than 0", ""),
    (("lamp", 1, "diameter"), 0, 'lamp 2 "right".diameter', "greater than 0", ""),
    (("lamp", 0, "uvc"), 2.4, 'lamp 1 "left".uvc', "lacks its unit", ""),
    (("lamp", 0, "uvc"), "2,4 W", 'lamp 1 "left".uvc', 'decimal point as "."', ""),
    (("lamp", 0, "uvc"), "2.4 mm", 'lamp 1 "left".uvc', "is not a power", ""),
    (("lamp", 0, "uvc"), "0 W", 'lamp 1 "left".uvc', "greater than 0", ""),
    (("lamp", 0, "to"), [40, 40, 60], 'lamp 1 "left"', "no length", ""),
    (("lamp", 0, "to"), [40, 40], 'lamp 1 "left".to 3', "missing", "as many"),
    (("lamp", 0, "tubes"), 2, 'lamp 1 "left"', "tubes above 1 and spacing", ""),
    (("lamp", 0, "spacing"), 20, 'lamp 1 "left"', "tubes above 1 and spacing", ""),
    (("lamp", 0, "tubes"), 1.5, 'lamp 1 "left".tubes', "integer", ""),
    (("lamp", 0, "hours"), -1, 'lamp 1 "left".hours', "greater than or equal to 0", ""),
    (("lamp", 0, "irradiance_at_1m"), "48 uW/cm2", 'lamp 1 "left"', "not both", ""),
    (("chamber", "inside"), [300, 250], "chamber.inside 3", "missing", "as many"),
    (("chamber", "inside"), [300, -250, 350], "chamber.inside 2", "greater than 0", ""),
    (("chamber", "inside"), "300 mm", "chamber.inside", "found 300 mm", ""),
    (("chamber", "inside"), [300, 250, math.nan], "chamber.inside 3", "not a finite number", ""),
    (("chamber", "inside"), [300, math.inf, 350], "chamber.inside 2", "not a finite number", ""),
    (("chamber", "inside"), [300, True, 350], "chamber.inside 2", "is not a number", ""),
    (("chamber", "inside"), ["300", 250, 350], "chamber.inside 1", "unit of length", ""),
    (("chamber", "inside"), [10**400, 250, 350], "chamber.inside 1", "finite", ""),
    (("chamber", "mesh"), "box.stl", "chamber", "either inside", ""),
    (("chamber", "inside"), ..., "chamber", "either inside", ""),
    (("chamber", "lining"), 5, "chamber.lining", "string", ""),
    (("object", 0, "judged"), "perhaps", 'object 1 "plate".judged', "perhaps", ""),
    (("object", 0, "judged"), "yes", 'object 1 "plate".judged', "neither true nor false", ""),
    (("object", 0, "judged"), 1, 'object 1 "plate".judged', "neither true nor false", ""),
    (("object", 0, "turn"), ["10 deg", 0, 0], 'object 1 "plate".turn 1', "is not a number", ""),
    (("object", 0, "scale"), 0, 'object 1 "plate".scale', "greater than 0", ""),
    (("object", 0, "sides"), "left", 'object 1 "plate".sides', "'both' or 'outside'", ""),
    (("object", 0, "name"), "", 'object 1 "".name', "at least 1 character", ""),
    (("object", 0), "respirator", "object 1", "found respirator", ""),
    (("lamp",), [], "lamp", "at least 1 item", ""),
    (("units",), "furlong", "units", "'mm'", ""),
    (("target",), {"dose": 1.0}, "target.dose", "lacks its unit", ""),
    (("target",), {"safety_factor": 0.5}, "target.safety_factor", "greater than or equal to 1", ""),
    (("lamps_behaviour",), {"ageing": 80}, "lamps_behaviour.ageing", "less than or equal to 1", ""),
    (("lamps_behaviour",), {"ageing": 0}, "lamps_behaviour.ageing", "greater than 0", ""),
    (
        ("lamps_behaviour",),
        {"warm_up": {"full_after": "5 min", "time_constant": "90 s"}},
        "lamps_behaviour.warm_up",
        "give one of",
        "",
    ),
    (
        ("lamps_behaviour",),
        {"warm_up": {"curve": [["0 s", 0.5], ["60 s", 0.9]]}},
        "lamps_behaviour.warm_up",
        "end at 1.0",
        "",
    ),
    (
        ("lamps_behaviour",),
        {"warm_up": {"curve": [["10 s", 0.5], ["5 s", 1.0]]}},
        "lamps_behaviour.warm_up",
        "rising times",
        "",
    ),
    (("meter",), [{"name": "m", "at": [1, 1, 1], "facing": [0, 0, 0]}], 'meter 1 "m".facing',
     "must not be all zero", ""),
    (("surface",), [{"reflectance": 0.5}], "scene", "every [[surface]] needs a name", ""),
]  # fmt: skip


@pytest.mark.parametrize(("where", "value", "key", "what", "mend"), WRONG)
def test_one_wrong_entry_is_one_clear_line(tmp_path, where, value, key, what, mend):
    fault = only_fault(write_scene(tmp_path, changed(where, value)))
    assert fault.level is Level.ERROR
    assert fault.key == key
    assert what in fault.what
    assert mend in fault.mend


@pytest.mark.parametrize(
    ("where", "wrong", "nearest"),
    [
        ((), "titel", "title"),
        ((), "lamps", "lamp"),
        ((), "objects", "object"),
        (("chamber",), "linning", "lining"),
        (("chamber",), "size", "inside"),
        (("lamp", 0), "watts", "uvc"),
        (("lamp", 0), "Power", "uvc"),
        (("lamp", 0), "diametre", "diameter"),
        (("lamp", 0), "form", "from"),
        (("object", 0), "judge", "judged"),
        (("object", 0), "material", "surface"),
        (("object", 0), "position", "at"),
        (("object", 0), "rotation", "turn"),
        (("target",), "dosis", "dose"),
        (("lamps_behaviour", "warm_up"), "full_afer", "full_after"),
    ],
)
def test_an_unknown_key_names_the_nearest_one(tmp_path, where, wrong, nearest):
    data = small_scene() | {"target": {}, "lamps_behaviour": {"warm_up": {}}}
    inner = data
    for step in where:
        inner = inner[step]
    inner[wrong] = 1
    fault = only_fault(write_scene(tmp_path, data))
    assert fault.key.endswith(wrong)
    assert fault.what == "no such key"
    assert fault.mend.startswith(f"did you mean {nearest}")


def test_a_key_like_no_other_gets_the_list_of_known_ones(tmp_path):
    fault = only_fault(write_scene(tmp_path, changed(("chamber", "zzz"), 1)))
    assert "lining" in fault.mend
    assert "inside" in fault.mend


def test_an_unknown_key_of_an_inline_surface_is_found(tmp_path):
    data = changed(("object", 0, "surface"), {"reflectance": 0.3, "speculer": 0.1})
    fault = only_fault(write_scene(tmp_path, data))
    assert fault.key == 'object 1 "plate".surface.speculer'
    assert "did you mean specular?" in fault.mend


@pytest.mark.parametrize(
    ("surface", "said"),
    [
        ({}, "either reflectance"),
        ({"reflectance": 0.5, "refractive_index": 1.5}, "either reflectance"),
        ({"reflectance": 1.1}, "less than or equal to 1"),
        ({"reflectance": 0.8, "transmittance": 0.3}, "more than arrives"),
        ({"reflectance": 0.5, "reflectance_low": 0.6}, "must not fall"),
        ({"reflectance": 0.5, "specular": 2}, "less than or equal to 1"),
        ({"refractive_index": 0}, "greater than 0"),
        ({"refractive_index": 1.5, "transmittance": 0.2}, "takes no other share"),
    ],
)
def test_surfaces_that_cannot_be_are_refused(tmp_path, surface, said):
    fault = only_fault(write_scene(tmp_path, changed(("chamber", "lining"), surface)))
    assert fault.key.startswith("chamber.lining")
    assert said in fault.what


def test_several_faults_are_told_at_once(tmp_path):
    data = small_scene()
    data["chamber"]["linning"] = "foil"
    data["lamp"][0]["uvc"] = "2,4 W"
    data["lamp"][1]["diameter"] = -1
    del data["object"][0]["mesh"]
    path = write_scene(tmp_path, data)
    faults = errors_of(path)
    assert [fault.key for fault in faults] == [
        "chamber.linning",
        'lamp 1 "left".uvc',
        'lamp 2 "right".diameter',
        'object 1 "plate".mesh',
    ]
    for fault in faults:
        is_one_clear_line(fault, path)
    with pytest.raises(SceneError) as refusal:
        read_scene(path)
    assert str(refusal.value).splitlines() == [str(fault) for fault in faults]


@pytest.mark.parametrize("kind", ["lamp", "object"])
def test_two_of_one_name_are_refused_whatever_the_case(tmp_path, kind):
    data = small_scene()
    data[kind].append(data[kind][0] | {"name": data[kind][0]["name"].upper()})
    fault = only_fault(write_scene(tmp_path, data))
    assert f"two entries of {kind}" in fault.what
    assert fault.mend == "name each one otherwise"


@pytest.mark.parametrize("letters", ["a\nb", "\x1b[31mred", "tab\there", "a\r\nb", "bell\x07"])
def test_control_characters_never_reach_the_terminal(tmp_path, letters):
    for where in (
        ("chamber", "lining"),
        ("chamber", "inside", 0),
        ("lamp", 0, "uvc"),
        ("object", 0, "mesh"),
        ("units",),
        (letters,),
    ):
        path = write_scene(tmp_path, changed(where, letters))
        for fault in faults_of(path):
            is_one_clear_line(fault, path)


BROKEN_TOML = [
    "title = ",
    "[chamber",
    "a = 1\na = 2",
    "title = 'x' y",
    "= 3",
    "x = 01",
    "[[lamp]\n",
]


@pytest.mark.parametrize("text", BROKEN_TOML)
def test_broken_toml_says_where(tmp_path, text):
    path = tmp_path / "scene.toml"
    path.write_text(text, encoding="utf-8")
    fault = only_fault(path)
    assert fault.what.startswith("not valid TOML")
    assert "line " in fault.what or "end of document" in fault.what


def test_toml_nested_without_end_is_refused(tmp_path):
    path = tmp_path / "scene.toml"
    path.write_text("a = " + "[" * 20_000 + "]" * 20_000, encoding="utf-8")
    assert only_fault(path).what == "nested too deeply"


def test_what_is_no_scene_file_is_refused(tmp_path):
    empty = tmp_path / "empty.toml"
    empty.write_text("")
    assert {fault.key for fault in faults_of(empty)} == {"title", "chamber", "lamp"}
    assert "this is a folder" in only_fault(tmp_path).what
    assert "no such file" in only_fault(tmp_path / "none.toml").what
    assert "no such file" in only_fault(tmp_path / "none" / "none.toml").what
    assert "cannot be read" in only_fault(empty / "none.toml").what
    huge = tmp_path / "huge.toml"
    huge.write_bytes(b"#" * 5_000_001)
    assert "larger than 5 MB" in only_fault(huge).what


def test_encodings(tmp_path):
    path = write_scene(tmp_path, small_scene() | {"title": "Kästchen für Ærø"})
    assert read_scene(path).title == "Kästchen für Ærø"
    text = path.read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8-sig")
    assert read_scene(path).title == "Kästchen für Ærø"
    path.write_bytes(text.replace("\n", "\r\n").encode())
    assert read_scene(path).title == "Kästchen für Ærø"
    for encoding in ("latin-1", "utf-16"):
        path.write_text(text, encoding=encoding)
        assert only_fault(path).what == "not written in UTF-8"
    path.write_bytes(b"\x00\x01\x02")
    assert "not valid TOML" in only_fault(path).what


def test_the_hash_follows_every_byte_of_scene_and_meshes(tmp_path):
    path = write_scene(tmp_path)
    files = [path, tmp_path / "plate.ply"]
    first = file_hash(files)
    assert file_hash(files) == first
    assert len(first) == 64
    for file in files:
        kept = file.read_bytes()
        file.write_bytes(kept + b"\n")
        assert file_hash(files) != first
        file.write_bytes(kept)
    assert file_hash(files) == first


def test_a_wish_is_no_scene_and_a_scene_no_wish_in_one_line(tmp_path):
    wish = tmp_path / "wish.toml"
    wish.write_text((STARTER / "wish.toml").read_text("utf-8"), encoding="utf-8")
    fault = only_fault(wish)
    assert (fault.key, fault.what) == ("file", "this is a wish, not a scene")
    with pytest.raises(SceneError) as refused:
        read_wish(write_scene(tmp_path))
    (fault,) = refused.value.faults
    assert (fault.key, fault.what) == ("file", "this is a scene, not a wish")
    both = small_scene() | {"load": {"number": 3}}
    assert only_fault(write_scene(tmp_path, both)).key == "load"
