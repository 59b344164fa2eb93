"""SIGKILL at random moments of every command that writes: whole files, and the next run goes on."""

import os
import random
import sqlite3
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
from answers import behaves
from injected import is_new
from kennels import in_kennels
from running import contents
from small_scenes import small_scene, write_scene

from raysim.dose.checkpoint import is_checkpoint
from raysim.starter.files import mesh_files

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
LIMITS = {"seconds": 200, "gigabytes": 6.0, "warm": True}
SMALL = "import sys; sys.path[:0] = [{!r}]; import injected; injected.failing('write', 0)"
BEFORE = SMALL.format(str(Path(__file__).parent))
QUICK = ("--seed", "2", "--threads", "1", "--quiet")
DOSE = ("dose", "scene.toml", "--photons", "1", "--precision", "0.5", "--no-pictures", *QUICK)
BOOK = ("--book", "book.db", "--operator", "AB")
OUT = ("--out", "out", "--force")
METER = {"name": "m", "at": [100, 100, 100], "facing": [0, 0, 1]}
GAP = {"name": "door", "from": [0, 0, 50], "to": [0, 0, 300], "width": 1, "depth": 20}
# What each command writes stands in `out`, `new` or `book.db`.
COMMANDS = {
    "dose": (*DOSE, *OUT),
    "shadows": ("shadows", "scene.toml", *QUICK, *OUT),
    "linings": (
        "linings",
        "scene.toml",
        "--precision",
        "0.5",
        "--lining",
        "stainless steel sheet",
        *QUICK,
        *OUT,
    ),
    "meter": ("meter", "scene.toml", "--seed", "2", "--sheet", "new"),
    "start": ("start", "new"),
    "log new": ("log", "new", "--book", "new"),
    "log add": ("log", "add", "R2", "--owner", "AB", *BOOK),
    "log start": ("log", "start", "R1", "--timer", "5 min", "--lamps-burn", "meter", *BOOK),
    "log export": ("log", "export", "new", "--book", "book.db"),
}
# Files of a whole folder: the scene, its schema and all meshes; the tables of a logbook.
WHOLE = {"start": 2 + len(mesh_files()), "log export": 7}
SHORT = {"dose": 4, "meter": 2, "start": 4, "log new": 2, "log start": 3, "log export": 3}
KILLS = int(os.environ.get("RAYSIM_MOST_KILLS", "100"))  # of the slow form, of each command


@pytest.fixture(scope="module")
def desk(kennel, tmp_path_factory) -> Path:
    """Folder with a scene, results of another seed in `out`, those that come in `whole`."""
    folder = tmp_path_factory.mktemp("desk")
    write_scene(folder, small_scene() | {"meter": [METER]})
    for words in (
        (*DOSE, "--seed", "1", "--out", "out"),
        (*DOSE, "--out", "whole"),
        ("log", "new", "--book", "book.db"),
        ("log", "add", "R1", "--owner", "AB", *BOOK),
    ):
        made = kennel.run(*words, folder=folder, before=BEFORE, **LIMITS)
        assert made.status == 0, made.said
    return folder


def lasting(kennel, desk: Path, command: str) -> float:
    """Seconds that a command takes."""

    def trial(kennel, folder: Path, words: tuple[str, ...]) -> float:
        began = time.monotonic()
        answer = kennel.run(*words, folder=folder, before=BEFORE, **LIMITS)
        assert answer.status in (0, 3), answer.said
        return time.monotonic() - began

    return in_kennels(trial, [COMMANDS[command]] * 2, desk, kennel)[1]  # the second is warm


def killed(kennel, folder: Path, case: tuple[str, float]) -> str:
    """How it ended: "killed", "done" before that, or what is wrong with what was left."""
    command, moment = case
    old = contents(folder / "out")
    answer = kennel.run(*COMMANDS[command], folder=folder, before=BEFORE, wall=moment, **LIMITS)
    try:
        if not answer.hung:
            behaves(answer)
            assert answer.status in (0, 3), answer.said
        left_whole(folder, command, old)
        after = kennel.run(*COMMANDS[command], folder=folder, before=BEFORE, **LIMITS)
        behaves(after)
        taken = (
            "stands there already",
            "is in the logbook already",
            "never closed",
            "exists already",
        )
        assert after.status in (0, 3) or any(word in after.err for word in taken), after.said
        goes_on(folder, command)
    except AssertionError as error:
        return f"{case}: {error}"
    return "killed" if answer.hung else "done"


def left_whole(folder: Path, command: str, old: dict[str, bytes]) -> None:
    """Assert that nothing half written has the name of a result."""
    now = {
        name: content
        for name, content in contents(folder / "out").items()
        if not is_checkpoint(name) and not name.startswith(".")
    }
    if "result.json" in now and now != old and command == "dose":
        assert is_new(folder / "out", folder / "whole"), sorted(now)
    with closing(sqlite3.connect(folder / "book.db")) as book:
        assert book.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert book.execute("PRAGMA foreign_key_check").fetchall() == []
        counts = "SELECT (SELECT count(*) FROM cycle), (SELECT count(*) FROM load)"
        cycles, loads = book.execute(counts).fetchone()
        assert cycles == loads
    if command == "meter" and (folder / "new").exists():
        assert (folder / "new").read_text("utf-8").rstrip().endswith("</html>")


def goes_on(folder: Path, command: str) -> None:
    """Assert that the run after the one that was killed has left everything whole."""
    if command == "dose":
        assert is_new(folder / "out", folder / "whole"), sorted(contents(folder / "out"))
        assert (folder / "out" / "report.html").exists()
    if command in WHOLE:
        assert len(contents(folder / "new")) == WHOLE[command], sorted(contents(folder / "new"))
    assert not list(folder.rglob(".raysim*"))


def kill(kennel, desk: Path, command: str, count: int, record_property) -> None:
    """Kill a command so many times, and note how it went."""
    whole = lasting(kennel, desk, command)
    moments = random.Random(command)
    cases = [(command, whole * moments.random()) for _ in range(count)]
    ended = in_kennels(killed, cases, desk, kennel)
    well = [end for end in ended if end in ("killed", "done")]
    words = f"{command}: SIGKILL at random moments, {ended.count('killed')} before its end"
    record_property("evidence", f"{words}; files whole, the next run goes on|{count}|{len(well)}|")
    assert len(well) == count, "\n".join(end for end in ended if end not in well)


@pytest.mark.parametrize("command", SHORT)
def test_some_kills_leave_whole_files(kennel, desk, command, record_property):
    kill(kennel, desk, command, SHORT[command], record_property)


@pytest.mark.slow
@pytest.mark.parametrize("command", COMMANDS)
def test_a_hundred_kills_leave_whole_files(kennel, desk, command, record_property):
    kill(kennel, desk, command, KILLS, record_property)
