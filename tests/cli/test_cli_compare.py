"""`raysim compare`: two results side by side, in words that hold for both."""

import json
import shutil
from pathlib import Path
from unittest import mock

import pytest
from running import QUICK, raysim_said
from schemas import complaints
from small_scenes import small_scene, write_scene

from raysim.dose.simulate import load_scene
from raysim.output.files.guide_scene import rounded_text
from raysim.output.studies import compare
from raysim.workshop.grid import GRIDS

OLD = Path(__file__).parents[1] / "output" / "result_0_1_0"


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """Two traced boxes, in one of which lining and a lamp differ; one is shared as well."""
    folder = tmp_path_factory.mktemp("compare")
    data = small_scene()
    shutil.move(write_scene(folder, data), folder / "bright.toml")
    data["chamber"]["lining"] = "white paint"
    data["lamp"][0]["uvc"] = "3 W"
    data["object"][0]["edge"] = 0.025 * 1000
    shutil.move(write_scene(folder, data), folder / "painted.toml")
    for name in ("bright", "painted"):
        said = raysim_said("dose", f"{name}.toml", *QUICK, "--no-pictures", folder=folder)
        assert said.status in (0, 3), said.err
    assert raysim_said("share", "painted.toml", folder=folder).status == 0
    return folder


def record_of(place, *words):
    """What `raysim compare --json --no-pictures` prints, which draws nothing; status 0."""
    given = ("--json", "--no-pictures", "--force", "--quiet")
    with mock.patch.object(compare, "_pictures") as drawing:
        said = raysim_said("compare", *words, *given, folder=place)
    assert said.status == 0, said.err
    assert not drawing.called
    return json.loads(said.out)


def result_of(place, name):
    return json.loads((place / "results" / name / "result.json").read_text("utf-8"))


def test_what_differs_is_told_and_nothing_else(place):
    record = record_of(place, "bright.toml", "painted.toml")
    assert complaints("compare", record) == []
    assert record["differences"] == [
        {
            "key": "chamber.lining",
            "first": "aluminium foil, bright side",
            "second": "white paint",
        },
        {"key": 'lamp "left".uvc', "first": "2.4 W", "second": "3 W"},
    ]
    for side, name in (("first", "bright"), ("second", "painted")):
        whole = result_of(place, name)
        assert record[side]["verdict"] == whole["verdict"]
        assert record[side]["worst"] == whole["cases"]["cautious"]["worst"]


@pytest.mark.parametrize("words", ["results/bright", "results/bright/result.json", "bright.toml"])
def test_folder_file_and_scene_name_the_same_result(place, words):
    record = record_of(place, words, "painted.zip")
    assert len(record["differences"]) == 2
    assert record["first"]["scene"] == result_of(place, "bright")["scene"]
    assert record["second"]["verdict"] == result_of(place, "painted")["verdict"]


def test_a_box_and_itself_differ_in_nothing(place):
    record = record_of(place, "painted.zip", "painted.toml")
    assert record["differences"] == []
    assert record["told_apart"] in (False, None)


def test_results_whose_scene_is_gone_are_of_one_scene_by_its_hash(place, tmp_path):
    for name in ("one", "other"):
        shutil.copytree(place / "results" / "painted", tmp_path / name)
    record = record_of(place, str(tmp_path / "one"), str(tmp_path / "other"))
    assert (record["differences"], record["differences_not_known"]) == ([], "")


def test_the_page_shows_both_and_the_cautions(place):
    said = raysim_said("compare", "bright.toml", "painted.toml", "--force", folder=place)
    assert said.status == 0
    assert "UVC injures eyes and skin" in said.out
    page = (place / "results" / "compared" / "report.html").read_text("utf-8")
    assert "UVC injures eyes and skin" in page
    for words in ("white paint", "worst spot", "best over worst", "What has to be done"):
        assert words in page
    assert page.count("data:image/png") == 2 or "cannot be drawn" in page


