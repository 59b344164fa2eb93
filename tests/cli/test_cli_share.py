"""`raysim share`, and commands that take a parcel in place of a scene."""

import io
import json
import math
import os
import platform
import re
import shutil
import tempfile
import zipfile
from pathlib import Path
from unittest import mock

import pytest
from parcels import listed, opened, zipped
from running import (
    BATCH_PHOTONS,
    QUICK,
    SMALL_BATCH,
    batches_of,
    contents,
    raysim_said,
    shows_cautions,
)
from schemas import complaints
from small_scenes import plate, small_scene, write_scene

from raysim.base.errors import RaysimError
from raysim.cli.logbook.obeyed import _refuse_stale
from raysim.dose.fingerprint import run_inputs, triangles_hash
from raysim.dose.simulate import load_scene, simulate
from raysim.logbook.book import open_logbook
from raysim.output.files.parcel_texts import refuse_paths
from raysim.output.viewer.source import _unchanged
from raysim.output.words.parcel import compared, run_record
from raysim.output.words.verdict import verdict_record
from raysim.scene.file.parcel import opened as parcel_opened
from raysim.verdict.rules import with_verdict

RUN = (*QUICK, "--no-pictures")
USER = "annabella"


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """Home folder of a user, with a box in it, its results and its guide."""
    folder = tmp_path_factory.mktemp("users") / USER
    box = folder / "meine kiste" / "formen" / "Größe 1"
    box.mkdir(parents=True)
    data = small_scene()
    data["chamber"]["sheet"] = 12
    data["object"][0]["mesh"] = "formen/Größe 1/Plätte.ply"
    scene = write_scene(folder / "meine kiste", data).rename(
        folder / "meine kiste" / "Kiste ä.toml"
    )
    (folder / "meine kiste" / "plate.ply").rename(box / "Plätte.ply")
    with at_home(folder):
        for words in (("dose", scene, *RUN), ("guide", scene, *RUN)):
            said = raysim_said(*words, folder=folder, batch=BATCH_PHOTONS)
            assert said.status == 0, said.err
    return folder


def at_home(folder: Path):
    """The surroundings of a user."""
    names = dict.fromkeys(("LOGNAME", "USER"), USER)
    return mock.patch.dict(os.environ, {"HOME": str(folder), **names})


@pytest.fixture(scope="module")
def shared(home):
    """A parcel of that box, named by a path from the root, and what was said."""
    with at_home(home):
        said = raysim_said("share", home / "meine kiste" / "Kiste ä.toml", folder=home)
    assert said.status == 0, said.err
    return home / "Kiste ä.zip", said


def test_a_parcel_holds_everything_and_says_so(shared):
    parcel, said = shared
    members = opened(parcel.read_bytes())
    assert {"scene/Kiste ä.toml", "scene/formen/Größe 1/Plätte.ply", "manifest.json"} <= set(
        members
    )
    assert {"results/result.json", "results/report.html", "results/card.html"} <= set(members)
    assert {"guide/guide.html", "guide/as_built.toml", "guide/drawings/left.dxf"} <= set(members)
    assert {"README.txt", "logbook.db"} <= set(members)
    assert shows_cautions(said.out)
    assert said.err == ""
    record, result = (json.loads(members[n]) for n in ("manifest.json", "results/result.json"))
    assert complaints("share", record) == []
    assert record["verdict"] == result["verdict"]
    assert record["scene"]["sha256"] == result["scene"]["sha256"]
    assert result["scene"]["file"] == "scene/Kiste ä.toml"
    assert json.loads(members["guide/result.json"])["scene"]["file"] == "guide/as_built.toml"


def test_no_byte_of_it_tells_of_this_machine(home, shared):
    parcel, _ = shared
    words = [str(home), tempfile.gettempdir() + "/", USER, str(home.parent), str(Path.home())]
    told = [re.escape(word) for word in words] + [rf"\b{re.escape(platform.node())}\b"]
    for name, content in opened(parcel.read_bytes()).items():
        for word in told:
            assert not re.search(rb"(?<![\w+/])" + word.encode(), content), (name, word)
        assert USER.encode() not in content
    report = (home / "results" / "Kiste ä" / "report.html").read_bytes()
    assert USER.encode() in report  # what is looked for stood there


def test_the_same_files_make_the_same_bytes(home, shared, tmp_path):
    parcel, _ = shared
    shutil.copytree(home, tmp_path / "copy" / USER)
    for path in (tmp_path / "copy").rglob("*"):
        os.utime(path, (1e9, 1e9))
    again = tmp_path / "copy" / USER
    said = raysim_said("share", "meine kiste/Kiste ä.toml", "--force", folder=again)
    assert said.status == 0, said.err
    assert (again / parcel.name).read_bytes() == parcel.read_bytes()


