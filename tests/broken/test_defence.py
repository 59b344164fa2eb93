"""The last line of defence: a full disk, no memory, closed streams, and what nobody foresaw."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from answers import COMPILING, DOSE, FEW_RAYS, ROOM, behaves
from running import ENVIRONMENT, contents
from small_scenes import write_scene

import raysim.transport.threads
from raysim.cli.statuses import UNFORESEEN

pytestmark = pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs the devices of Linux")
FULL = "import os; os.dup2(os.open('/dev/full', os.O_WRONLY), {}); "
ODD = "import raysim.dose.simulate as s\ndef odd(*a): raise KeyError('odd\\nwords')\ns.load_scene = odd\n"
NO_REPORT = (
    "import tempfile\ndef full(**more): raise OSError(28, 'full')\ntempfile.mkstemp = full\n"
)


@pytest.fixture(scope="module")
def box(kennel, tmp_path_factory) -> Path:
    """Folder with a scene and results of it."""
    folder = tmp_path_factory.mktemp("box")
    write_scene(folder)
    made = kennel.run(*DOSE, "--out", "out", folder=folder, **COMPILING)
    assert made.status == 0, made.said
    return folder


@pytest.mark.parametrize(
    "words", [("--help",), ("materials",), ("check", "scene.toml"), (*DOSE, "--out", "out", "--force")]
)  # fmt: skip
def test_an_answer_that_cannot_be_printed_is_one_line(kennel, box, words):
    answer = kennel.run(*words, folder=box, before=f"{FEW_RAYS}\n{FULL.format(1)}", **ROOM)
    behaves(answer)
    assert answer.status == 2
    assert len(answer.err.splitlines()) == 1
    assert "standard output cannot be written (No space left on device). Mend: " in answer.err
    assert (box / "out" / "result.json").read_text("utf-8").endswith("}\n")


@pytest.mark.parametrize(
    "ended", [FULL.format(2), "import os, sys; os.close(2); sys.stderr = None"]
)
def test_a_run_that_cannot_warn_goes_on(kennel, box, ended):
    words = (*DOSE, "--out", "out", "--force", "--json")
    answer = kennel.run(*words, folder=box, before=f"{FEW_RAYS}\n{ended}", **ROOM)
    behaves(answer)
    assert (answer.status, answer.err) == (0, "")
    assert answer.out == (box / "out" / "result.json").read_text("utf-8")
    assert kennel.run("check", "no.toml", folder=box, before=ended).status == 2


@pytest.mark.parametrize("closed", ["2>&-", ">&- 2>&-", "<&- >&- 2>&-"])
def test_a_process_without_streams_says_it_by_its_status(tmp_path, closed):
    words = f"exec '{sys.executable}' -m raysim dose no.toml {closed}"
    done = subprocess.run(words, shell=True, cwd=tmp_path, env=ENVIRONMENT, check=False)  # noqa: S602
    assert done.returncode == 2
    assert list(tmp_path.iterdir()) == []


def test_without_memory_the_line_says_so_and_results_stay(kennel, box):
    before = contents(box)
    # Less than the sums of paths take, and enough for what the system's loader needs: without that
    # it ends the process by a line of its own, status 127.
    limits = {"gigabytes": 0.2, "warm": True}
    answer = kennel.run(*DOSE, "--out", "out", "--force", folder=box, **limits)
    behaves(answer)
    assert (answer.status, answer.out) == (2, "")
    assert len(answer.err.splitlines()) == 1
    assert "the memory of this machine ran out. Mend: " in answer.err
    (box / "out" / "checkpoint.npz").unlink(missing_ok=True)
    assert contents(box) == before


def test_a_mesh_that_memory_does_not_hold_is_not_called_broken(kennel, box):
    none = "import trimesh\ndef none(*a, **k): raise MemoryError\ntrimesh.load_scene = none"
    answer = kennel.run("check", "scene.toml", folder=box, before=none)
    assert answer.status == 2
    assert "the memory of this machine ran out. Mend: " in answer.err


def test_what_nobody_foresaw_is_told_with_a_report(kennel, box, tmp_path):
    before = contents(box)
    here = f"import tempfile; tempfile.tempdir = {str(tmp_path)!r}\n"
    answer = kennel.run(*DOSE, "--out", "out", "--force", folder=box, before=here + ODD)
    assert (answer.status, answer.out) == (UNFORESEEN, "")
    assert "Traceback" not in answer.said
    told, mend = answer.err.splitlines()
    assert "a fault of raysim itself (KeyError in dose.py, line " in told or "common.py" in told
    assert "is whole" in told
    assert all(line.isprintable() for line in (told, mend))
    (report,) = tmp_path.iterdir()
    assert re.search(r"Mend: report it with the file (\S+),", mend).group(1) == str(report)
    text = report.read_text("utf-8")
    assert text.startswith("raysim ")
    assert "Traceback (most recent call last)" in text
    assert "odd\\nwords" in text
    assert contents(box) == before


def test_where_no_report_can_be_written_the_line_still_comes(kennel, box):
    answer = kennel.run(*DOSE, folder=box, before=ODD + NO_REPORT)
    assert answer.status == UNFORESEEN
    (told,) = answer.err.splitlines()
    assert "KeyError" in told


def test_where_the_system_starts_no_thread_the_work_is_done_all_the_same(monkeypatch):
    start, begun = raysim.transport.threads.Thread.start, []

    def refused(thread):
        if begun:
            raise RuntimeError("can't start new thread")
        begun.append(thread)
        start(thread)

    monkeypatch.setattr(raysim.transport.threads.Thread, "start", refused)
    done: list[int] = []
    raysim.transport.threads.in_threads(done.append, 5)
    assert sorted(done) == [0, 1, 2, 3, 4]