def test_an_old_result_has_no_timer_beside_a_new_one(place):
    shutil.copytree(OLD, place / "old", dirs_exist_ok=True)
    record = record_of(place, "old", "results/bright")
    assert record["first"]["verdict"]["timer_s"] is None
    assert record["second_takes_longer_s"] is None
    assert record["differences"] is None
    assert record["differences_not_known"].startswith("the scene file of A was not found")
    assert "A has no timer" in record["answer"] or "Neither has a timer" in record["answer"]


def test_a_changed_scene_stands_for_no_result(place):
    for name in ("bright", "untraced"):
        text = (place / "bright.toml").read_text("utf-8").replace("2.4 W", "2.5 W")
        (place / "elsewhere").mkdir(exist_ok=True)
        (place / "elsewhere" / f"{name}.toml").write_text(text, encoding="utf-8")
    said = raysim_said("compare", "elsewhere/bright.toml", "painted.toml", folder=place)
    assert (said.status, said.out) == (2, "")
    assert "has changed since" in said.err
    assert "Mend: 'raysim dose elsewhere/bright.toml' anew" in said.err
    said = raysim_said("compare", "elsewhere/untraced.toml", "painted.toml", folder=place)
    assert said.err == (
        "raysim: elsewhere/untraced.toml: was not traced yet: results/untraced holds no "
        "result.json. Mend: 'raysim dose elsewhere/untraced.toml', or name the folder of its "
        "results\n"
    )


SPOILT = {
    "a timer beside DO NOT USE": lambda r: r["verdict"].update(state="do not use", timer_s=60.0),
    "is no figure": lambda r: r["cases"]["cautious"]["worst"].update(irradiance_mW_cm2=-1.0),
    "it is one of 'raysim hooks'": lambda r: r.update(study="hooks"),
    "is not known here": lambda r: r.update(schema_version="9"),
    "KeyError: 'cases'": lambda r: r.pop("cases"),
}


@pytest.mark.parametrize("said", SPOILT)
def test_a_spoilt_result_is_one_line(place, tmp_path, said):
    record = result_of(place, "bright")
    SPOILT[said](record)
    (tmp_path / "result.json").write_text(json.dumps(record), encoding="utf-8")
    found = raysim_said("compare", str(tmp_path), "painted.toml", folder=place)
    assert (found.status, found.out) == (2, "")
    assert said in found.err
    assert "Mend: " in found.err
    assert found.err.count("\n") == 1


@pytest.mark.parametrize("name", ["none", "results", "bright.zip", "plate.ply"])
def test_what_is_no_result_is_one_line(place, name):
    found = raysim_said("compare", name, "painted.toml", folder=place)
    assert (found.status, found.out) == (2, "")
    assert "Mend: " in found.err
    assert found.err.count("\n") == 1


def test_the_cost_is_that_of_a_guide_to_the_scene_as_it_is(place):
    guide = place / "results" / "bright_guide"
    guide.mkdir()
    scene = load_scene(place / "bright.toml")
    costs = {"study": "guide", "unit": "mm", "cost": 120.5, "currency": "EUR"}
    record = json.dumps(costs | {"lines_without_price": 2})
    (guide / "result.json").write_text(record, encoding="utf-8")
    text, _ = rounded_text(scene, GRIDS["mm"], guide)
    (guide / "as_built.toml").write_text(text, encoding="utf-8")
    for words in ("bright.toml", "results/bright"):
        cost = record_of(place, words, "painted.toml")["first"]["cost"]
        assert cost == {"cost": 120.5, "currency": "EUR", "lines_without_price": 2}
    older = text.replace("2.4 W", "2.5 W")
    assert older != text
    (guide / "as_built.toml").write_text(older, encoding="utf-8")
    for words in ("bright.toml", "results/bright"):
        assert record_of(place, words, "painted.toml")["first"]["cost"] is None
    shutil.rmtree(guide)
