"""Disks that fill up, folders that cannot be written, runs that meet: one line each, no damage."""

import math
import os
import signal
import subprocess
import sys
import time

import pytest
from running import ENVIRONMENT, SMALL_BATCH, batches_of, contents, shows_cautions
from small_scenes import write_scene

import raysim.cli
import raysim.dose.checkpoint
import raysim.output.files.results
from raysim.output.files.lock import LOCK_FILE
from raysim.transport.photons import PhotonRun

ASKED = ("dose", "scene.toml", "--no-pictures", "--photons", "1", "--precision", "0.2")

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs limits and signals of Unix")


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    """Function that runs `raysim WORDS` beside a small scene: status and what it said."""
    write_scene(tmp_path)
    monkeypatch.chdir(tmp_path)
    # Due at every step, however long the disk takes to write one.
    monkeypatch.setattr(raysim.dose.checkpoint, "INTERVAL", 0.0)
    monkeypatch.setattr(raysim.dose.checkpoint, "LARGEST_SHARE", math.inf)

    def said(*words: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["raysim", *words])
        status = 0
        try:
            with batches_of(SMALL_BATCH):
                raysim.cli.main()
        except SystemExit as stop:
            status = stop.code
        shown = capsys.readouterr()
        assert "Traceback" not in shown.err + shown.out
        return status, shown.out, shown.err

    return said


def one_line(text: str) -> str:
    """The one line that says what is wrong and how to mend it."""
    assert len(text.splitlines()) == 1, text
    assert "Mend: " in text
    return text


@pytest.mark.parametrize(("room", "fits"), [(2_000, False), (24_000, True)])
def test_a_full_disk_while_results_are_written_leaves_whole_ones(run, tmp_path, room, fits):
    """Old results where the answer does not fit; else that, as soon as it is told."""
    import resource

    assert run(*ASKED, "--out", "out", "--quiet", "--seed", "7")[0] == 0
    before = contents(tmp_path / "out")
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    # Files end there, as on a disk that is full: result.json may fit, the report does not.
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, limits[1]))
    try:
        status, out, err = run(*ASKED, "--out", "out", "--force", "--photons", "600000")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert status == 2
    assert "READY AFTER" in out
    assert ("Written: result.json and card.html" in out) == fits
    assert "Report:" not in out
    told, refused = err.splitlines()
    assert "no checkpoint can be written" in told
    assert "writing failed" in one_line(refused)
    if fits:
        assert set(contents(tmp_path / "out")) == {"result.json", "card.html"}
        assert '"seed": 1' in (tmp_path / "out" / "result.json").read_text("utf-8")
    else:
        assert contents(tmp_path / "out") == before
    assert {path.name for path in tmp_path.iterdir()} == {"scene.toml", "plate.ply", "out"}


def test_what_was_traced_outlives_a_full_disk(run, tmp_path, monkeypatch):
    def full(*words):
        raise OSError(28, "No space left on device")

    def traced_anew(*words):
        raise AssertionError("these photons were traced before the disk was full")

    with monkeypatch.context() as patch:
        patch.setattr("raysim.output.files.results.write_faces", full)
        status, _, err = run(*ASKED, "--out", "out", "--quiet")
    assert status == 2
    assert "No space left on device" in one_line(err)
    assert "--resume" in err
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {"checkpoint.npz", "result.json", "card.html"}
    monkeypatch.setattr(PhotonRun, "add_batches", traced_anew)
    assert run("dose", "scene.toml", "--out", "out", "--no-pictures", "--resume", "--quiet")[0] == 0


def test_ctrl_c_leaves_a_result_and_goes_on_by_resume(run, tmp_path, monkeypatch):
    whole = tmp_path / "whole"
    assert run(*ASKED, "--out", "whole", "--quiet", "--threads", "1")[0] == 0
    add = PhotonRun.add_batches
    with monkeypatch.context() as patch:

        def interrupted(tracing: PhotonRun, count: int) -> None:
            add(tracing, count)
            if tracing.batches == 8:
                signal.raise_signal(signal.SIGINT)

        patch.setattr(PhotonRun, "add_batches", interrupted)
        status, out, err = run(*ASKED, "--out", "out", "--threads", "1")
    assert status == 130
    assert "The run was broken off" in " ".join(out.split())
    assert shows_cautions(out)
    assert "go on with: raysim dose scene.toml --out out --resume" in err
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {path.name for path in whole.iterdir()} | {"checkpoint.npz"}
    refused = one_line(run(*ASKED, "--out", "out")[2])
    assert "a run that was broken off stands there" in refused
    assert run("dose", "scene.toml", "--out", "out", "--no-pictures", "--resume", "--quiet")[0] == 0
    assert (tmp_path / "out" / "faces.csv").read_bytes() == (whole / "faces.csv").read_bytes()
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        path.name for path in whole.iterdir()
    }


def test_ctrl_c_before_the_verdict_still_leaves_a_result(run, tmp_path, monkeypatch):
    def impatient(*words, **more):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("raysim.verdict.stray_light.stray_light", impatient)
        assert run(*ASKED, "--out", "out", "--quiet")[0] == 130
    assert '"interrupted": true' in (tmp_path / "out" / "result.json").read_text("utf-8")
    assert run("dose", "scene.toml", "--out", "out", "--no-pictures", "--resume", "--quiet")[0] == 0
    assert '"interrupted": false' in (tmp_path / "out" / "result.json").read_text("utf-8")


