"""The n-th write, fsync, rename or allocation fails: one line, and whole results, old or new."""

import os
import sys
from pathlib import Path

import pytest
from answers import behaves
from injected import is_new
from kennels import in_kennels
from running import contents
from small_scenes import write_scene

from raysim.dose.checkpoint import is_checkpoint

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs fork and limits of Unix")
HERE = str(Path(__file__).parent)
FAILING = f"import sys; sys.path[:0] = [{HERE!r}]; import injected; injected.failing(*{{!r}})"
LIMITS = {"seconds": 100, "gigabytes": 6.0, "wall": 300.0, "warm": True}
QUICK = ("--photons", "1", "--precision", "0.5", "--no-pictures", "--threads", "1")
BOOK = ("--book", "book.db", "--operator", "AB")
COMMANDS = {
    "dose": ("dose", "scene.toml", *QUICK, "--seed", "2", "--out", "out", "--force"),
    "start": ("start", "out2"),
    "log export": ("log", "export", "csv", "--book", "book.db"),
}
# Chosen calls that fail in the short form: some early, some while results are exchanged.
SOME = {
    "write": [("dose", 2), ("dose", 350), ("start", 3), ("log export", 5)],
    "fsync": [("dose", 14), ("start", 4)],
    "rename": [("dose", 20), ("start", 8)],
    "allocation": [("dose", 700), ("start", 50)],
}
# RAYSIM_MOST_FAULTS bounds how many of each kind the slow form takes, evenly spread.
# Files of a dose run end at so many bytes, as on a disk that is full; libraries in C feel it too.
SIZES = [0, 1, 100, *(1_000 * k for k in (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 256))]


@pytest.fixture(scope="module")
def desk(kennel, tmp_path_factory) -> Path:
    """Folder with a scene, results of another seed in `out`, those that come now, a logbook."""
    folder = tmp_path_factory.mktemp("desk")
    write_scene(folder)
    before = FAILING.format(("write", 0))
    for words in (
        ("dose", "scene.toml", *QUICK, "--seed", "1", "--out", "out"),
        ("dose", "scene.toml", *QUICK, "--seed", "2", "--out", "new"),
        ("log", "new", "--book", "book.db"),
        ("log", "add", "R1", "--owner", "AB", *BOOK),
    ):
        made = kennel.run(*words, folder=folder, before=before, **LIMITS)
        assert made.status == 0, made.said
    return folder


def counted(kennel, desk: Path, command: str, kind: str) -> int:
    """How many calls of a kind a command makes."""

    def trial(kennel, folder: Path, _: int) -> int:
        before = FAILING.format((kind, 0, False, str(folder / "calls")))
        answer = kennel.run(*COMMANDS[command], folder=folder, before=before, **LIMITS)
        assert answer.status == 0, answer.said
        return int((folder / "calls").read_text())

    return in_kennels(trial, [0], desk, kennel)[0]


def failed(kennel, folder: Path, case: tuple) -> str:
    """What is wrong with the end of a command that a fault befell; "" if nothing is."""
    command, kind, n, ever = case
    old = contents(folder / "out")
    before = FAILING.format((kind, n, ever))
    answer = kennel.run(*COMMANDS[command], folder=folder, before=before, **LIMITS)
    try:
        behaves(answer)
        assert answer.status in (0, 2), answer.said
        told = [line for line in answer.err.splitlines() if not line.startswith("warning: ")]
        assert len(told) == (answer.status == 2), answer.said
        assert all("Mend: " in line for line in told)
        now = {n: c for n, c in contents(folder / "out").items() if not is_checkpoint(n)}
        assert now == old or is_new(folder / "out", folder / "new"), sorted(now)
        assert now != old or answer.status == 2 or command != "dose"
    except AssertionError as error:
        return f"{case}: {error}"
    return ""


@pytest.mark.parametrize("kind", SOME)
def test_some_faults_are_told_and_old_results_stay(kennel, desk, kind, record_property):
    cases = [(command, kind, n, False) for command, n in SOME[kind]]
    told(in_kennels(failed, cases, desk, kennel), cases, record_property)


@pytest.mark.slow
@pytest.mark.parametrize("kind", SOME)
def test_every_fault_is_told_and_old_results_stay(kennel, desk, kind, record_property):
    calls = [(c, n) for c in COMMANDS for n in range(1, counted(kennel, desk, c, kind) + 1)]
    step = max(1, round(len(calls) / float(os.environ.get("RAYSIM_MOST_FAULTS", "inf"))))
    cases = [(command, kind, n, False) for command, n in calls[::step]]
    if kind == "write":  # a disk that is full stays so
        cases += [(*case[:3], True) for case in cases[::8]]
    which = "" if step == 1 else f", one call in {step}"
    told(in_kennels(failed, cases, desk, kennel), cases, record_property, which)


@pytest.mark.parametrize(
    "sizes", [SIZES[3:12:6], pytest.param(SIZES, marks=pytest.mark.slow)], ids=["some", "all"]
)
def test_a_disk_that_is_full_at_some_size(kennel, desk, sizes, record_property):
    cases = [("dose", "size", size, True) for size in sizes]
    told(in_kennels(failed, cases, desk, kennel), cases, record_property)


def told(wrong: list[str], cases: list[tuple], record_property, which: str = "") -> None:
    """Note how many faults of each command ended well, and assert that all did."""
    kinds = {"size": "files end at some size, as on a full disk"}
    for command in COMMANDS:
        ends = [end for end, case in zip(wrong, cases, strict=True) if case[0] == command]
        if ends:
            kind = cases[0][1]
            what = f"{command}: {kinds.get(kind, f'{kind} fails')}; told in a line, results whole"
            record_property("evidence", f"{what}|{len(ends)}{which}|{ends.count('')}|")
    assert not any(wrong), "\n".join(filter(None, wrong))
