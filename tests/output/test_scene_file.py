"""Scene files written by the program: what goes in comes out, paths hold from where they lie."""

import sys
import tomllib
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "scene"))

from small_scenes import plate, small_scene, write_scene

import raysim
from raysim.output.scene_file import layout_toml, toml_text
from raysim.studies.hooks_load import Hang, find_load


def test_text_comes_back_as_it_was():
    data = {
        "title": 'quotes " and \\ and é and \x7f',
        "units": "in",
        "flag": True,
        "empty": [],
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