def test_dose_on_it_says_that_the_verdict_is_the_same(shared, tmp_path):
    shutil.copy(shared[0], tmp_path / "for ward 3.zip")
    said = raysim_said("dose", "for ward 3.zip", *RUN, folder=tmp_path, batch=BATCH_PHOTONS)
    assert said.status == 0, said.err
    assert "note: the verdict in for ward 3.zip is the same: READY AFTER, timer" in said.err
    record = json.loads((tmp_path / "results/for ward 3/result.json").read_text("utf-8"))
    inside = json.loads(opened(shared[0].read_bytes())["results/result.json"])
    assert record["scene"]["file"] == "for ward 3.zip"
    assert record["verdict"]["timer_s"] == inside["verdict"]["timer_s"]
    assert record["scene"]["sha256"] == inside["scene"]["sha256"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["for ward 3.zip", "results"]
    again = raysim_said("dose", "for ward 3.zip", *RUN, folder=tmp_path)
    assert again.status == 2
    assert "results stand there already" in again.err


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """A result of the small scene."""
    scene = load_scene(write_scene(tmp_path_factory.mktemp("found")))
    with batches_of(SMALL_BATCH):
        return with_verdict(simulate(scene, photons=1, precision=0.2))


def manifest_of(result, **changed) -> dict:
    """What a parcel says of a result, with its verdict `changed`."""
    run = run_record(vars(result) | {"without": []})
    return {"verdict": verdict_record(result) | changed, "run": run}


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({}, "is the same: READY AFTER, timer "),
        ({"timer_s": 60.0}, "THE VERDICT DIFFERS"),
        ({"state": "ready"}, "THE VERDICT DIFFERS"),
        ({"state": "do not use", "timer_s": None}, "there DO NOT USE, no timer; here READY AFTER"),
        ({"state": "do not use"}, "cannot be read"),
        ({"timer_s": "soon"}, "cannot be read"),
        ({"timer_s": True}, "cannot be read"),
        ({"timer_s": 0}, "cannot be read"),
        ({"timer_s": math.nan}, "cannot be read"),
        ({"state": "fine"}, "cannot be read"),
        ({"holds_for": {"scene": "0" * 64}}, "is of another scene"),
        ({"holds_for": None}, "cannot be read"),
    ],
)
def test_a_verdict_that_differs_is_told(found, changed, words):
    told = compared(manifest_of(found, **changed), found, Path("box.zip"))
    assert words in told
    assert "box.zip" in told
    assert ("is the same" in told) == (not changed)


def test_it_is_told_in_what_the_runs_differ(found):
    manifest = manifest_of(found, timer_s=60.0)
    manifest["run"] |= {"seed": 7, "raysim_version": "9\n9"}
    told = compared(manifest, found, Path("box.zip"))
    assert f"raysim_version 9 9 there, {found.raysim_version} here; seed 7 there, 1 here" in told
    assert "photons" not in told
    for run in (None, [], "seed"):
        assert "seed None there" in compared(manifest | {"run": run}, found, Path("box.zip"))


def test_dose_says_that_the_verdict_inside_is_another(shared, tmp_path):
    members = opened(shared[0].read_bytes())
    verdict = json.loads(members["manifest.json"])["verdict"] | {"timer_s": 60.0}
    (tmp_path / "box.zip").write_bytes(zipped(listed(members, verdict=verdict)))
    said = raysim_said("dose", "box.zip", *RUN, folder=tmp_path, batch=BATCH_PHOTONS)
    assert said.status == 0, said.err
    assert "note: THE VERDICT DIFFERS from the one in box.zip: there READY AFTER, " in said.err


def test_other_commands_take_it_and_name_it(shared, tmp_path):
    shutil.copy(shared[0], tmp_path / "box.zip")
    checked = raysim_said("check", "box.zip", "--json", folder=tmp_path)
    assert (checked.status, json.loads(checked.out)["scene"]) == (0, "box.zip")
    for command in ("leak", "meter"):
        said = raysim_said(command, "box.zip", folder=tmp_path)
        assert said.status == 2
        assert said.err.startswith("raysim: box.zip: ") or said.err.startswith("box.zip: "), (
            said.err
        )
    again = raysim_said("share", "box.zip", "--out", "again.zip", folder=tmp_path)
    assert again.status == 0, again.err
    assert "scene/Kiste ä.toml" in opened((tmp_path / "again.zip").read_bytes())


