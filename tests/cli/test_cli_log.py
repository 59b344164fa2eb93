"""`raysim log` as a crew uses it, mistakes included."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from running import raysim_said, shows_cautions
from small_scenes import plate, write_scene

from raysim.scene.file.read import file_hash, read_scene, scene_files

LATELY = (date.today() - timedelta(days=30)).isoformat()
BY = ("--operator", "CD")
LIT = ("--lamps-burn", "indicator")


def verdict(**changes):
    """The verdict of a result.json, as far as the logbook reads it."""
    made = {"state": "ready", "timer_s": 7200.0, "reasons": []}
    return made | {"holds_for": {"reading_date": None}} | changes


RECORD = {
    "verdict": verdict(),
    "made_at": "2026-01-01T08:00:00+00:00",
    "scene": {"title": "x", "sha256": "ab" * 32, "file": "gone.toml"},
}


@pytest.fixture
def folder(tmp_path):
    """A folder with a logbook and two respirators."""
    assert raysim_said("log", "new", folder=tmp_path).status == 0
    for code in ("R1", "R2"):
        said = raysim_said("log", "add", code, "--owner", "AB", *BY, folder=tmp_path)
        assert said.status == 0, said.err
    return tmp_path


def test_a_day_of_a_crew(folder):
    said = raysim_said(
        "log", "start", *LIT, "R1", "R2", "--timer", "10:30", "--dose", "2 J/cm2", "--strap-dose",
        "1.5 J/cm2", "--at", "2026-01-02 08:00", *BY, folder=folder,
    )  # fmt: skip
    assert said.status == 0, said.err
    assert "Cycle 3 started: R1, R2; timer 10 min 30 s." in said.out
    assert shows_cautions(said.out)
    assert raysim_said("log", "end", "3", *BY, folder=folder).status == 0
    tallies = raysim_said("log", "tallies", folder=folder)
    rows = [line.split() for line in tallies.out.splitlines() if line.startswith("R")]
    assert [row[:8] for row in rows] == [
        [code, "AB", "1", "5", "0", "2", "120", "1.5"] for code in ("R1", "R2")
    ]
    assert shows_cautions(tallies.out)
    listed = raysim_said("log", "list", folder=folder)
    assert "2026-01-02 08:00" in listed.out
    assert shows_cautions(listed.out)
    assert raysim_said("log", "export", "csv", folder=folder).status == 0
    assert (folder / "csv" / "closing.csv").read_text().count("ended") == 1


def test_a_running_cycle_has_not_run_for_its_whole_timer(folder):
    start = ("log", "start", *LIT, "R1", "--timer", "10 min", "--dose", "1 J/cm2")
    said = raysim_said(*start, "--at", "2026-01-02 08:00", *BY, folder=folder)
    assert said.status == 0, said.err

    def cycle():
        listed = raysim_said("log", "list", "--json", folder=folder)
        return json.loads(listed.out)["cycles"][-1]

    assert (cycle()["outcome"], cycle()["ran_s"]) == ("running", None)
    raysim_said("log", "end", str(cycle()["cycle"]), *BY, folder=folder)
    assert (cycle()["outcome"], cycle()["ran_s"]) == ("ended", 600.0)


def test_setting_comes_from_a_result(folder):
    parts = [
        {"part": "facepiece", "dose_per_cycle_mJ_cm2": 50_000.0},
        {"part": "straps", "dose_per_cycle_mJ_cm2": 2500.0},
    ]
    record = RECORD | {"verdict": verdict(timer_s=601.0), "reuse": {"parts": parts}}
    (folder / "result").mkdir()
    (folder / "result" / "result.json").write_text(json.dumps(record))
    start = ("log", "start", *LIT, "R1", "--result", "result", "--at", "2026-01-02 08:00", *BY)
    said = raysim_said(*start, folder=folder)
    assert "timer 10 min 01 s" in said.out
    raysim_said("log", "end", "3", *BY, folder=folder)
    said = raysim_said(*start, folder=folder)
    assert "R1: this is its last cycle within the limits" in said.err
    raysim_said("log", "end", "5", *BY, folder=folder)
    said = raysim_said(*start, folder=folder)
    assert said.status == 2
    assert "dose limit of 120 J/cm2 (it would have 150)" in said.err
    assert "abababababab" in raysim_said("log", "list", folder=folder).out


def start_of(folder, result, *more):
    """What `raysim log start` says with a result of this content."""
    (folder / "result.json").write_text(json.dumps(RECORD | result))
    return raysim_said(
        "log",
        "start",
        *LIT,
        "R1",
        "--result",
        "result.json",
        *more,
        *BY,
        folder=folder,
    )


TO_DO = {"code": "leak_not_checked", "says": "no seam was surveyed", "mend": "survey it"}
UNREAD = {"code": "reading_missing", "says": "no meter was read", "mend": "read it"}
NEVER = {"code": "leak_above_limit", "says": "a seam leaks", "mend": "seal it"}


def test_a_verdict_that_forbids_use_starts_no_cycle(folder):
    found = verdict(state="do not use", timer_s=None, reasons=[NEVER, TO_DO])
    said = start_of(folder, {"verdict": found}, "--done", "leak_above_limit=it is fine")
    assert said.status == 2
    assert "DO NOT USE: a seam leaks. Mend: seal it" in said.err


def test_what_is_still_to_be_done_must_be_said_to_be_done(folder):
    found = {"verdict": verdict(state="ready after", reasons=[TO_DO])}
    said = start_of(folder, found)
    assert said.status == 2
    assert "not ready yet: no seam was surveyed. Mend: survey it; or" in said.err
    said = start_of(folder, found, "--done", "leak_not_checked=dark all round, EF")
    assert said.status == 0, said.err
    listed = raysim_said("log", "list", "--json", folder=folder)
    assert (
        "done before: leak_not_checked=dark all round, EF"
        in json.loads(listed.out)["cycles"][-1]["note"]
    )


TOO_LOW = {"code": "target_below_print", "says": "the target is low", "mend": "raise it"}


def test_one_word_does_not_stand_for_all_that_is_asked_for(folder):
    """What was said of the seams passed a lower target and a longer run as well."""
    found = {"verdict": verdict(state="ready after", reasons=[TO_DO, TOO_LOW])}
    seams, target = "leak_not_checked=dark all round, EF", "target_below_print=agreed, Dr GH"
    said = start_of(folder, found, "--done", seams)
    assert said.status == 2
    assert "the target is low. Mend: raise it; or" in said.err
    assert start_of(folder, found, "--done", seams, "--done", target).status == 0


@pytest.mark.parametrize("words", ["all is well", "touching=wiped", "leak_not_checked="])
def test_done_must_say_of_what(folder, words):
    found = {"verdict": verdict(state="ready after", reasons=[TO_DO])}
    said = start_of(folder, found, "--done", words)
    assert (said.status, said.err.count("\n")) == (2, 1)
    assert 'Mend: leak_not_checked="..."' in said.err


@pytest.mark.parametrize("code", ["run_interrupted", "reading_old", "reading_undated"])
def test_a_run_cannot_be_said_to_be_done(folder, code):
    reason = {"code": code, "says": "something is wrong", "mend": "do this"}
    found = {"verdict": verdict(state="ready after", reasons=[reason])}
    said = start_of(folder, found, "--done", f"{code}=done, EF")
    assert said.status == 2
    assert "not ready yet: something is wrong. Mend: do this" in said.err


def test_the_box_is_that_of_the_result(folder):
    """Any name was taken, and lamps of another name were then not followed."""
    said = start_of(folder, {}, "--box", "other")
    assert (said.status, said.err.count("\n")) == (2, 1)
    assert 'the result is of "x". Mend: leave --box out' in said.err
    assert start_of(folder, {}, "--box", "X").status == 0
    lamp = raysim_said("log", "lamp", "rear", "fitted", *BY, folder=folder)
    assert "lamp rear of x fitted" in lamp.out  # the only box of the logbook


def test_a_box_that_the_logbook_does_not_know_is_told(folder):
    lamp = ("log", "lamp", "rear", "fitted", *BY)
    none = raysim_said(*lamp, folder=folder)
    assert none.status == 2
    assert "which box is meant? Mend: give --box" in none.err
    assert raysim_said(*lamp, "--box", "locker", folder=folder).status == 0
    assert 'this logbook knows "locker", and no box "x"' in start_of(folder, {}).err


def test_a_reading_goes_through_the_scene_whatever_is_said_to_be_done(folder):
    """It can lengthen the timer, so a result from before it must not be run with."""
    found = {"verdict": verdict(state="ready after", reasons=[TO_DO, UNREAD])}
    said = start_of(folder, found, "--done", "reading_missing=meter read, EF")
    assert said.status == 2
    assert "no meter was read. Mend: read it, then run 'raysim dose' anew" in said.err


def test_a_reading_from_before_a_change_of_lamps_is_stale(folder):
    """Another run on the old reading made the box ready again."""
    lamp = ("log", "lamp", "rear", "--box", "x", *BY)
    for event in ("fitted", "fitted"):
        assert raysim_said(*lamp, event, folder=folder).status == 0
    anew = {"made_at": (datetime.now(UTC) + timedelta(minutes=1)).isoformat()}
    old, new = ({"reading_date": day} for day in (LATELY, date.today().isoformat()))
    said = start_of(folder, anew | {"verdict": verdict(holds_for=old)})
    assert said.status == 2
    assert "lamp rear of x was changed after it or after its reading" in said.err
    assert start_of(folder, anew | {"verdict": verdict(holds_for=new)}).status == 0


@pytest.mark.parametrize(
    ("key", "what"), [("reading_date", "meter reading"), ("seams_date", "survey of the seams")]
)
def test_a_reading_that_has_become_old_is_stale(folder, key, what):
    """A box that was ready once stayed ready for years."""
    day = (date.today() - timedelta(days=366)).isoformat()
    held = {"reading_date": LATELY, "seams_date": LATELY}
    assert start_of(folder, {"verdict": verdict(holds_for=held)}).status == 0
    raysim_said("log", "void", "3", "--note", "x", *BY, folder=folder)
    said = start_of(folder, {"verdict": verdict(holds_for=held | {key: day})})
    assert (said.status, said.err.count("\n")) == (2, 1)
    assert f"its {what} is of {day}, more than a year ago" in said.err


def test_every_cycle_asks_whether_all_lamps_burn(folder):
    said = raysim_said("log", "start", "R1", "--timer", "10 min", *BY, folder=folder)
    assert said.status == 2
    assert "give --lamps-burn indicator or --lamps-burn meter" in said.err


def test_a_result_of_a_scene_that_has_changed_is_stale(folder):
    scene = write_scene(folder)
    record = {"scene": {"title": "x", "file": "scene.toml"}}
    record["scene"]["sha256"] = file_hash(scene_files(scene, read_scene(scene)))
    assert start_of(folder, record).status == 0
    raysim_said("log", "end", "3", "--at", "2030-01-01", *BY, folder=folder)
    raysim_said("log", "void", "3", "--note", "x", *BY, folder=folder)
    for change in (lambda: plate(41.0).export(folder / "plate.ply"), lambda: scene.write_text("x")):
        change()
        said = start_of(folder, record)
        assert said.status == 2
        assert "scene.toml or one of its meshes has changed since" in said.err


def test_a_result_from_before_a_change_of_lamps_is_stale(folder):
    lamp = ("log", "lamp", "rear", "--box", "x", *BY)
    assert raysim_said(*lamp, "fitted", "--hours", "10", folder=folder).status == 0
    assert start_of(folder, {}).status == 0  # the first entry of a lamp is no change
    raysim_said("log", "void", "4", "--note", "x", *BY, folder=folder)
    assert raysim_said(*lamp, "fitted", folder=folder).status == 0
    said = start_of(folder, {})
    assert said.status == 2
    assert "lamp rear of x was changed after it" in said.err
    assert (
        start_of(folder, {"made_at": (datetime.now(UTC) + timedelta(minutes=1)).isoformat()}).status
        == 0
    )


def test_a_lamp_older_than_the_timer_allows_for_starts_no_cycle(folder):
    """It was only warned of, and the load then got too little."""
    fitted = ("log", "lamp", "rear", "fitted", "--hours", "7999", "--box", "x", *BY)
    assert raysim_said(*fitted, folder=folder).status == 0
    elsewhere = start_of(folder, {"scene": RECORD["scene"] | {"title": "other"}})
    assert (elsewhere.status, "lamp rear" in elsewhere.err) == (0, False)
    raysim_said("log", "void", "4", "--note", "x", *BY, folder=folder)
    longer = start_of(folder, {"lamp_life": {"holds_until_h": 9000.0}})
    assert (longer.status, longer.err.count("lamp rear")) == (0, 0)
    raysim_said("log", "void", "6", "--note", "x", *BY, folder=folder)
    short = {"lamp_life": {"holds_until_h": 8000.0}}
    said = start_of(folder, short)
    assert (said.status, said.err.count("\n")) == (2, 1)
    line = "lamp rear has 8,001.0 h by the end of this cycle, and the timer holds until 8,000 h"
    assert line in said.err
    by_hand = ("log", "start", *LIT, "R1", "--timer", "2 h", "--box", "x", *BY)
    assert line in raysim_said(*by_hand, folder=folder).err  # the rated life
    passed = start_of(folder, short, "--override", "read yesterday, GH")
    assert passed.status == 0
    assert line in passed.err


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("14:20", 860), ("4:32:01", 16321), ("4 h 32 min 01 s", 16321), ("1 h 05 min", 3900),
        ("2h", 7200), ("45 s", 45), ("90:00", 5400), ("1.5 h", 5400),
    ],
)  # fmt: skip
def test_times_are_read_as_the_report_writes_them(folder, text, seconds):
    said = raysim_said(
        "log",
        "start",
        *LIT,
        "R1",
        "--timer",
        text,
        "--json",
        *BY,
        folder=folder,
    )
    assert json.loads(said.out)["timer_s"] == seconds


@pytest.mark.parametrize("text", ["4:32:1", "4:72:00", "1:2:3:4", "", "5", "4 h 3", "4:75"])
def test_times_that_can_be_misread_are_refused(folder, text):
    said = raysim_said("log", "start", *LIT, "R1", "--timer", text, *BY, folder=folder)
    assert (said.status, said.out) == (2, "")


def test_an_interruption_is_no_longer_than_the_cycle(folder):
    """Wear beyond the timer would be lost from the tally."""
    start = ("log", "start", *LIT, "R1", "--timer", "10 min", "--dose", "1 J/cm2", *BY)
    raysim_said(*start, "--at", "2026-01-02 08:00", folder=folder)
    close = ("log", "interrupted", "3", *BY)
    for ran, at, word in (
        ("20 h", "2026-01-02 09:00", "its lamps were not on for 20 h"),
        ("30 min", "2026-01-02 09:00", "more than its timer of 10 min"),
        ("9 min", "2026-01-02 08:08", "its lamps were not on for 9 min"),
    ):
        said = raysim_said(*close, "--ran", ran, "--at", at, folder=folder)
        assert (said.status, said.err.count("\n")) == (2, 1)
        assert word in said.err
    said = raysim_said(*close, "--ran", "9 min", "--at", "2026-01-02 08:09", folder=folder)
    assert said.status == 0, said.err


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("add", "R1", "--owner", "AB", *BY), "in the logbook already"),
        (("start", *LIT, "R9", "--timer", "10 min", *BY), "did you mean R"),
        (("start", *LIT, "R1", "R1", "--timer", "10 min", *BY), "named twice"),
        (("start", *LIT, "R1", *BY), "give either --result or --timer"),
        (("start", *LIT, "R1", "--timer", "soon", *BY), "soon"),
        (("start", *LIT, "R1", "--timer", "0 s", *BY), "timer setting"),
        (("start", *LIT, "R1", "--timer", "10 min", "--at", "yesterday", *BY), "yesterday"),
        (("start", *LIT, "R1", "--result", "nothing", *BY), "cannot be read"),
        (("end", "77", *BY), "there is no cycle 77"),
        (("tallies", "--book", "elsewhere.db"), "raysim log new"),
        (("new",), "exists already"),
        (("correct", "R1", "--note", "x", *BY), "nothing to correct"),
    ],
)
def test_mistakes_are_one_clear_line(folder, words, expected):
    before = (folder / "raysim-logbook.db").read_bytes()
    said = raysim_said("log", *words, folder=folder)
    assert said.status == 2
    assert said.out == ""
    assert expected in " ".join(said.err.split())
    assert (folder / "raysim-logbook.db").read_bytes() == before


def test_an_empty_logbook_says_so_and_not_headings_alone(tmp_path):
    raysim_said("log", "new", folder=tmp_path)
    for command in ("list", "tallies", "lamps"):
        said = raysim_said("log", command, folder=tmp_path)
        assert said.status == 0
        assert "Nothing is entered yet." in said.out
