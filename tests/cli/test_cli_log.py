"""`raysim log` as a crew uses it, mistakes included."""

import json

import pytest
from running import raysim_said, shows_cautions

BY = ("--operator", "CD")


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
        "log", "start", "R1", "R2", "--timer", "10:30", "--dose", "2 J/cm2", "--strap-dose",
        "1.5 J/cm2", "--at", "2026-01-02 08:00", *BY, folder=folder,
    )  # fmt: skip
    assert said.status == 0, said.err
    assert "Cycle 3 started: R1, R2; timer 10 min 30 s." in said.out
    assert shows_cautions(said.out)
    assert raysim_said("log", "end", "3", *BY, folder=folder).status == 0
    tallies = raysim_said("log", "tallies", folder=folder)
    rows = [line.split() for line in tallies.out.splitlines() if line.startswith("R")]
    assert [row[:8] for row in rows] == [
        [code, "AB", "1", "5", "0", "2", "10", "1.5"] for code in ("R1", "R2")
    ]
    assert shows_cautions(tallies.out)
    listed = raysim_said("log", "list", folder=folder)
    assert "2026-01-02 08:00" in listed.out
    assert shows_cautions(listed.out)
    assert raysim_said("log", "export", "csv", folder=folder).status == 0
    assert (folder / "csv" / "closing.csv").read_text().count("ended") == 1


def test_a_running_cycle_has_not_run_for_its_whole_timer(folder):
    start = ("log", "start", "R1", "--timer", "10 min", "--dose", "1 J/cm2")
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
        {"part": "facepiece", "dose_per_cycle_mJ_cm2": 4000.0},
        {"part": "straps", "dose_per_cycle_mJ_cm2": 2500.0},
    ]
    record = {
        "timer_s": 601.0,
        "scene": {"title": "invented", "sha256": "ab" * 32},
        "reuse": {"parts": parts},
    }
    (folder / "result").mkdir()
    (folder / "result" / "result.json").write_text(json.dumps(record))
    start = ("log", "start", "R1", "--result", "result", "--at", "2026-01-02 08:00", *BY)
    said = raysim_said(*start, folder=folder)
    assert "timer 10 min 01 s" in said.out
    raysim_said("log", "end", "3", *BY, folder=folder)
    said = raysim_said(*start, folder=folder)
    assert "R1: this is its last cycle within the limits" in said.err
    raysim_said("log", "end", "5", *BY, folder=folder)
    said = raysim_said(*start, folder=folder)
    assert said.status == 2
    assert "dose limit of 10 J/cm2 (it would have 12)" in said.err
    assert "abababababab" in raysim_said("log", "list", folder=folder).out


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("add", "R1", "--owner", "AB", *BY), "in the logbook already"),
        (("start", "R9", "--timer", "10 min", *BY), "did you mean R"),
        (("start", "R1", "R1", "--timer", "10 min", *BY), "named twice"),
        (("start", "R1", *BY), "give either --result or --timer"),
        (("start", "R1", "--timer", "soon", *BY), "soon"),
        (("start", "R1", "--timer", "0 s", *BY), "timer setting"),
        (("start", "R1", "--timer", "10 min", "--at", "yesterday", *BY), "yesterday"),
        (("start", "R1", "--result", "nothing", *BY), "cannot be read"),
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
