"""`raysim view` on a small scene: pictures, the scene found again, and mistakes."""

import json
import shutil

import pytest
from click.testing import CliRunner
from PIL import Image
from running import QUICK, raysim_said, shows_cautions
from small_scenes import plate, write_scene

from raysim.base.errors import RaysimError
from raysim.cli.view import command
from raysim.output.viewer.light import light_slices


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


def refusal(folder, monkeypatch, *words, result="results/scene"):
    """The one line that a call within this process is refused with."""
    monkeypatch.chdir(folder)
    done = CliRunner().invoke(command, [result, "--picture", "refused.png", *words])
    assert isinstance(done.exception, RaysimError), done.output
    assert not (folder / "refused.png").exists()
    line = str(done.exception)
    assert len(line.splitlines()) == 1
    assert "Mend: " in line
    return line


def test_the_result_names_its_scene(project):
    record = json.loads((project / "results/scene/result.json").read_text("utf-8"))
    assert record["scene"]["file"] == "scene.toml"


def test_a_picture_of_the_view(copy, monkeypatch):
    monkeypatch.setitem(light_slices.__kwdefaults__, "count", 2_000)
    words = ("--lamp", "RIGHT", "--paths", "20", "--slice", "x=150", "--reach", "plate")
    said = raysim_said("view", "results/scene", *words, "--picture", "all.png", folder=copy)
    assert said.status == 0, said.err
    assert said.err == ""
    assert "Picture: all.png" in said.out
    assert shows_cautions(said.out)
    with Image.open(copy / "all.png") as picture:
        assert picture.size == (1500, 1050)
    assert "stands there already" in refusal(copy, monkeypatch, "--picture", "all.png")


def test_the_scene_is_found_from_another_folder(copy, tmp_path, monkeypatch):
    """Seen from elsewhere it is found beside the results; so only the mistake is complained of."""
    (tmp_path / "other").mkdir()
    line = refusal(
        tmp_path / "other", monkeypatch, "--lamp", "q", result=str(copy / "results/scene")
    )
    assert line.startswith("--lamp: nothing is called")


def test_a_changed_scene_shows_the_map_only_and_says_so(copy):
    scene = copy / "scene.toml"
    scene.write_text(scene.read_text("utf-8") + "\n# changed\n", encoding="utf-8")
    said = raysim_said("view", "results/scene", "--picture", "a.png", folder=copy)
    assert said.status == 0
    assert "warning: scene.toml: the scene or one of its meshes has changed since" in said.err
    assert "shown without lamps, slices and paths" in said.err
    assert (copy / "a.png").exists()
    asked = raysim_said(
        "view", "results/scene", "--picture", "b.png", "--lamp", "left", folder=copy
    )
    assert asked.status == 2
    assert "has changed since this result was traced" in asked.err
    assert not (copy / "b.png").exists()


def test_a_vanished_mesh_is_seen(copy, monkeypatch):
    (copy / "plate.ply").rename(copy / "away.ply")
    line = refusal(copy, monkeypatch, "--lamp", "left")
    assert "cannot be read any more" in line
    assert "plate.ply" in line


def test_a_changed_mesh_is_seen(copy, monkeypatch):
    plate(41.0, 40.0).export(copy / "plate.ply")
    assert "one of its meshes has changed" in refusal(copy, monkeypatch, "--paths", "3")


def test_a_moved_scene_is_named(copy, monkeypatch):
    (copy / "moved").mkdir()
    for name in ("scene.toml", "plate.ply"):
        (copy / name).rename(copy / "moved" / name)
    line = refusal(copy, monkeypatch, "--paths", "5")
    assert "scene.toml: the scene this result was traced from was not found" in line
    line = refusal(copy, monkeypatch, "--scene", "moved/scene.toml", "--lamp", "q")
    assert line.startswith("--lamp: nothing is called")


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("--lamp", "lefd"), '--lamp: nothing is called "lefd". Mend: did you mean "left"?'),
        (("--look-at", "plat"), 'nothing is called "plat". Mend: did you mean "plate"?'),
        (("--reach", "plat"), '--reach: nothing is called "plat". Mend: did you mean "plate"?'),
        (("--slice", "q=3"), '"q=3" is no slice. Mend: write x=300'),
        (("--slice", "x=3000"), "--slice: x = 3000 mm lies outside the scene"),
        (("--scene", "none.toml"), "none.toml: the scene this result was traced from"),
        (("--picture", "a.jpg"), "only PNG is written"),
        (("--picture", "no/a.png"), "there is no such folder"),
    ],
)
def test_mistakes_are_one_clear_line(project, monkeypatch, words, line):
    assert line in refusal(project, monkeypatch, *words)


def test_a_folder_without_results_is_refused(project, monkeypatch):
    assert "holds no result.json" in refusal(project, monkeypatch, result=".")
