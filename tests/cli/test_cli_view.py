"""`raysim view` on a small scene: pictures, the scene found again, and mistakes."""

import json
import shutil

import pytest
from PIL import Image
from running import QUICK, raysim_said, shows_cautions
from small_scenes import write_scene


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    """Folder with a scene and its results."""
    folder = tmp_path_factory.mktemp("project")
    write_scene(folder)
    said = raysim_said("dose", "scene.toml", *QUICK, "--no-pictures", folder=folder)
    assert said.status == 0, said.err
    return folder


@pytest.fixture
def copy(project, tmp_path):
    """The same folder, to be changed."""
    shutil.copytree(project, tmp_path / "project")
    return tmp_path / "project"


def view(folder, *words, result="results/scene"):
    return raysim_said("view", result, *words, folder=folder)


def test_the_result_names_its_scene(project):
    record = json.loads((project / "results/scene/result.json").read_text("utf-8"))
    assert record["scene"]["file"] == "scene.toml"


def test_a_picture_of_the_view(copy):
    said = view(
        copy, "--picture", "all.png", "--lamp", "RIGHT", "--paths", "20", "--slice", "x=150"
    )
    assert said.status == 0, said.err
    assert said.err == ""
    assert "Picture: all.png" in said.out
    assert shows_cautions(said.out)
    assert Image.open(copy / "all.png").size == (1500, 1050)
    again = view(copy, "--picture", "all.png")
    assert again.status == 2
    assert "stands there already" in again.err


def test_the_scene_is_found_from_another_folder(copy, tmp_path):
    other = tmp_path / "other"
    other.mkdir()
    said = view(other, "--picture", "a.png", "--lamp", "left", result=copy / "results/scene")
    assert said.status == 0, said.err


def test_a_changed_scene_shows_the_map_only_and_says_so(copy):
    scene = copy / "scene.toml"
    scene.write_text(scene.read_text("utf-8") + "\n# changed\n", encoding="utf-8")
    said = view(copy, "--picture", "a.png")
    assert said.status == 0
    assert "warning: scene.toml: the scene or one of its meshes has changed since" in said.err
    assert "shown without lamps, slices and paths" in said.err
    assert (copy / "a.png").exists()
    asked = view(copy, "--picture", "b.png", "--lamp", "left")
    assert asked.status == 2
    assert "has changed since this result was traced" in asked.err
    assert not (copy / "b.png").exists()


def test_a_changed_or_vanished_mesh_is_seen(copy):
    mesh = copy / "plate.ply"
    mesh.rename(copy / "away.ply")
    said = view(copy, "--picture", "a.png", "--lamp", "left")
    assert said.status == 2
    assert "cannot be read any more" in said.err
    assert "plate.ply" in said.err


def test_a_moved_scene_is_named(copy):
    (copy / "moved").mkdir()
    for name in ("scene.toml", "plate.ply"):
        (copy / name).rename(copy / "moved" / name)
    said = view(copy, "--picture", "a.png", "--paths", "5")
    assert said.status == 2
    assert "scene.toml: the scene this result was traced from was not found" in said.err
    said = view(copy, "--picture", "a.png", "--paths", "5", "--scene", "moved/scene.toml")
    assert said.status == 0, said.err


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("--lamp", "lefd"), '--lamp: nothing is called "lefd". Mend: did you mean "left"?'),
        (("--look-at", "plat"), 'nothing is called "plat". Mend: did you mean "plate"?'),
        (("--reach", "plat"), '--reach: nothing is called "plat". Mend: did you mean "plate"?'),
        (("--slice", "q=3"), '"q=3" is no slice. Mend: write x=300'),
        (("--slice", "x=3000"), "--slice: x = 3000 mm lies outside the scene"),
        (("--paths", "-1"), "--paths"),
        (("--scene", "none.toml"), "none.toml: the scene this result was traced from"),
        (("--picture", "a.jpg"), "only PNG is written"),
        (("--picture", "no/a.png"), "there is no such folder"),
    ],
)
def test_mistakes_are_one_clear_line(project, words, line):
    given = words if "--picture" in words else (*words, "--picture", "mistake.png")
    said = view(project, *given)
    assert said.status == 2
    assert line in said.err
    assert not (project / "mistake.png").exists()


def test_a_folder_without_results_is_refused(project):
    said = view(project, "--picture", "a.png", result=".")
    assert said.status == 2
    assert "holds no result.json" in said.err
