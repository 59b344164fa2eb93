"""`raysim dose --without`: the figures of a box with a lamp out, and mistakes in its name."""

import json

import pytest
from running import QUICK, raysim_said
from small_scenes import write_scene


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Folder with a small scene of two lamps, left and right."""
    where = tmp_path_factory.mktemp("without")
    write_scene(where)
    return where


def test_a_lamp_out_is_said_and_written(folder):
    words = ("dose", "scene.toml", *QUICK, "--no-pictures", "--without", "LEFT")
    said = raysim_said(*words, folder=folder)
    assert said.status == 0
    assert 'Lamp "left" is taken as out' in said.words
    result = json.loads((folder / "results" / "scene" / "result.json").read_text("utf-8"))
    assert result["without"] == ["left"]
    assert [row["lamp"] for row in result["lamp_failures"]] == ["right"]
    assert result["lamp_failures"][0]["exposure_time_s"] is None
    report = (folder / "results" / "scene" / "report.html").read_text("utf-8")
    assert "If a lamp fails" in report
    assert "--without LEFT" in report


def test_a_mistyped_lamp_is_one_line(folder):
    said = raysim_said("dose", "scene.toml", "--out", "x", "--without", "lefft", folder=folder)
    assert said.status == 2
    assert said.out == ""
    assert 'did you mean "left"?' in said.err
    assert len(said.err.splitlines()) == 1
    assert not (folder / "x").exists()
