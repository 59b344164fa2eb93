"""`raysim guide` from the command line."""

import json

import pytest
from running import BATCH_PHOTONS, QUICK, raysim_said
from schemas import complaints
from small_scenes import small_scene, write_scene

from raysim.output.words.cautions import CAUTION_LINE


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A folder with a guide in mm, and what was said."""
    folder = tmp_path_factory.mktemp("guide")
    data = small_scene()
    data["chamber"] |= {"inside": [300.3, 250, 350], "sheet": 12}
    write_scene(folder, data)
    words = ("guide", "scene.toml", *QUICK, "--no-pictures")
    return folder, raysim_said(*words, folder=folder, batch=BATCH_PHOTONS)


def test_a_guide_ends_with_its_verdict_the_caution_and_its_page(made):
    folder, said = made
    assert said.status == 0, said.err
    assert CAUTION_LINE in said.words
    assert (
        "rounded to 0.5 mm. Rounding moved 1 length, none by more than half a step." in said.words
    )
    assert "Guide: results/scene_guide/guide.html" in said.words
    assert (folder / "results" / "scene_guide" / "guide.html").is_file()
    assert not list((folder / "results" / "scene_guide").glob("*.part"))


def test_dose_of_the_scene_beside_the_guide_is_the_guide(made):
    folder, _ = made
    out = folder / "results" / "scene_guide"
    words = ("dose", str(out / "as_built.toml"), *QUICK, "--no-pictures", "--out", "again")
    assert raysim_said(*words, folder=folder, batch=BATCH_PHOTONS).status == 0
    ours, theirs = (
        json.loads((place / "result.json").read_text("utf-8")) for place in (out, folder / "again")
    )
    assert ours["verdict"]["timer_s"] == theirs["verdict"]["timer_s"]
    assert ours["verdict"]["holds_for"] == theirs["verdict"]["holds_for"]
    assert ours["scene"]["sha256"] == theirs["scene"]["sha256"]


def inch_scene():
    """The small scene, 12 x 10 x 14 in, in inches."""
    data = small_scene() | {"units": "in"}
    data["chamber"]["inside"] = [12, 10, 14]
    for lamp, x in zip(data["lamp"], (1.5, 10.5), strict=True):
        lamp |= {"from": [x, 1.5, 2.5], "to": [x, 1.5, 11.5], "diameter": 0.63}
    data["object"][0] |= {"at": [5, 5, 6], "edge": 1, "scale": 0.03937}
    return data


def test_json_is_the_record_that_is_written_and_a_scene_in_inches_stays_so(tmp_path):
    folder = tmp_path
    write_scene(folder, inch_scene())
    words = ("guide", "scene.toml", *QUICK, "--no-pictures", "--json")
    said = raysim_said(*words, "--out", "inches", folder=folder)
    assert said.status == 0, said.err
    record = json.loads(said.out)
    assert complaints("guide", record) == []
    assert record == json.loads((folder / "inches" / "result.json").read_text("utf-8"))
    assert record["unit"] == "in"
    (floor,) = (p for p in record["panels"] if p["wall"] == "floor")
    assert floor["inside"] == ["12", "10"]
    assert record["cost"] is None
    assert record["lines_without_price"] == len(record["bill"]) > 10


def test_a_box_without_a_timer_is_not_to_be_built(tmp_path):
    data = small_scene()
    data["target"] = {"dose": "9000 J/cm2"}
    write_scene(tmp_path, data)
    said = raysim_said("guide", "scene.toml", *QUICK, "--no-pictures", folder=tmp_path)
    assert said.status == 3
    assert "NOT TO BE BUILT" in said.words
    page = (tmp_path / "results" / "scene_guide" / "guide.html").read_text("utf-8")
    assert "NOT TO BE BUILT" in page


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--stock", "0x100"), "is no size of a sheet"),
        (("--stock", "big"), "is no size of a sheet"),
        (("--prices", "none.toml"), "no file of prices is there"),
        (("--units", "cubits"), "cubits"),
    ],
)
def test_a_mistake_is_one_line_and_nothing_is_left(tmp_path, words, told):
    write_scene(tmp_path)
    said = raysim_said("guide", "scene.toml", *QUICK, *words, folder=tmp_path)
    assert said.status == 2
    assert said.out == ""
    (line,) = said.err.strip().splitlines()
    assert told in line
    left = tmp_path / "results" / "scene_guide"
    assert not left.exists() or not list(left.glob("as_built*"))


def test_a_panel_larger_than_the_stock_is_one_line(tmp_path):
    data = small_scene()
    data["chamber"]["sheet"] = 12
    write_scene(tmp_path, data)
    said = raysim_said("guide", "scene.toml", *QUICK, "--stock", "200x200", folder=tmp_path)
    assert said.status == 2
    assert "is larger than a sheet of stock. Mend: " in said.err


def test_a_scene_that_cannot_be_built_once_it_is_rounded_says_so(tmp_path):
    data = small_scene()
    gap = {"name": "door", "wall": "front", "from": [10, 0, 10], "to": [10, 0, 90], "distance": 300}
    data["gap"] = [gap | {"width": 0.5, "depth": 24, "kind": "rabbet", "step": 0.51}]
    write_scene(tmp_path, data)
    said = raysim_said("guide", "scene.toml", *QUICK, "--units", "inch", folder=tmp_path)
    assert said.status == 2
    assert "(rounded to 1/16 in)" in said.err
    assert "Traceback" not in said.err


def test_a_scene_of_the_user_is_never_replaced(tmp_path):
    """One that is called scene.toml and lies alone in the folder that was named for the guide."""
    write_scene(tmp_path)
    (tmp_path / "mine").mkdir()
    mine = tmp_path / "mine" / "scene.toml"
    mine.write_text("title = 'mine'", encoding="utf-8")
    words = ("guide", "scene.toml", *QUICK, "--out", "mine", "--force")
    said = raysim_said(*words, folder=tmp_path)
    assert said.status == 2
    assert "the folder holds other things" in said.err
    assert mine.read_text("utf-8") == "title = 'mine'"
