"""Every command that writes, in a form that takes a second, and how what it writes is told apart.

What a command writes is compared with what stood there before and with what a run that nobody
killed writes: each file must be one of the two to the last byte, but for times of day.
"""

import json
import re
import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from subprocess import CompletedProcess
from types import SimpleNamespace
from typing import Any

import pytest
from running import contents, with_few_traces
from small_scenes import small_scene

import raysim.output.studies.design
import raysim.studies.design
from raysim.dose.checkpoint import is_checkpoint
from raysim.dose.checkpoint_file import read_checkpoint
from raysim.dose.part import PART_FILE
from raysim.output.pictures.pictures import OVERVIEW, Picture
from raysim.output.viewer import apart
from raysim.studies.linings import run as linings_run
from raysim.studies.tracer import Tracer

QUICK = ("--seed", "2", "--threads", "1", "--quiet")
FEW = ("--photons", "1", "--precision", "0.9")
DOSE = ("dose", "scene.toml", *FEW, "--no-pictures", *QUICK)
STUDY = ("--precision", "0.9", *QUICK, "--out", "out", "--force")
PLACES = ("--at", "50,50,60..50,50,290", "--at", "250,50,60..250,50,290")
HUNG = ("--at", "150,125,250", "--number", "1", "--clear-lamp", "10")
WOODEN = ("--no-walls", "--lining", "stainless steel sheet")
OUT = ("--out", "out", "--force")
BOOK = ("--operator", "AB", "--book", "book.db")
NEW = "name a new f"  # as mends say where something stands that may not be replaced
# A scene in which light is soon gone, with all that commands ask for.
METER = {"name": "m", "at": [100, 100, 100], "facing": [0, 0, 1]}
DARK = {"reflectance": 0.05, "reflectance_low": 0.05}


def dark_scene() -> dict:
    """The small scene with dark walls of known thickness, and a meter point."""
    scene = small_scene() | {"meter": [METER]}
    scene["chamber"] |= {"lining": DARK, "sheet": 12}
    return scene


@dataclass(frozen=True)
class Job:
    """A command line and the file or folder in which it writes.

    Attributes
    ----------
    before : tuple of str
        Command line that has written there what the command is to replace; () for nothing.
    taken : str
        Words by which the command says that a run before it was through; "" if it replaces it.
    """

    words: tuple[str, ...]
    writes: str = "out"
    before: tuple[str, ...] = ()
    taken: str = ""


def replacing(*words: str) -> Job:
    """A job that replaces results of another seed."""
    return Job(words, before=(*words, "--seed", "1"))


def entering(*words: str, taken: str = "") -> Job:
    """A job that adds to the logbook."""
    return Job(("log", *words, *BOOK), "book.db", taken=taken)


