"""`raysim leak` as a user runs it."""

import json

import pytest
from running import raysim_said, shows_cautions
from small_scenes import small_scene, write_scene

import raysim.studies.leak.study

GAP = {
    "name": "door",
    "wall": "front",
    "from": [60, 0, 150],
    "to": [240, 0, 150],
    "width": 2,
    "depth": 18,
    "distance": 300,
}


def with_gap(folder, **keys):
    data = small_scene()
    data["gap"] = [GAP | keys]
    write_scene(folder, data)
    return folder


@pytest.fixture(autouse=True)
def few_lines(monkeypatch):
    """Fewer lines than usual: what is said counts here; tests/physics checks the figures."""
    for name, count in (("WALL_LINES", 64), ("TUBE_LINES", 64), ("LINES", 16)):
        monkeypatch.setattr(raysim.studies.leak.study, name, count)


def test_it_says_which_light_and_how_long(tmp_path):
    said = raysim_said("leak", "scene.toml", folder=with_gap(tmp_path))
    assert said.status == 0, said.err
    assert "unweighted 254 nm, uW/cm2:" in said.out
    assert "effective, uW/cm2:" in said.out
    assert "a day, eyes bare:" in said.out
    assert "divided by the safety factor 1.2" in said.words
    assert shows_cautions(said.out)


def test_json_holds_both_kinds_of_light_and_is_the_same_again(tmp_path):
    with_gap(tmp_path)
    first = raysim_said("leak", "scene.toml", "--json", folder=tmp_path)
    again = raysim_said("leak", "scene.toml", "--json", "--threads", "1", folder=tmp_path)
    assert first.out == again.out
    record = json.loads(first.out)
    (leak,) = record["leaks"]
    light = leak["irradiance_unweighted_uW_cm2"]
    assert leak["irradiance_effective_uW_cm2"] == pytest.approx(0.5 * light)
    assert leak["off_walls_unweighted_uW_cm2"] > 0.0
    parts = leak["in_sight_unweighted_uW_cm2"] + leak["off_walls_unweighted_uW_cm2"]
    assert parts == pytest.approx(light)
    safe = light + 2.0 * leak["standard_error_unweighted_uW_cm2"]
    assert leak["permissible_time_eyes_s"] == pytest.approx(6000.0 / safe / 1.2)
    assert record["cautions"]


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"wall": "door"}, "walls: front"),
        ({"from": [60, 30, 150]}, "off the inside of wall front"),
        ({"kind": "rabbet"}, "step"),
        ({"kind": "rabbet", "step": 1}, "open corner"),
        ({"kind": "rabbet", "step": 9, "depth": 3}, "two widths deep"),
        ({"width": 0}, "width"),
    ],
)
def test_mistakes_are_one_clear_line(tmp_path, keys, words):
    said = raysim_said("leak", "scene.toml", folder=with_gap(tmp_path, **keys))
    assert said.status == 2
    assert words in said.err
    assert len(said.err.strip().splitlines()) <= 2


def test_a_scene_without_gaps_is_told_so(tmp_path):
    write_scene(tmp_path)
    said = raysim_said("leak", "scene.toml", folder=tmp_path)
    assert said.status == 2
    assert "no [[gap]]" in said.err


POSES = [{"name": "as hung"}, {"name": "over the door gap", "turn": [0, 0, 90]}]


def with_poses(folder):
    data = small_scene()
    data["gap"], data["pose"] = [GAP], POSES
    write_scene(folder, data)
    return folder


def test_of_several_poses_it_says_which_one_it_took(tmp_path):
    said = raysim_said("leak", "scene.toml", folder=with_poses(tmp_path))
    assert said.status == 0, said.err
    assert 'of 2 poses this looks at the first alone, "as hung"' in said.err
    assert 'as in pose "as hung"' in said.words
    assert 'look at "over the door gap" as well (--pose)' in said.words


def test_a_pose_can_be_named_and_is_the_scene_with_the_load_hung_so(tmp_path):
    words = ("leak", "scene.toml", "--json", "--pose", "OVER the door gap")
    named = raysim_said(*words, folder=with_poses(tmp_path))
    first = raysim_said("leak", "scene.toml", "--json", folder=tmp_path)
    data = small_scene()
    data["gap"] = [GAP]
    data["object"][0]["turn"] = POSES[1]["turn"]
    (tmp_path / "hung so").mkdir()
    write_scene(tmp_path / "hung so", data)
    plain = raysim_said("leak", "scene.toml", "--json", folder=tmp_path / "hung so")
    records = [json.loads(said.out) for said in (named, first, plain)]
    assert [record["pose"] for record in records] == ["over the door gap", "as hung", None]
    assert records[0]["leaks"] == records[2]["leaks"] != records[1]["leaks"]


def test_a_pose_that_is_not_there_is_told_in_one_line(tmp_path):
    said = raysim_said("leak", "scene.toml", "--pose", "upside", folder=with_poses(tmp_path))
    assert said.status == 2
    assert 'Mend: "as hung" or "over the door gap"' in said.err
