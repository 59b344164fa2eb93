"""`raysim leak` as a user runs it, with few lines: tests/physics checks the figures."""

import json
import re

import pytest
import trimesh
from running import raysim_said, shows_cautions
from small_scenes import small_scene, write_scene

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


def test_it_says_which_light_and_how_long(tmp_path):
    said = raysim_said("leak", "scene.toml", folder=with_gap(tmp_path))
    assert said.status == 0, said.err
    first = " ".join(said.out.split("\n\n")[1].split())  # below the title
    assert first.startswith("A bare eye may stay ")
    assert re.search(
        r" a day 300 mm off it: gap \"door\" lets [\d.]+ ± (?:\d\.\d|\d\d|0\.0*\d\d) uW/cm2 out\. ",
        first,
    )
    assert "Seal it or make it a deeper rabbet" in first
    assert first.index("Seal it") < first.index("Doubt: seams that nobody drew")
    for heading in ("unweighted", "effective,", "a day,", "covered,"):
        assert heading in said.words
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
        ({"from": [-40, 0, 150]}, 'gap 1 "door".from: this end lies 40 mm beyond the rim'),
        ({"kind": "rabbet"}, "step"),
        ({"kind": "rabbet", "step": 1}, "open from front to back"),
        ({"kind": "rabbet", "step": 9, "depth": 3}, "two widths deep"),
        ({"width": 0}, "width"),
    ],
)
def test_mistakes_are_one_clear_line(tmp_path, keys, words):
    said = raysim_said("leak", "scene.toml", folder=with_gap(tmp_path, **keys))
    assert said.status == 2
    assert words in said.out + said.err
    assert len(said.err.strip().splitlines()) <= 2


@pytest.mark.parametrize("command", ["check", "leak"])
def test_a_gap_beyond_the_rim_of_a_mesh_is_refused(tmp_path, command):
    """An L-shaped chamber: the gap lies within the box around it, but not on its wall."""
    data = small_scene()
    data["chamber"] = {"mesh": "room.ply", "lining": "foil"}
    data["lamp"][1] |= {"from": [260, 100, 60], "to": [260, 100, 290]}
    data["object"][0]["at"] = [100, 200, 150]
    gap = GAP | {"wall": "chamber", "from": [60, 250, 150]}
    data["gap"] = [gap | {"to": [170, 250, 150]}]
    write_scene(tmp_path, data, room=l_shaped_room())
    said = raysim_said(command, "scene.toml", folder=tmp_path)
    assert said.status == 0, said.err
    data["gap"] = [gap | {"to": [240, 250, 150]}]
    write_scene(tmp_path, data, room=l_shaped_room())
    said = raysim_said(command, "scene.toml", folder=tmp_path)
    assert said.status == 2
    assert (
        'gap 1 "door".to: this end lies 60 mm beyond the rim of wall chamber' in said.out + said.err
    )
    assert "give both ends on the inside of that wall" in said.out + said.err


def l_shaped_room():
    """A chamber as a mesh, mm, that lacks the far right corner."""
    outline = [(0, 0), (300, 0), (300, 140), (180, 140), (180, 250), (0, 250)]
    corners = [(x, y, z) for z in (0, 350) for x, y in outline]
    caps = [(0, 1, 2), (0, 2, 3), (0, 3, 4), (0, 4, 5)]
    faces = [cap[::-1] for cap in caps] + [tuple(6 + c for c in cap) for cap in caps]
    for a in range(6):
        b = (a + 1) % 6
        faces += [(a, b, b + 6), (a, b + 6, a + 6)]
    return trimesh.Trimesh(corners, faces, process=False)


def test_light_that_no_line_met_is_an_upper_bound(tmp_path):
    data = dark_scene()
    data["gap"] = [GAP | {"reflectance": 0.0}]
    write_scene(tmp_path, data)
    said = raysim_said("leak", "scene.toml", folder=tmp_path)
    assert said.status == 0, said.err
    assert re.search(r"lets at most [\d.]+ uW/cm2 out", said.words)
    assert '"door": no line of sight met any light. The figure is an upper bound' in said.words
    assert "a whole day" not in said.words
    assert "may stay all day" not in said.words
    said = raysim_said("leak", "scene.toml", "--json", folder=tmp_path)
    (leak,) = json.loads(said.out)["leaks"]
    assert leak["at_most"] is True
    assert leak["permissible_time_eyes_s"] < 86_400.0


def dark_scene():
    """A black box whose lamps hang flat at the roof, out of sight of a gap near the floor."""
    data = small_scene()
    data["chamber"]["lining"] = {"reflectance": 0.0}
    data["object"][0]["surface"] = {"reflectance": 0.0}
    for lamp, x in zip(data["lamp"], (40, 260), strict=True):
        lamp |= {"from": [x, 30, 335], "to": [x, 220, 335], "reflectance": 0.0}
    return data


def test_lines_through_a_rabbet_are_told(tmp_path):
    keys = {"kind": "rabbet", "width": 4, "depth": 20}
    said = raysim_said("leak", "scene.toml", folder=with_gap(tmp_path, step=4, **keys))
    assert said.status == 0, said.err
    assert "lead aslant through this rabbet; from a step of 6.00 mm on none does" in said.words
    said = raysim_said("leak", "scene.toml", folder=with_gap(tmp_path, step=6.1, **keys))
    assert "aslant" not in said.words


def test_a_scene_without_gaps_is_told_so(tmp_path):
    write_scene(tmp_path)
    said = raysim_said("leak", "scene.toml", folder=tmp_path)
    assert said.status == 2
    assert "no [[gap]]" in said.out + said.err


POSES = [{"name": "as hung"}, {"name": "over the door gap", "turn": [0, 0, 90]}]


def with_poses(folder):
    data = small_scene()
    data["gap"], data["pose"] = [GAP], POSES
    write_scene(folder, data)
    return folder


def test_of_several_poses_it_says_which_one_it_took(tmp_path):
    said = raysim_said("leak", "scene.toml", folder=with_poses(tmp_path))
    assert said.status == 0, said.err
    assert 'of 2 poses this looks at the first alone, "as hung"' in said.out + said.err
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
    assert 'Mend: "as hung" or "over the door gap"' in said.out + said.err