COMPARED = ("compare", "traced", "traced/result.json", "--quiet", *OUT)
SHARED = ("share", "scene.toml", "--out", "box.zip", "--force", "--quiet", "--results", "traced")
VIEWED = ("view", "traced", "--slice", "none", "--picture", "view.png", "--force")
JOBS = {
    "dose": replacing(*DOSE, *OUT),
    "dose --resume": Job((*DOSE, "--out", "off", "--resume"), "off", taken="no run was broken off"),
    "dose --part": Job(("dose", "scene.toml", "--photons", "2000", "--precision", "0.5", *QUICK, "--part", "1/2", *OUT)),
    "join": Job(("join", "part_1", "part_2", "--no-pictures", "--threads", "1", "--quiet", *OUT), before=(*DOSE, *OUT)),
    "shadows": replacing("shadows", "scene.toml", "--photons", "1", "--patches", "0", *QUICK, *OUT),
    "linings": replacing("linings", "scene.toml", *WOODEN, *STUDY),
    "hooks": replacing("hooks", "scene.toml", *HUNG, *STUDY),
    "lamps": replacing("lamps", "scene.toml", "--number", "1", *PLACES, *STUDY),
    "design": Job(("design", "wish.toml", *QUICK, *OUT), before=(*DOSE, *OUT)),
    "guide": replacing("guide", "scene.toml", *FEW, "--no-pictures", *QUICK, *OUT),
    "meter": Job(("meter", "scene.toml", "--seed", "2", "--sheet", "sheet.html"), "sheet.html", taken=NEW),
    "share": Job(SHARED, "box.zip", before=SHARED[:-2]),
    "compare": Job(COMPARED, before=(*DOSE, *OUT)),
    "view": Job(VIEWED, "view.png"),
    "start": Job(("start", "new"), "new", taken=NEW),
    "start --demo": Job(("start", "new", "--demo"), "new", taken=NEW),
    "start --wish": Job(("start", "new", "--wish"), "new", taken=NEW),
    "log new": Job(("log", "new", "--book", "new.db"), "new.db", taken="exists already"),
    "log add": entering("add", "R2", "--owner", "AB", taken="is in the logbook already"),
    "log start": entering("start", "R1", "--timer", "5 min", "--lamps-burn", "meter", taken="never closed"),
    "log end": entering("end", "4", taken="closed already"),
    "log interrupted": entering("interrupted", "4", "--ran", "1 s", taken="closed already"),
    "log void": entering("void", "4", "--note", "by mistake", taken="closed already"),
    "log correct": entering("correct", "R1", "--owner", "CD", "--note", "misread"),
    "log retire": entering("retire", "R1", "--note", "torn", taken="retired"),
    "log lamp": entering("lamp", "left", "read", "--hours", "9", "--box", "box"),
    "log export": Job(("log", "export", "new", "--book", "book.db"), "new", taken=NEW),
}  # fmt: skip
# How the desk is laid before any of them.
LAID = (
    (*DOSE, "--out", "traced"),
    *((*JOBS["dose --part"].words[:-5], "--part", f"{k}/2", "--out", f"part_{k}") for k in (1, 2)),
    ("start", "wishes", "--wish"),
    ("log", "new", "--book", "book.db"),
    ("log", "add", "R1", "--owner", "AB", *BOOK),
    ("log", "lamp", "left", "fitted", "--box", "box", *BOOK),
    ("log", "add", "R3", "--owner", "AB", *BOOK),
    ("log", "start", "R3", "--timer", "2 s", "--lamps-burn", "meter", *BOOK),
)
ANSWER = {"result.json", "card.html"}  # what a dose run writes first may stand alone
DAY = re.compile(rb"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d+)?)?|\d{4}-\d\d-\d\d|\d+(\.\d+)? s\b")
DRAWN = re.compile(rb"\$(TD\w+|\w+GUID)\s+\d+\s+\S+|\{[0-9A-F-]{36}\}")  # by ezdxf
SECONDS = re.compile(rb'"seconds": [\d.e+-]+')
PICTURE = bytes.fromhex(  # of one dot
    "89504e470d0a1a0a0000000d4948445200000001000000010806000000"
    "1f15c4890000000a49444154789c63000100000500010d0a2db40000000049454e44ae426082"
)
FEWER = 64  # times the paths that studies trace of each spot
SEARCHED: dict[int, Any] = {}  # what searches for designs have found, by seed
FOR_GOOD = ExitStack()  # contexts that a process which is killed never leaves


def small_wish(text: str) -> str:
    """The example wish, of one respirator, and of one size, lamp and lining to choose from."""
    head, *tables = re.split(r"(?m)^(?=\[\[)", text)
    kept = {re.match(r"\[\[(\w+)", table)[1]: table for table in reversed(tables)}
    whole = head + "".join(reversed(kept.values()))
    return whole.replace("number = 6", "number = 1").replace('"cup", "flat fold"', '"small cup"')


