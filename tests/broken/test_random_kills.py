"""SIGKILL at random moments of every command that writes: whole files, and the next run goes on."""

import os
import random
import shutil
import signal
import sys
import time
from collections import Counter
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from answers import behaves
from changes import FILE, Course, noted
from kennels import in_kennels
from killing import (
    DOSE,
    JOBS,
    LAID,
    Job,
    added,
    beside,
    dark_scene,
    left_whole,
    rows,
    seen,
    small_wish,
)
from page_killing import PageTrial
from small_scenes import write_scene

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
HERE = str(Path(__file__).parent)
AROUND = f"import sys; sys.path[:0] = [{HERE!r}]; import killing; "
AROUND += "stack.enter_context(killing.quickly())"
# What a killed process leaves in its folder for temporary files goes with the trial.
BEFORE = f"""
{AROUND.replace("stack", "killing.FOR_GOOD")}
import changes, injected, tempfile
injected.failing('write', 0)
tempfile.tempdir = '.temporary'
changes.note_changes()
"""
BROKEN_OFF = """
import os, signal
import raysim.dose.simulate as simulate
whole = simulate.refine_best
simulate.refine_best = lambda *a: (signal.raise_signal(signal.SIGINT), whole(*a))[1]
"""
LIMITS = {"seconds": 200, "gigabytes": 6.0, "wall": 300.0}
AT_A_TIME = 10  # kills, one upon what the other has left, before a run is let through
SHORT = {"dose": 2, "dose --resume": 2, "meter": 2, "start": 2, "log start": 2, "open": 2}
KILLS = int(os.environ.get("RAYSIM_MOST_KILLS", "100"))  # of the slow form, of each command


def run(kennel, folder: Path, words: tuple[str, ...], **more: Any):
    """Answer to a command line in a folder."""
    (folder / ".temporary").mkdir(exist_ok=True)
    (folder / FILE).unlink(missing_ok=True)
    return kennel.run(*words, folder=folder, **({"before": BEFORE} | LIMITS | more))


@pytest.fixture(scope="module")
def desk(kennel, tmp_path_factory) -> Path:
    """Folder with a scene and all that commands need."""
    folder = tmp_path_factory.mktemp("desk")
    write_scene(folder, dark_scene())
    kennel.prepare(*DOSE, folder=folder, around=AROUND)  # what is laid is then traced at once
    for words in LAID:
        made = run(kennel, folder, words)
        assert made.status in (0, 3), made.said
    off = run(kennel, folder, JOBS["dose --resume"].words[:-1], before=BEFORE + BROKEN_OFF)
    assert off.status == 130, off.said
    wish = (folder / "wishes" / "wish.toml").read_text("utf-8")
    (folder / "wish.toml").write_text(small_wish(wish), "utf-8")
    shutil.rmtree(folder / ".temporary")
    return folder


class Trial:
    """Kills of one command, each upon what the one before it has left."""

    def __init__(self, kennel, desk: Path, place: Path, job: Job) -> None:
        self.job, self.place = job, place
        shutil.copytree(desk, place)
        if job.before:
            assert run(kennel, place, job.before).status in (0, 3)
        kennel.prepare(*job.words, folder=place, around=AROUND)
        self.old, self.new, self.course = in_kennels(self._whole, [0], place, kennel)[0]

    def _whole(self, kennel, folder: Path, _: int) -> tuple[Any, Any, Course]:
        """What a run that nobody kills finds and leaves, and how it goes."""
        target = folder / self.job.writes
        read = rows if target.suffix == ".db" and target.exists() else seen
        old, began = read(target), time.monotonic()
        answer = run(kennel, folder, self.job.words)
        assert answer.status in (0, 3), answer.said
        seconds = time.monotonic() - began
        read = rows if target.suffix == ".db" else seen
        return old, read(target), Course(seconds, noted(folder))

    def kills(self, kennel, folder: Path, moments: list[float]) -> tuple[Counter, str]:
        """How the runs ended, and what was wrong with what was left; "" if nothing."""
        ended: Counter = Counter()
        rest = beside(folder, self.job.writes)
        try:
            for moment in (*moments, None):
                answer = run(kennel, folder, self.job.words, **self.course.limits(folder, moment))
                ended["killed" if answer.status == -signal.SIGKILL else "done"] += 1
                amid = self.course.is_amid(folder, self.job.writes)
                ended["amid"] += answer.status == -signal.SIGKILL and amid
                through = self.through(answer)
                self.left(folder, through)
                assert beside(folder, self.job.writes) == rest, "something else was changed"
                if through and self.job.taken:  # nothing more would be written
                    break
            assert through
        except AssertionError as error:
            return ended, f"{moments} {dict(ended)}: {error}"
        return ended, ""

    def through(self, answer) -> bool:
        """Whether a run came to its end, well or because one before it was through."""
        if answer.status == -signal.SIGKILL:
            return False
        behaves(answer)
        told = [line for line in answer.err.splitlines() if not line.startswith("warning: ")]
        taken = self.job.taken and self.job.taken in answer.err and len(told) == 1
        assert answer.status in (0, 3) or (answer.status == 2 and taken), answer.said
        return True

    def left(self, folder: Path, through: bool) -> None:
        """Assert that what stands there is whole, and the new one if a run was `through`."""
        target = folder / self.job.writes
        if target.suffix == ".db":
            if target.exists() or through:
                entries = added(target, self.old or self.new, self.new)
                assert entries or not (through and self.old)
                assert rows(target) or not through
            return
        left_whole(target, self.old, self.new)
        if through:
            assert seen(target) == self.new, sorted(seen(target))
            assert not list(target.rglob(".raysim*"))


def kill(kennel, desk: Path, place: Path, command: str, most: int, record_property) -> None:
    """Kill a command so many times, and note how it went."""
    folder = place / "place"
    if command == "open":
        trial = PageTrial(kennel, desk, folder)
    else:
        trial = Trial(kennel, desk, folder, JOBS[command])
    draw = random.Random(command)
    ended: Counter = Counter()
    wrong: list[str] = []
    for _ in count():
        missing = most - ended["killed"]
        if missing <= 0 or wrong:
            break
        sizes = [AT_A_TIME] * (missing // AT_A_TIME) + [missing % AT_A_TIME] * bool(
            missing % AT_A_TIME
        )
        cases = [[draw.random() for _ in range(size)] for size in sizes]
        for more, said in in_kennels(trial.kills, cases, trial.place, kennel):
            ended += more
            wrong += [said] if said else []
    killed = ended["killed"] if not wrong else 0
    record_property(
        "evidence",
        f"{command}: killed at random moments (SIGKILL), all whole, and the next run goes on"
        f"|{most}|{killed}, of which {ended['amid']} amid its writing|",
    )
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("command", SHORT)
def test_some_kills_leave_whole_files(kennel, desk, tmp_path, command, record_property):
    kill(kennel, desk, tmp_path, command, SHORT[command], record_property)


@pytest.mark.slow
@pytest.mark.parametrize("command", [*JOBS, "open"])
def test_a_hundred_kills_leave_whole_files(kennel, desk, tmp_path, command, record_property):
    kill(kennel, desk, tmp_path, command, KILLS, record_property)
