"""The first run on a machine: two processes compile, and the user sees one well-behaved program."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from running import ENVIRONMENT, QUICK
from small_scenes import write_scene

CHILDREN = Path(f"/proc/{os.getpid()}/task/{os.getpid()}/children")
pytestmark = pytest.mark.skipif(
    not CHILDREN.exists() or len(os.sched_getaffinity(0)) < 2,
    reason="looks for the second process as Linux shows it, on two cores",
)


class FirstRun:
    """`raysim dose` with an empty cache, as the leader of its own group of processes."""

    def __init__(self, folder: Path, *words: str) -> None:
        write_scene(folder)
        self.process = subprocess.Popen(
            [sys.executable, "-m", "raysim", "dose", "scene.toml", "--no-pictures", *words],
            cwd=folder,
            env=ENVIRONMENT | {"NUMBA_CACHE_DIR": str(folder / "cache")},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            encoding="utf-8",
            start_new_session=True,
            # Under nohup, or in the background of a script, Ctrl-C would be ignored.
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )

    def second(self) -> int:
        """Number of the second process, as soon as there is one."""
        own = self.process.pid
        until = time.monotonic() + 60.0
        while time.monotonic() < until and self.process.poll() is None:
            listed = Path(f"/proc/{own}/task/{own}/children").read_text().split()
            if listed:
                return int(listed[0])
            time.sleep(0.05)
        raise AssertionError("no second process was started")

    def said(self) -> tuple[int, str, str]:
        """Status, standard output and standard error, once it has ended."""
        out, err = self.process.communicate(timeout=170)
        return self.process.returncode, out, err


def is_gone(number: int) -> bool:
    """Whether a process has ended, or does within a few seconds."""
    until = time.monotonic() + 10.0
    while time.monotonic() < until:
        try:
            if Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] == "Z":
                return True
        except (FileNotFoundError, ProcessLookupError):
            return True
        time.sleep(0.05)
    return False


@pytest.mark.parametrize("later", [pytest.param(0.0, marks=pytest.mark.slow), 1.5])
def test_ctrl_c_while_compiling_ends_both_processes_in_one_line(tmp_path, later):
    run = FirstRun(tmp_path)
    second = run.second()
    time.sleep(later)
    os.killpg(run.process.pid, signal.SIGINT)  # as a terminal does: to all of the group
    status, out, err = run.said()
    assert (status, out, err.strip()) == (130, "", "raysim: interrupted; nothing was written")
    assert is_gone(second)
    assert not (tmp_path / "results").exists()


@pytest.mark.slow
@pytest.mark.parametrize("killed", [False, True])
def test_a_first_run_says_what_a_later_one_says(tmp_path, killed):
    run = FirstRun(tmp_path, *QUICK, "--json")
    if killed:
        os.kill(run.second(), signal.SIGKILL)
    status, out, err = run.said()
    assert (status, err) == (0, "")
    later = FirstRun(tmp_path, *QUICK, "--json", "--force")
    with pytest.raises(AssertionError, match="no second process"):
        later.second()
    first, again = json.loads(out), json.loads(later.said()[1])
    for record in (first, again):
        assert record.pop("seconds") > 0.0
        assert record.pop("made_at")
    assert first == again


def flip_middle(path):
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


def make_folder(path):
    path.unlink()
    path.mkdir()


@pytest.mark.slow
def test_a_damaged_cache_costs_time_and_a_warning_but_no_number(tmp_path):
    def record(run):
        status, out, err = run.said()
        found = json.loads(out)
        assert (status, found.pop("seconds") > 0.0) == (0, True)
        found.pop("made_at")
        return found, err.splitlines()

    first, lines = record(FirstRun(tmp_path, *QUICK, "--json"))
    assert lines == []
    for name, damage in (
        ("grow_tree", flip_middle),  # compiled by the first process
        ("trace_backward", flip_middle),  # by the second one
        ("trace_photons", make_folder),
        ("first_hits", lambda path: path.write_bytes(b"")),
    ):
        (path,) = (tmp_path / "cache").rglob(f"*.{name}-*.nbc")
        damage(path)
        run = FirstRun(tmp_path, *QUICK, "--json", "--force")
        if name == "trace_backward":
            assert run.second()
        again, (line,) = record(run)
        assert again == first
        assert line.startswith("warning: a file of compiled kernels cannot be used")
        assert path.name in line
    assert record(FirstRun(tmp_path, *QUICK, "--json", "--force")) == (first, [])
