"""Broken command lines, logbooks and results: status 2 and a clear line, no traceback, no hang."""

import json
import os
import sqlite3
from pathlib import Path

import pytest
from answers import behaves
from small_scenes import small_scene, write_scene

METER = {"name": "m", "at": [100, 100, 100], "facing": [0, 0, 1]}
QUICK = ("--photons", "1", "--precision", "0.5", "--no-pictures")
BOOK = ("--book", "book.db", "--operator", "AB")
LONG = "n" * 300
NO_TEXT = os.fsdecode(b"\xff")

# Words of a command line, in a folder with good.toml, a file, a pipe and links that lead nowhere.
COMMANDS = {
    "scene-not-utf-8": ("check", f"{NO_TEXT}.toml"),
    "scene-of-two-lines": ("check", "a\nb.toml"),
    "scene-of-colours": ("check", "\x1b[31m.toml"),
    "scene-of-no-name": ("check", ""),
    "scene-dash": ("check", "-"),
    "scene-too-long": ("check", f"{LONG}.toml"),
    "scene-much-too-long": ("check", "a/" * 5_000 + "b.toml"),
    "scene-standard-input": ("check", "/dev/stdin"),
    "scene-root": ("check", "/"),
    "scene-below-a-file": ("check", "good.toml/x"),
    "scene-pipe": ("dose", "pipe"),
    "scene-loop": ("dose", "loop"),
    "out-empty": ("dose", "good.toml", *QUICK, "--out", ""),
    "out-root": ("dose", "good.toml", *QUICK, "--out", "/"),
    "out-file": ("dose", "good.toml", *QUICK, "--out", "file"),
    "out-pipe": ("dose", "good.toml", *QUICK, "--out", "pipe"),
    "out-loop": ("dose", "good.toml", *QUICK, "--out", "loop"),
    "out-nowhere": ("dose", "good.toml", *QUICK, "--out", "nowhere"),
    "out-too-long": ("dose", "good.toml", *QUICK, "--out", LONG),
    "out-too-deep": ("dose", "good.toml", *QUICK, "--out", "a/" * 3_000 + "b"),
    "out-device": ("dose", "good.toml", *QUICK, "--out", "/dev/null"),
    "out-below-a-file": ("dose", "good.toml", *QUICK, "--out", "good.toml/x"),
    "out-here": ("dose", "good.toml", *QUICK, "--out", "."),
    "out-not-utf-8": ("dose", "good.toml", *QUICK, "--out", NO_TEXT),
    "photons-float": ("dose", "good.toml", "--photons", "1e6"),
    "photons-endless": ("dose", "good.toml", "--photons", "9" * 30),
    "photons-book": ("dose", "good.toml", "--photons", "9" * 900),
    "seed-beyond": ("dose", "good.toml", "--seed", str(2**64)),
    "precision-infinite": ("dose", "good.toml", "--precision", "inf"),
    "precision-empty": ("dose", "good.toml", "--precision", ""),
    "without-nobody": ("dose", "good.toml", *QUICK, "--without", "nobody"),
    "without-nothing": ("dose", "good.toml", *QUICK, "--without", ""),
    "without-all": ("dose", "good.toml", *QUICK, "--without", "left", "--without", "right"),
    "photons-of-years": ("dose", "good.toml", "--photons", "1" + "0" * 12),
    "note-turned-round": ("log", "add", "R2", "--owner", "AB", "--note", "\u202e", *BOOK),
    "out-turned-round": ("dose", "good.toml", *QUICK, "--out", "a\u202eb"),
    "option-colours": ("dose", "good.toml", "--\x1b[31m"),
    "share-nan": ("shadows", "good.toml", "--share", "nan"),
    "share-infinite": ("shadows", "good.toml", "--share", "inf"),
    "smallest-nan": ("shadows", "good.toml", "--smallest", "nan"),
    "smallest-infinite": ("shadows", "good.toml", "--smallest", "inf"),
    "linings-nan": ("linings", "good.toml", "--precision", "nan"),
    "lining-empty": ("linings", "good.toml", "--lining", ""),
    "lining-book": ("linings", "good.toml", "--lining", "x" * 9_000),
    "price-nan": ("linings", "good.toml", "--lining", "foil", "--price", "foil=nan"),
    "price-infinite": ("linings", "good.toml", "--lining", "foil", "--price", "foil=1e999"),
    "price-below-zero": ("linings", "good.toml", "--lining", "foil", "--price", "foil=-1"),
    "price-of-nothing": ("linings", "good.toml", "--lining", "foil", "--price", "=1"),
    "lamps-none": ("lamps", "good.toml", "--number", "0"),
    "lamps-nan": ("lamps", "good.toml", "--spacing", "nan"),
    "lamps-infinite": ("lamps", "good.toml", "--at", "inf,1,1..1,1,1"),
    "lamps-book": ("lamps", "good.toml", "--lamp", "x" * 9_000),
    "design-no-wish": ("design", "good.toml"),
    "sheet-file": ("meter", "good.toml", "--sheet", "file"),
    "sheet-loop": ("meter", "good.toml", "--sheet", "loop"),
    "sheet-too-long": ("meter", "good.toml", "--sheet", LONG),
    "sheet-in-no-folder": ("meter", "good.toml", "--sheet", "no/sheet.html"),
    "parcel-out-loop": ("share", "good.toml", "--out", "loop"),
    "parcel-out-device": ("share", "good.toml", "--out", "/dev/null"),
    "parcel-out-too-long": ("share", "good.toml", "--out", f"{LONG}.zip"),
    "parcel-out-in-no-folder": ("share", "good.toml", "--out", "no/box.zip"),
    "parcel-results-loop": ("share", "good.toml", "--results", "loop"),
    "parcel-results-root": ("share", "good.toml", "--results", "/"),
    "parcel-guide-pipe": ("share", "good.toml", "--guide", "pipe"),
    "parcel-sheet-pipe": ("share", "good.toml", "--sheet", "pipe"),
    "parcel-sheet-device": ("share", "good.toml", "--sheet", "/dev/zero"),
    "parcel-none": ("dose", "none.zip"),
    "no-gap": ("leak", "good.toml"),
    "material-colours": ("materials", "\x1b[31m"),
    "start-too-long": ("start", LONG),
    "start-loop": ("start", "loop"),
    "start-pipe": ("start", "pipe"),
    "start-empty": ("start", ""),
    "command-colours": ("\x1b[31m",),
    "command-empty": ("",),
    "command-book": ("x" * 900,),
    "book-new-twice": ("log", "new", "--book", "book.db"),
    "book-new-loop": ("log", "new", "--book", "loop"),
    "book-new-too-long": ("log", "new", "--book", LONG),
    "book-new-nowhere": ("log", "new", "--book", "no/book.db"),
    "code-empty": ("log", "add", " ", "--owner", "AB", *BOOK),
    "code-twice": ("log", "add", "r1", "--owner", "AB", *BOOK),
    "code-lines": ("log", "add", "a\nb", "--owner", "AB", *BOOK),
    "code-book": ("log", "add", "x" * 9_000, "--owner", "AB", *BOOK),
    "owner-not-utf-8": ("log", "add", "R2", "--owner", NO_TEXT, *BOOK),
    "donnings-beyond": ("log", "add", "R2", "--owner", "AB", "--donnings", "9" * 30, *BOOK),
    "dose-limit-zero": ("log", "add", "R2", "--owner", "AB", "--dose-limit", "0 J/cm2", *BOOK),
    "dose-limit-huge": ("log", "add", "R2", "--owner", "AB", "--dose-limit", "1e300 J/cm2", *BOOK),
    "hours-nan": ("log", "lamp", "left", "fitted", "--hours", "nan", *BOOK),
    "timer-superscript": ("log", "start", "--lamps-burn", "indicator", "R1", "--timer", "\N{SUPERSCRIPT TWO}:30", *BOOK),
    "timer-for-ever": ("log", "start", "--lamps-burn", "indicator", "R1", "--timer", "9" * 30 + ":10", *BOOK),
    "timer-book": ("log", "start", "--lamps-burn", "indicator", "R1", "--timer", "9" * 9_000 + ":10", *BOOK),
    "timer-below-zero": ("log", "start", "--lamps-burn", "indicator", "R1", "--timer", "-5 min", *BOOK),
    "at-year-1": ("log", "start", "--lamps-burn", "indicator", "R1", "--timer", "5 min", "--at", "0001-01-01", *BOOK),
    "at-to-come": ("log", "start", "--lamps-burn", "indicator", "R1", "--timer", "5 min", "--at", "9999-12-31", *BOOK),
    "at-far-zone": ("log", "start", "--lamps-burn", "indicator", "R1", "--timer", "5 min", "--at", "2026-01-01T00:00+99:00", *BOOK),
    "cycle-beyond": ("log", "end", "9" * 30, *BOOK),
    "cycle-none": ("log", "end", "77", *BOOK),
    "respirator-none": ("log", "start", "--lamps-burn", "indicator", "R9", "--timer", "5 min", *BOOK),
    "respirator-twice": ("log", "start", "--lamps-burn", "indicator", "R1", "R1", "--timer", "5 min", *BOOK),
    "result-none": ("log", "start", "--lamps-burn", "indicator", "R1", "--result", "no", *BOOK),
    "result-pipe": ("log", "start", "--lamps-burn", "indicator", "R1", "--result", "pipe", *BOOK),
    "result-device": ("log", "start", "--lamps-burn", "indicator", "R1", "--result", "/dev/zero", *BOOK),
    "result-too-long": ("log", "start", "--lamps-burn", "indicator", "R1", "--result", LONG, *BOOK),
    "export-on-a-file": ("log", "export", "file", "--book", "book.db"),
    "export-too-long": ("log", "export", LONG, "--book", "book.db"),
}  # fmt: skip