def test_what_leaves_scenes_behind_keeps_the_meshes_they_name(shared, tmp_path):
    shutil.copy(shared[0], tmp_path / "box.zip")
    run = ("guide", "box.zip", *QUICK, "--no-pictures")
    said = raysim_said(*run, folder=tmp_path)
    assert "note: unpacked into box_scene, to be kept" in said.err
    assert set(contents(tmp_path / "box_scene")) == {
        "scene/Kiste ä.toml",
        "scene/formen/Größe 1/Plätte.ply",
    }
    checked = raysim_said("check", "results/Kiste ä_guide/as_built.toml", folder=tmp_path)
    assert checked.status == 0, checked.out
    again = raysim_said(*run, "--force", folder=tmp_path)
    assert again.status == 2
    assert again.err == (
        "raysim: box.zip: it would be unpacked into box_scene, which stands there already. Mend: "
        "name the scene in it, box_scene/scene/Kiste ä.toml, or move that folder\n"
    )


def test_results_of_a_parcel_are_looked_up_in_it(shared, tmp_path):
    box = shutil.copy(shared[0], tmp_path / "box.zip")
    sha256 = json.loads(opened(box.read_bytes())["manifest.json"])["scene"]["sha256"]
    _refuse_stale({"file": str(box), "sha256": sha256}, tmp_path)
    assert _unchanged(box, sha256).sha256 == sha256
    inputs = []
    for _ in range(2):  # --resume goes on only if all of them are as they were
        with parcel_opened(box) as path:
            inputs.append(run_inputs(load_scene(path)))
    assert inputs[0] == inputs[1]
    with pytest.raises(RaysimError, match="has changed since"):
        _refuse_stale({"file": str(box), "sha256": "0" * 64}, tmp_path)


def test_scene_meshes_and_figures_are_unpacked_to_a_private_folder_and_nothing_else(shared):
    with parcel_opened(shared[0]) as path:
        place = path.parent.parent
        figures = {"results/result.json", "results/dose_map.vtp", "guide/result.json"}
        assert set(contents(place)) == figures | {
            "scene/Kiste ä.toml",
            "scene/formen/Größe 1/Plätte.ply",
        }
        assert place.stat().st_mode & 0o077 == 0
    assert not place.exists()


def test_unpacked_by_hand_it_is_a_scene_with_results_and_an_empty_logbook(shared, tmp_path):
    with zipfile.ZipFile(io.BytesIO(shared[0].read_bytes())) as archive:
        archive.extractall(tmp_path)
    for scene, result in (("scene/Kiste ä.toml", "results"), ("guide/as_built.toml", "guide")):
        record = json.loads((tmp_path / result / "result.json").read_text("utf-8"))
        assert load_scene(tmp_path / scene).sha256 == record["scene"]["sha256"]
    with open_logbook(tmp_path / "logbook.db") as book:
        assert tuple(book.execute("SELECT count(*) FROM entry").fetchone()) == (0,)


@pytest.fixture
def far(tmp_path):
    """A scene that names meshes by paths that a parcel cannot keep, and two of one name."""
    data = small_scene()
    there = {"above": "../../cup.ply", "root": str(tmp_path / "x" / "cup.ply"), "beside": "cup.ply"}
    first = data["object"][0]
    data["object"] = [
        first | {"name": name, "mesh": mesh, "at": [60 + 60 * number, 125, 150]}
        for number, (name, mesh) in enumerate(there.items())
    ]
    folder = tmp_path / "a" / "b"
    folder.mkdir(parents=True)
    (tmp_path / "x").mkdir()
    path = write_scene(folder, data)
    for number, mesh in enumerate(
        (tmp_path / "cup.ply", tmp_path / "x/cup.ply", folder / "cup.ply")
    ):
        plate(30 + number).export(mesh)
    return path


def test_meshes_from_anywhere_get_places_in_it_and_nothing_else_changes(far, tmp_path):
    said = raysim_said("dose", far, *RUN, folder=tmp_path)
    assert said.status == 0, said.err
    said = raysim_said("share", far, folder=tmp_path)
    assert said.status == 0, said.err
    before = load_scene(far)
    with parcel_opened(tmp_path / "scene.zip") as path:
        after = load_scene(path)
        meshes = [entry.mesh for entry in after.written.object]
    assert sorted(meshes) == ["cup.ply", "meshes/2/cup.ply", "meshes/cup.ply"]
    assert triangles_hash(after.triangles) == triangles_hash(before.triangles)
    plain = {"object": []}
    assert after.written.model_copy(update=plain) == before.written.model_copy(update=plain)
    members = opened((tmp_path / "scene.zip").read_bytes())
    assert not any(str(tmp_path).encode() in content for content in members.values())
    assert before.sha256 != after.sha256
    assert not any(before.sha256[:12].encode() in content for content in members.values())
    for name in ("manifest.json", "results/result.json"):
        assert json.loads(members[name])["scene"]["sha256"] == after.sha256
    assert after.sha256[:12].encode() in members["results/card.html"]