def test_ctrl_c_while_results_are_written_waits_for_them(run, tmp_path, monkeypatch):
    write_faces = raysim.output.files.results.write_faces

    def impatient(*words):
        signal.raise_signal(signal.SIGINT)
        write_faces(*words)

    monkeypatch.setattr(raysim.output.files.results, "write_faces", impatient)
    status, _, err = run(*ASKED, "--out", "out")
    assert status == 130
    assert "interrupted; the results are whole" in err
    assert '"interrupted": false' in (tmp_path / "out" / "result.json").read_text("utf-8")
    assert not (tmp_path / "out" / "checkpoint.npz").exists()


def test_nothing_to_resume_is_told_of(run, tmp_path):
    for words in ((), ("--out", "new")):
        assert "no run was broken off in" in one_line(run(*ASKED, "--resume", *words)[2])
    assert {path.name for path in tmp_path.iterdir()} == {"scene.toml", "plate.ply"}


def test_a_changed_scene_is_told_of_and_nothing_is_damaged(run, tmp_path, monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(
            "raysim.dose.simulate.refine_best", lambda *words: signal.raise_signal(signal.SIGINT)
        )
        assert run(*ASKED, "--out", "out", "--quiet")[0] == 130
    before = contents(tmp_path / "out")
    scene = tmp_path / "scene.toml"
    text = scene.read_text("utf-8")
    resume = ("dose", "scene.toml", "--no-pictures", "--out", "out", "--resume")
    scene.write_text(text.replace("2.4 W", "2.5 W"), encoding="utf-8")
    status, out, err = run(*resume)
    assert (status, out) == (2, "")
    assert "the scene file has changed since" in one_line(err)
    scene.write_text(text, encoding="utf-8")
    assert "seed was 1 and is now 2" in one_line(run(*resume, "--seed", "2")[2])
    mesh = tmp_path / "plate.ply"
    mesh.rename(tmp_path / "aside.ply")
    assert "plate.ply is not there (no such file)" in one_line(run(*resume)[2])
    assert contents(tmp_path / "out") == before
    (tmp_path / "aside.ply").rename(mesh)
    assert run(*resume, "--quiet")[0] == 0


def test_a_mesh_that_vanishes_in_the_midst_does_no_harm(run, tmp_path, monkeypatch):
    add = PhotonRun.add_batches

    def vanishes(tracing: PhotonRun, count: int) -> None:
        (tmp_path / "plate.ply").unlink(missing_ok=True)
        (tmp_path / "scene.toml").unlink(missing_ok=True)
        add(tracing, count)

    monkeypatch.setattr(PhotonRun, "add_batches", vanishes)
    assert run(*ASKED, "--out", "out", "--quiet")[0] == 0
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_folder_that_cannot_be_written_is_told_of(run, tmp_path, monkeypatch):
    # Also where even an administrator may not write: /proc takes no files.
    assert "cannot be written" in one_line(run(*ASKED, "--out", "/proc/results")[2])
    if os.geteuid():
        (tmp_path / "closed").mkdir(mode=0o555)
        assert "cannot be written" in one_line(run(*ASKED, "--out", "closed")[2])


@pytest.fixture
def holder(tmp_path):
    """A process that holds the folder `out`."""
    words = (
        "import sys,time; from pathlib import Path; from raysim.output.files.lock import locked\n"
    )
    words += "with locked(Path('out')): print('held', flush=True); time.sleep(100)"
    with subprocess.Popen(
        [sys.executable, "-c", words],
        cwd=tmp_path,
        env=ENVIRONMENT,
        stdout=subprocess.PIPE,
        encoding="utf-8",
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        yield process
        process.kill()


def test_two_runs_into_one_folder_never_meet(run, tmp_path, holder):
    for words in ((), ("--force",), ("--resume",)):
        status, out, err = run(*ASKED, "--out", "out", *words)
        assert (status, out) == (2, "")
        assert "another run is writing there" in one_line(err)
    assert "another run is writing there" in one_line(
        run("linings", "scene.toml", "--out", "out")[2]
    )
    assert [path.name for path in (tmp_path / "out").iterdir()] == [LOCK_FILE]
    holder.kill()  # the system lets go of what a killed process held
    holder.wait()
    assert run(*ASKED, "--out", "out", "--quiet")[0] == 0
    assert not (tmp_path / "out" / LOCK_FILE).exists()


def test_of_many_at_once_one_holds_the_folder(tmp_path):
    words = "import time; from pathlib import Path; from raysim.output.files.lock import locked\n"
    words += "from raysim.base.errors import RaysimError\n"
    words += "for k in range(60):\n try:\n  with locked(Path('out')):\n"
    words += "   Path('mine').mkdir(); time.sleep(0.002); Path('mine').rmdir()\n"
    words += " except RaysimError: time.sleep(0.001)\n"
    several = [
        subprocess.Popen([sys.executable, "-c", words], cwd=tmp_path, env=ENVIRONMENT)
        for _ in range(3)
    ]
    limit = time.monotonic() + 60.0
    assert [process.wait(limit - time.monotonic()) for process in several] == [0, 0, 0]
    assert [path for path in tmp_path.rglob("*") if path.name != "out"] == []