@pytest.fixture(scope="module")
def desk(kennel, tmp_path_factory) -> Path:
    """Folder with a good scene, a logbook with one respirator, and odd files."""
    folder = tmp_path_factory.mktemp("desk")
    write_scene(folder, small_scene() | {"meter": [METER]}).rename(folder / "good.toml")
    os.mkfifo(folder / "pipe")
    (folder / "file").write_text("x")
    (folder / "loop").symlink_to("loop")
    (folder / "nowhere").symlink_to("no")
    for words in (
        ("log", "new", "--book", "book.db"),
        ("log", "add", "R1", "--owner", "AB", *BOOK),
    ):
        assert kennel.run(*words, folder=folder).status == 0
    return folder


@pytest.mark.parametrize("name", COMMANDS)
def test_a_broken_command_line_is_refused(kennel, desk, name):
    before = {path: path.lstat().st_mtime_ns for path in desk.iterdir()}
    answer = kennel.run(*COMMANDS[name], folder=desk)
    behaves(answer)
    assert answer.status == 2, answer.said
    assert any(word in answer.said for word in ("Mend: ", "Error: ", ": give ")), answer.said
    assert len(answer.said.splitlines()) <= 5
    assert {path: path.lstat().st_mtime_ns for path in desk.iterdir()} == before