def test_a_result_of_another_state_is_refused(home, tmp_path):
    shutil.copytree(home, tmp_path / "copy")
    scene = tmp_path / "copy" / "meine kiste" / "Kiste ä.toml"
    scene.write_text(scene.read_text("utf-8") + "\n# changed\n", encoding="utf-8")
    before = contents(tmp_path)
    said = raysim_said("share", scene, "--force", folder=tmp_path / "copy")
    assert said.status == 2
    assert "is of another state of" in said.err
    assert "Mend: run 'raysim dose' anew" in said.err
    assert contents(tmp_path) == before
    shutil.rmtree(tmp_path / "copy" / "results" / "Kiste ä")
    scene.write_text(scene.read_text("utf-8").replace("350", "351"), encoding="utf-8")
    said = raysim_said("share", scene, "--force", folder=tmp_path / "copy")
    assert said.status == 0
    assert "note: left out: results/Kiste ä_guide, a guide to another state" in said.err
    assert "no verdict: it was shared without results" in said.words
    members = opened((tmp_path / "copy" / "Kiste ä.zip").read_bytes())
    assert not any(name.startswith(("guide/", "results/")) for name in members)


def test_a_path_of_this_machine_in_a_comment_is_refused_and_a_name_is_told(tmp_path):
    path = write_scene(tmp_path)
    text = path.read_text("utf-8")
    path.write_text(f"# copied from {tmp_path}/old.toml\n{text}", encoding="utf-8")
    said = raysim_said("share", "scene.toml", folder=tmp_path)
    assert said.status == 2
    assert f'scene/scene.toml holds "{tmp_path}", a path of this machine. Mend: ' in said.err
    assert not (tmp_path / "scene.zip").exists()
    path.write_text(f"# by {USER}\n{text}", encoding="utf-8")
    with at_home(tmp_path / "elsewhere"):
        said = raysim_said("share", "scene.toml", folder=tmp_path)
    assert said.status == 0
    assert f'note: "{USER}", a name of this machine or its user, stands in' in said.err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--out", "taken.zip"), "stands there already. Mend: another name, or --force"),
        (("--out", "box.tar"), "Mend: name it box.zip"),
        (("--out", "no/box.zip"), "there is no such folder"),
        (("--results", "none"), "holds no result.json"),
        (("--guide", "none"), "none/as_built.toml: file: there is no such file"),
        (("--sheet", "none.html"), "--sheet none.html: is no file. Mend: "),
    ],
)
def test_a_mistake_is_one_line_and_nothing_is_written(tmp_path, words, told):
    write_scene(tmp_path)
    (tmp_path / "taken.zip").write_bytes(b"mine")
    before = contents(tmp_path)
    said = raysim_said("share", "scene.toml", *words, folder=tmp_path)
    assert (said.status, said.out) == (2, "")
    (line,) = said.err.splitlines()
    assert told in line
    assert contents(tmp_path) == before


def test_json_is_the_manifest(tmp_path):
    write_scene(tmp_path)
    (tmp_path / "sheet.html").write_text("<p>my sheet</p>", encoding="utf-8")
    said = raysim_said("share", "scene.toml", "--json", "--sheet", "sheet.html", folder=tmp_path)
    members = opened((tmp_path / "scene.zip").read_bytes())
    assert json.loads(said.out) == json.loads(members["manifest.json"])
    assert members["survey.html"] == b"<p>my sheet</p>"
    assert said.err == ""


def test_a_mesh_one_folder_above_keeps_its_place_and_the_scene_its_hash(tmp_path):
    data = small_scene()
    data["object"][0]["mesh"] = "../plate.ply"
    (tmp_path / "p").mkdir()
    path = write_scene(tmp_path / "p", data)
    (tmp_path / "p" / "plate.ply").rename(tmp_path / "plate.ply")
    said = raysim_said("share", path, folder=tmp_path)
    assert said.status == 0, said.err
    members = opened((tmp_path / "scene.zip").read_bytes())
    assert members["scene/scene.toml"] == path.read_bytes()
    assert members["plate.ply"] == (tmp_path / "plate.ply").read_bytes()
    assert json.loads(members["manifest.json"])["scene"]["sha256"] == load_scene(path).sha256


@pytest.mark.parametrize(
    ("text", "refused"),
    [
        (b'href="file:///home/anna/box"', True),
        (b"saved as '/home/anna'", True),
        (b'{"file": "/home/anna/box.toml"}', True),
        (b"../../home/anna/box", True),
        (b"</home/anna>", False),
        (b"aGk/home/anna+/", False),
        (b"/home/annabella", False),
    ],
)
def test_a_path_is_told_from_what_only_looks_like_one(text, refused):
    with mock.patch.dict(os.environ, {"HOME": "/home/anna"}):
        if refused:
            with pytest.raises(RaysimError, match='a.html holds "/home/anna", a path'):
                refuse_paths({"a.html": text}, Path("/box/scene.toml"))
        else:
            refuse_paths({"a.html": text}, Path("/box/scene.toml"))