@contextmanager
def quickly() -> Iterator[None]:
    """Have pictures of graphics libraries be one dot, studies trace little, and designs be few.

    The pictures are drawn by processes of their own, into folders of their own, and take seconds.
    A search for designs takes most of a minute and writes nothing: it is made once, by the process
    that forks, and what it found is written by each of its children.
    """
    whole, search = Tracer.batches, raysim.studies.design.study

    def few(tracer, arrays, triangles, starts, paths, seed, **more):
        return whole(tracer, arrays, triangles, starts, max(paths // FEWER, 1), seed, **more)

    def searched(wish, options, **more):
        if options.seed not in SEARCHED:
            SEARCHED[options.seed] = search(wish, options, **more)
        return SEARCHED[options.seed]

    def drawn(words, **more):
        Path(words[-1]).write_bytes(PICTURE)
        return CompletedProcess(words, 0, "", "")

    def pictures(result, folder, numbers):
        folder.mkdir(parents=True)
        (folder / "dot.png").write_bytes(PICTURE)
        return [Picture(folder / "dot.png", "box", "", OVERVIEW)] * 2

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(apart, "subprocess", SimpleNamespace(run=drawn))
        patch.setattr(raysim.output.studies.design, "write_pictures", pictures)
        patch.setattr(raysim.studies.design, "study", searched)
        patch.setattr(Tracer, "batches", few)
        patch.setattr(linings_run, "BLACK_RAYS", 10_000)
        with_few_traces(patch, 0, 1, 1)
        yield


def seen(place: Path) -> dict[str, bytes]:
    """What a user sees of a file or folder of results, without times of day; {} if nothing."""
    if place.is_file():
        return {place.name: timeless(place.read_bytes())}
    return {
        name: _figures(place / name) if name == PART_FILE else timeless(content)
        for name, content in contents(place).items()
        if not (name.startswith(".") or is_checkpoint(name) or name.endswith(".part"))
    }


def _figures(part: Path) -> bytes:
    """What a part of a run holds, but for the seconds it took."""
    header, arrays = read_checkpoint(part)
    del header["seconds"]
    return repr((header, [(name, a.tobytes()) for name, a in sorted(arrays.items())])).encode()


def timeless(content: bytes) -> bytes:
    """The same without times of day, dates and seconds taken."""
    return SECONDS.sub(b'"seconds": 0', DAY.sub(b"", DRAWN.sub(b"", content)))


def beside(folder: Path, target: str) -> dict[str, bytes]:
    """All that a command is not to change."""
    return {
        name: content
        for name, content in contents(folder).items()
        if not name.startswith((target, ".")) and "/.raysim" not in name
    }


def is_answer(now: dict[str, bytes]) -> bool:
    """Whether a folder holds the first answer of a dose run, whole, and nothing else."""
    return now.keys() == ANSWER and bool(json.loads(now["result.json"])["verdict"])


def left_whole(place: Path, old: dict[str, bytes], new: dict[str, bytes]) -> None:
    """Assert that what stands there is old or new, file by file, and no result among strangers."""
    now = seen(place)
    if "result.json" in now or not place.is_dir():
        assert not now or now in (old, new) or is_answer(now), _unlike(now, old, new)
    else:
        wrong = [
            n for n, c in now.items() if n != "card.html" and c not in (old.get(n), new.get(n))
        ]
        assert not wrong, wrong


def _unlike(now: dict[str, bytes], *whole: dict[str, bytes]) -> str:
    """In which files it differs from each of what it could be."""
    names = [sorted(n for n in now.keys() | w.keys() if now.get(n) != w.get(n)) for w in whole]
    return f"files that are not the old, not the new ones: {names}"


def rows(book: Path) -> dict[str, list[tuple]]:
    """Rows of every table of a logbook, which must be sound."""
    with closing(sqlite3.connect(book)) as opened:
        assert opened.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert opened.execute("PRAGMA foreign_key_check").fetchall() == []
        tables = opened.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        return {name: opened.execute(f"SELECT * FROM {name}").fetchall() for (name,) in tables}


def added(book: Path, old: dict[str, list[tuple]], new: dict[str, list[tuple]]) -> int:
    """How many whole entries were added to a logbook; asserts that all that stood there stands."""
    now = rows(book)
    if not now and not any(old[name] for name in old if name != "sqlite_sequence"):
        return 0  # begun, and not yet a logbook
    own = {name: len(new[name]) - len(old[name]) for name in old if name != "sqlite_sequence"}
    more = {name: len(now[name]) - len(old[name]) for name in own}
    assert all(now[name][: len(old[name])] == old[name] for name in own), "an entry has changed"
    assert all(more[name] == more["entry"] * count for name, count in own.items()), more
    return more["entry"]