VERDICT = {"state": "ready", "timer_s": 100.0, "reasons": []}
VERDICT |= {"holds_for": {"reading_date": None}}
RESULT = {
    "verdict": VERDICT,
    "made_at": "2026-01-01T08:00:00+00:00",
    "scene": {"title": "a box", "sha256": "0" * 64, "file": "gone.toml"},
}
PART = {"part": "facepiece", "dose_per_cycle_mJ_cm2": 1.0}
RESULTS = {
    "empty": "",
    "text": "hello",
    "list": "[]",
    "null": "null",
    "cut": json.dumps(RESULT)[:-9],
    "nan": json.dumps(RESULT | {"verdict": VERDICT | {"timer_s": float("nan")}}),
    "infinite": json.dumps(RESULT | {"verdict": VERDICT | {"timer_s": float("inf")}}),
    "below-zero": json.dumps(RESULT | {"verdict": VERDICT | {"timer_s": -5}}),
    "zero": json.dumps(RESULT | {"verdict": VERDICT | {"timer_s": 0}}),
    "none": json.dumps(RESULT | {"verdict": VERDICT | {"timer_s": None}}),
    "word": json.dumps(RESULT | {"verdict": VERDICT | {"timer_s": "soon"}}),
    "true": json.dumps(RESULT | {"verdict": VERDICT | {"timer_s": True}}),
    "thousands-of-digits": '{"verdict": {"timer_s": ' + "1" * 9_000 + "}}",
    "no-verdict": json.dumps({key: value for key, value in RESULT.items() if key != "verdict"}),
    "unknown-state": json.dumps(RESULT | {"verdict": VERDICT | {"state": "fine"}}),
    "reasons-of-text": json.dumps(RESULT | {"verdict": VERDICT | {"reasons": "none"}}),
    "made-to-come": json.dumps(RESULT | {"made_at": "2999-01-01T08:00:00+00:00"}),
    "made-at-the-end": json.dumps(RESULT | {"made_at": "9999-12-31T23:59:59-12:00"}),
    "made-yesterday": json.dumps(RESULT | {"made_at": "yesterday"}),
    "deep": '{"a":' * 100_000,
    "scene-of-text": json.dumps(RESULT | {"scene": "a box"}),
    "reuse-of-text": json.dumps(RESULT | {"reuse": "often"}),
    "parts-of-numbers": json.dumps(RESULT | {"reuse": {"parts": [1]}}),
    "dose-of-words": json.dumps(RESULT | {"reuse": {"parts": [PART | {"dose_per_cycle_mJ_cm2": "x"}]}}),
    "dose-below-zero": json.dumps(RESULT | {"reuse": {"parts": [PART | {"dose_per_cycle_mJ_cm2": -5}]}}),
    "dose-infinite": json.dumps(RESULT | {"reuse": {"parts": [PART | {"dose_per_cycle_mJ_cm2": float("inf")}]}}),
}  # fmt: skip


