"""Results never take the place of anything by accident."""

import json
import os

import pytest
from running import contents, raysim_said
from small_scenes import write_scene

# Photons alone, the fewest there can be: what is written counts here, not how well.
FAST = ("--photons", "1", "--no-pictures")


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """Folder with a scene and the results of one run of it under `out`."""
    folder = tmp_path_factory.mktemp("done")
    write_scene(folder)
    assert raysim_said("dose", "scene.toml", "--out", "out", *FAST, folder=folder).status == 0
    return folder


def refused(folder, *words) -> str:
    """One clear line of a run that must change nothing under `folder`."""
    before = contents(folder)
    said = raysim_said("dose", "scene.toml", *FAST, *words, folder=folder)
    assert said.status == 2
    assert said.out == ""
    assert len(said.err.splitlines()) == 1
    assert "Mend: " in said.err
    assert contents(folder) == before
    return said.err


def test_results_that_stand_there_are_kept(done):
    said = refused(done, "--out", "out")
    assert "results stand there already" in said
    assert "--force" in said


def test_results_of_another_scene_of_the_same_name_are_said_to_be_that(tmp_path):
    """In one working folder: the second could be taken to have its results already."""
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        write_scene(tmp_path / name)
    assert raysim_said("dose", "a/scene.toml", *FAST, folder=tmp_path).status == 0

    def said_of(scene, *words):
        return raysim_said("dose", scene, *FAST, *words, folder=tmp_path)

    other = said_of("b/scene.toml")
    assert other.status == 2
    assert "--out results/scene: results of another scene stand there (a/scene.toml)" in other.err
    assert "results stand there already" in said_of("./b/../a/scene.toml").err
    assert said_of("b/scene.toml", "--force").status == 0
    assert "results stand there already" in said_of("b/scene.toml").err


def test_force_replaces_results_whole(done):
    old = json.loads((done / "out" / "result.json").read_text("utf-8"))
    words = ("dose", "scene.toml", "--out", "out", *FAST, "--seed", "7", "--quiet", "--force")
    assert raysim_said(*words, folder=done).status == 0
    new = json.loads((done / "out" / "result.json").read_text("utf-8"))
    assert (old["seed"], new["seed"]) == (1, 7)
    assert {path.name for path in done.iterdir()} == {"scene.toml", "plate.ply", "out"}


def test_a_folder_of_other_things_is_never_overwritten(done):
    foreign = done / "foreign"
    foreign.mkdir(exist_ok=True)
    (foreign / "letter.txt").write_text("dear clinic")
    for words in (("--out", "foreign"), ("--out", "foreign", "--force")):
        assert "holds other things" in refused(done, *words)


def test_results_with_other_things_among_them_are_never_overwritten(done):
    mixed = done / "mixed"
    mixed.mkdir(exist_ok=True)
    for name, content in contents(done / "out").items():
        (mixed / name).write_bytes(content)
    (mixed / "meter readings.txt").write_text("2.1 mW/cm2 at the door")
    for words in (("--out", "mixed"), ("--out", "mixed", "--force")):
        refused(done, *words)


def test_the_folder_of_the_scene_itself_is_never_overwritten(done):
    # A scene that lies beside results of its own, as in a folder that was tidied by hand.
    (done / "result.json").write_bytes((done / "out" / "result.json").read_bytes())
    try:
        refused(done, "--out", ".", "--force")
    finally:
        (done / "result.json").unlink(missing_ok=True)


def test_a_file_in_the_way_is_kept(done):
    assert "a file stands there" in refused(done, "--out", "scene.toml", "--force")


def test_a_place_that_cannot_be_written_is_told_before_any_tracing(done):
    assert "cannot be written" in refused(done, "--out", "scene.toml/below/results")


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_without_rights_is_told_before_any_tracing(done):
    closed = done / "closed"
    closed.mkdir()
    closed.chmod(0o555)
    try:
        assert "cannot be written" in refused(done, "--out", "closed/results")
    finally:
        closed.chmod(0o755)


def test_an_empty_folder_may_be_filled_also_the_one_we_are_in(done, tmp_path):
    empty = tmp_path / "empty"
    empty.mkdir()
    scene = done / "scene.toml"
    said = raysim_said("dose", scene, "--out", ".", *FAST, "--quiet", folder=empty)
    assert said.status == 0, said.err
    assert (tmp_path / "empty" / "result.json").is_file()


def test_folders_on_the_way_are_made(done, tmp_path):
    out = tmp_path / "a" / "b" / "c"
    words = ("dose", "scene.toml", "--out", out, *FAST, "--quiet")
    assert raysim_said(*words, folder=done).status == 0
    assert (out / "result.json").is_file()
    assert out.stat().st_mode & 0o777 == 0o755
