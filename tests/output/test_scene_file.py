"""Scene files written by the program: what goes in comes out, paths hold from where they lie."""

import tomllib
from datetime import date

from small_scenes import plate, small_scene, write_scene

import raysim
from raysim.output.files.scene_file import layout_toml
from raysim.scene.file.toml import toml_text
from raysim.studies.hooks.load import Hang, find_load


def test_text_comes_back_as_it_was():
    data = {
        "title": 'quotes " and \\ and é and \x7f',
        "units": "in",
        "flag": True,
        "empty": [],
        "day": date(2026, 3, 1),
        "chamber": {"inside": [1, 2.5, "3 ft"], "walls": {"left side": {"reflectance": 0.5}}},
        "object": [{"name": "a", "parts": {"nose clip": {"reflectance": 0.1}, "b": "foil"}}],
        "wear": {},
    }
    assert tomllib.loads(toml_text(data)) == data


def test_a_layout_in_inches_lies_where_it_should(tmp_path):
    data = small_scene() | {"units": "in"}
    data["chamber"] = {"inside": ["300 mm", "250 mm", "350 mm"], "lining": "foil"}
    for lamp in data["lamp"]:
        for key in ("from", "to"):
            lamp[key] = [f"{value} mm" for value in lamp[key]]
        lamp["diameter"] = "16 mm"
    sheet = plate(1.5, 1.5)
    data["object"][0] |= {"at": [5, 5, 6], "edge": 1, "turn": [0, 10, 0]}
    (tmp_path / "scenes").mkdir()
    scene = raysim.load_scene(write_scene(tmp_path / "scenes", data, plate=sheet))
    folder = tmp_path / "results" / "out"
    folder.mkdir(parents=True)
    layout = (Hang((0.1, 0.12, 0.15), 30.0), Hang((0.2, 0.12, 0.15)))
    text = layout_toml(find_load(scene), layout, folder, ("made by a test",))
    assert text.startswith("# made by a test\n")
    (folder / "best.toml").write_text(text)
    again = raysim.load_scene(folder / "best.toml")
    first, second = again.written.object
    assert abs(first.at[0] - 0.1) < 1e-5
    assert first.turn == (0, 10, 30)
    assert second.turn == (0, 10, 0)
    assert [entry.name for entry in again.written.object] == ["plate 1", "plate 2"]
    assert again.written.target == scene.written.target


def test_of_a_scene_with_poses_the_one_looked_at_is_written(tmp_path):
    data = small_scene()
    data["object"].append(
        {"name": "rail", "mesh": "rail.ply", "surface": "foil", "at": [20, 20, 30]}
    )
    moved = [{"name": "Plate", "at": [130, 125, 90]}, {"name": "rail", "turn": [0, 0, 5]}]
    data["pose"] = [
        {"name": "turned", "turn": [0, 0, 180], "object": [{"name": "Rail", "at": [10, 20, 30]}]},
        {"name": "lower", "object": moved},
    ]
    scene = raysim.load_scene(write_scene(tmp_path, data, rail=plate(10.0, 10.0)))
    for number, turn, rail in ((0, 210.0, (0.01, 0.02, 0.03)), (1, 30.0, (0.02, 0.02, 0.03))):
        load = find_load(scene.in_pose(number))
        text = layout_toml(load, (Hang((0.1, 0.12, 0.15), 30.0),), tmp_path, ("made by a test",))
        name = data["pose"][number]["name"]
        assert f'# The load hangs as in pose "{name}"; the poses themselves are left out.' in text
        (tmp_path / "best.toml").write_text(text)
        again = raysim.load_scene(tmp_path / "best.toml")
        assert again.written.pose == []
        stays, hangs = again.written.object
        assert hangs.turn == (0.0, 0.0, turn)
        assert stays.at == rail
        assert stays.turn == (0.0, 0.0, 5.0 * number)
