"""Hostile parcels are refused in one line, and nothing of them is left anywhere."""

import io
import zipfile
from pathlib import Path

import pytest
from answers import DOSE, behaves
from parcel_corpus import PARCELS, with_scene
from parcels import listed, opened, zipped
from small_scenes import write_scene


@pytest.fixture(scope="module")
def whole(kennel, tmp_path_factory) -> bytes:
    """A whole parcel of the small scene."""
    folder = tmp_path_factory.mktemp("parcel")
    write_scene(folder)
    answer = kennel.run("share", "scene.toml", folder=folder)
    assert answer.status == 0, answer.said
    return (folder / "scene.zip").read_bytes()


def run(kennel, folder: Path, *words: str):
    """The answer of a command line, with the private folders of parcels below `folder`."""
    temporary = folder / "private"
    temporary.mkdir(exist_ok=True)
    here = f"import tempfile; tempfile.tempdir = {str(temporary)!r}"
    answer = kennel.run(*words, folder=folder, before=here)
    behaves(answer)
    assert list(temporary.iterdir()) == []
    temporary.rmdir()
    return answer


@pytest.mark.parametrize("name", PARCELS)
def test_a_hostile_parcel_is_one_line_and_nothing_is_written(kennel, whole, tmp_path, name):
    make, words = PARCELS[name]
    (tmp_path / "work").mkdir()
    (tmp_path / "work" / "scene.zip").write_bytes(make(whole))
    for command in (("check", "scene.zip"), (*DOSE[:1], "scene.zip", *DOSE[2:])):
        answer = run(kennel, tmp_path / "work", *command)
        assert (answer.status, answer.out) == (2, "")
        (line,) = answer.err.splitlines()
        assert line.startswith("raysim: scene.zip: ")
        assert ". Mend: " in line
        assert words in line, line
        assert len(line) < 400
    assert [path.name for path in tmp_path.rglob("*")] == ["work", "scene.zip"]


def test_a_whole_parcel_is_opened_and_leaves_nothing(kennel, whole, tmp_path):
    """The corpus would show nothing if its whole parcel were refused as well."""
    for content in (whole, zipped(opened(whole)), zipped(listed(opened(whole)))):
        (tmp_path / "scene.zip").write_bytes(content)
        answer = run(kennel, tmp_path, "check", "scene.zip")
        assert answer.status == 0, answer.said
        assert answer.out.startswith("scene.zip: ")


def test_faults_of_a_scene_in_a_parcel_name_the_parcel(kennel, whole, tmp_path):
    (tmp_path / "scene.zip").write_bytes(with_scene("plate.ply", "no.ply")(whole))
    answer = run(kennel, tmp_path, "check", "scene.zip")
    assert answer.status == 2
    assert answer.out.startswith('error: scene.zip: object 1 "plate".mesh')
    (tmp_path / "scene.zip").write_bytes(with_scene('"diameter"', '"diametre"')(whole))
    answer = run(kennel, tmp_path, "check", "scene.zip")
    assert answer.status == 2
    assert "error: scene.zip: lamp 1" in answer.out


def test_what_is_no_file_is_no_parcel(kennel, tmp_path):
    (tmp_path / "folder.zip").mkdir()
    for name in ("folder.zip", "none.zip"):
        answer = kennel.run("check", name, folder=tmp_path)
        behaves(answer)
        assert answer.status == 2
        assert f"{name}: " in answer.said


def test_the_bomb_of_the_corpus_is_one(whole):
    """It is refused by what it announces; unpacked it would be 50 MB."""
    bomb = PARCELS["bomb"][0](whole)
    assert len(bomb) < 200_000
    with zipfile.ZipFile(io.BytesIO(bomb)) as archive:
        assert sum(entry.file_size for entry in archive.infolist()) > 50_000_000
