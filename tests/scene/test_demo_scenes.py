"""The scenes that come with the project are sound, and doubted only where they should be."""

from importlib import resources
from pathlib import Path

import pytest
from small_scenes import faults_of

from raysim.base.errors import Level
from raysim.scene.file.read import read_scene

SCENES = Path(__file__).parents[2] / "scenes"
WEAK_LINING = {
    "lining_household_mirror.toml": "household mirror",
    "lining_white_paint.toml": "white paint",
}


def test_the_demo_scenes_are_there():
    assert {"clinic_locker.toml", "folded_shut.toml", *WEAK_LINING} <= {
        path.name for path in SCENES.glob("*.toml")
    }


@pytest.mark.parametrize("path", sorted(SCENES.glob("*.toml")), ids=lambda path: path.stem)
def test_a_demo_scene_has_no_errors_and_says_that_it_is_invented(path):
    assert [fault for fault in faults_of(path) if fault.level is Level.ERROR] == []
    assert "invented" in path.read_text(encoding="utf-8").casefold()


def test_the_clinic_locker_is_beyond_doubt():
    assert faults_of(SCENES / "clinic_locker.toml") == []


@pytest.mark.parametrize("name", WEAK_LINING)
def test_the_pair_of_weak_linings_is_doubted_for_its_lining_alone(name):
    (fault,) = faults_of(SCENES / name)
    assert fault.key == "chamber.lining"
    assert WEAK_LINING[name] in fault.what
    assert "nearly black" in fault.what


def test_the_pair_differs_from_the_locker_in_lining_and_title_alone():
    locker = read_scene(SCENES / "clinic_locker.toml")
    for name in WEAK_LINING:
        twin = read_scene(SCENES / name)
        lined_alike = twin.chamber.model_copy(
            update={"lining": locker.chamber.lining, "walls": locker.chamber.walls}
        )
        assert twin.model_copy(update={"title": locker.title, "chamber": lined_alike}) == locker


def test_the_starter_scene_reads_and_says_that_it_is_invented(tmp_path):
    text = resources.files("raysim.starter").joinpath("starter_scene.toml").read_text("utf-8")
    assert "invented" in text
    (tmp_path / "my_box.toml").write_text(text, encoding="utf-8")
    assert read_scene(tmp_path / "my_box.toml").title == "My box"