@pytest.mark.parametrize("name", [*RESULTS, "utf-16", "pipe", "folder", "loop"])
def test_a_broken_result_starts_no_cycle(kennel, desk, tmp_path, name):
    file = tmp_path / "result.json"
    if name in RESULTS:
        file.write_text(RESULTS[name])
    elif name == "utf-16":
        file.write_text(json.dumps(RESULT), encoding="utf-16")
    elif name == "pipe":
        os.mkfifo(file)
    elif name == "folder":
        file.mkdir()
    else:
        file.symlink_to(file)
    answer = kennel.run(
        "log", "start", "--lamps-burn", "indicator", "R1", "--result", tmp_path, *BOOK, folder=desk
    )
    behaves(answer)
    assert answer.status == 2, answer.said
    assert "Mend: " in answer.err
    listed = kennel.run("log", "list", "--book", "book.db", folder=desk)
    assert "a box" not in listed.out


def _damaged(whole: bytes, name: str) -> bytes:
    """A logbook file with some damage."""
    return {
        "empty": b"",
        "text": b"hello " * 100,
        "zeros": bytes(8192),
        "cut": whole[: len(whole) // 2],
        "head-only": whole[:100],
        "noise-inside": whole[:1000] + b"\xff" * 3000 + whole[4000:],
        "page-of-zeros": whole[:4096] + bytes(4096) + whole[8192:],
    }[name]


@pytest.mark.parametrize(
    "name",
    [
        "empty",
        "text",
        "zeros",
        "cut",
        "head-only",
        "noise-inside",
        "page-of-zeros",
        "future",
        "bare",
    ],
)
def test_a_broken_logbook_is_told_of_and_left_alone(kennel, desk, tmp_path, name):
    path = tmp_path / "broken.db"
    if name in ("future", "bare"):
        good = sqlite3.connect(desk / "book.db")
        numbers = {
            key: good.execute(f"PRAGMA {key}").fetchone()[0]
            for key in ("application_id", "user_version")
        }
        good.close()
        numbers["user_version"] += 90 if name == "future" else 0
        made = sqlite3.connect(path)
        made.execute("CREATE TABLE other (x)")
        for key, value in numbers.items():
            made.execute(f"PRAGMA {key} = {value}")
        made.commit()
        made.close()
    else:
        path.write_bytes(_damaged((desk / "book.db").read_bytes(), name))
    before = path.read_bytes()
    for words in (("list",), ("tallies",), ("add", "R7", "--owner", "AB", "--operator", "AB")):
        answer = kennel.run("log", *words, "--book", path, folder=tmp_path)
        behaves(answer)
        assert answer.status in (0, 2), answer.said
        assert answer.status == 2 or words[0] != "add" or _has(path, "R7")
        if answer.status == 2:
            assert "Mend: " in answer.err
            assert path.read_bytes() == before


def _has(path: Path, code: str) -> bool:
    """Whether a respirator really stands in a logbook."""
    book = sqlite3.connect(path)
    try:
        return (
            book.execute("SELECT 1 FROM respirator WHERE code = ?", (code,)).fetchone() is not None
        )
    finally:
        book.close()
