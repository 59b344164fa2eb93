"""`raysim meter` as whoever holds the meter runs it."""

import errno
import json
import os
import re
from datetime import date

import pytest
from running import QUICK, raysim_said, shows_cautions
from small_scenes import small_scene, write_scene

import raysim.dose.agreement
import raysim.dose.simulate

TODAY = date.today().isoformat()
POINTS = [
    {"name": "by the left tube", "at": [70, 60, 170], "facing": [-1, -0.7, 0]},
    {"name": "by the right tube", "at": [230, 190, 170], "facing": [1, 0.7, 0]},
    {"name": "ceiling", "at": [150, 60, 310], "facing": [0, 0, 1]},
]


def with_points(folder, readings=(None, None, None)):
    data = small_scene()
    data["meter"] = [
        point | ({} if r is None else {"reading": f"{r} mW/cm2", "read_on": TODAY})
        for point, r in zip(POINTS, readings, strict=True)
    ]
    write_scene(folder, data)
    return folder


@pytest.fixture(scope="module")
def predicted(tmp_path_factory):
    """Predictions of the points, mW/cm2."""
    said = raysim_said(
        "meter", "scene.toml", "--json", folder=with_points(tmp_path_factory.mktemp("meter"))
    )
    assert said.status == 0, said.err
    return [point["irradiance_mW_cm2"] for point in json.loads(said.out)["points"]]


@pytest.fixture(autouse=True)
def few_paths(monkeypatch):
    """Fewer paths than usual to the points: readings here differ from what is due by far more."""
    monkeypatch.setattr(raysim.dose.simulate, "METER_PATHS", 2048)  # an eighth is traced
    monkeypatch.setattr(raysim.dose.agreement.predicted, "__defaults__", (256,))


def test_without_readings_it_predicts_and_writes_a_sheet(tmp_path, predicted):
    with_points(tmp_path)
    said = raysim_said("meter", "scene.toml", "--sheet", "sheet.html", folder=tmp_path)
    assert said.status == 0, said.err
    assert said.out.count("no reading yet") == 3
    first = " ".join(said.out.split("\n\n")[1].split())  # below the title
    assert re.match(r'At "by the left tube" a meter should read [\d.]+ ± [\d.]+ mW/cm2', first)
    assert first.index("Hold the head") < first.index("Doubt: ± U is")
    assert shows_cautions(said.out)
    sheet = (tmp_path / "sheet.html").read_text()
    assert "70 from the left wall, 60 from the door, 170 above the floor" in sheet
    assert "to the left, tilted 35 degrees to the door" in sheet
    assert "left, 35° door" in said.out  # on one line: it filled six
    assert "injures eyes and skin" in sheet
    assert said.out.rstrip().endswith("Sheet: sheet.html")
    for text in (said.words, sheet):  # a figure with U says what is in U, and what is not
        assert "U covers the reflectances from their low to their high ends" in text
        assert "dirt and air temperature are not in it" in text
    again = raysim_said("meter", "scene.toml", "--sheet", "sheet.html", folder=tmp_path)
    assert (again.status, again.err.count("\n")) == (2, 1)
    assert "stands there already" in again.err
    assert (tmp_path / "sheet.html").read_text() == sheet
    lost = raysim_said("meter", "scene.toml", "--sheet", "none/s.html", folder=tmp_path)
    assert "there is no such folder" in lost.err
    assert "<script" not in sheet


def test_a_sheet_that_cannot_be_written_is_refused_in_one_line(tmp_path, monkeypatch):
    """It was a traceback, after all the tracing. Root may write anywhere, so rights are feigned."""
    with_points(tmp_path)
    words = ("meter", "scene.toml", "--sheet", "s.html")
    with monkeypatch.context() as feigned:
        feigned.setattr(os, "access", lambda *_: False)
        said = raysim_said(*words, folder=tmp_path)
    assert (said.status, said.err.count("\n"), said.out) == (2, 1, "")
    assert "--sheet s.html: cannot be written" in said.err

    def full(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as feigned:
        feigned.setattr(os, "fsync", full)
        said = raysim_said(*words, folder=tmp_path)
    assert (said.status, said.err.count("\n")) == (2, 1), said.err
    assert "--sheet s.html: cannot be written (No space left on device)" in said.err
    assert not (tmp_path / "s.html").exists()


def test_json_says_where_each_point_is_and_what_the_figures_rest_on(tmp_path):
    said = raysim_said("meter", "scene.toml", "--json", "--seed", "7", folder=with_points(tmp_path))
    record = json.loads(said.out)
    assert (record["seed"], record["coverage_factor_k"]) == (7, 2.0)
    for told, point in zip(record["points"], POINTS, strict=True):
        assert told["at_mm"] == point["at"]
        length = sum(x * x for x in point["facing"]) ** 0.5
        assert told["facing"] == pytest.approx([x / length for x in point["facing"]])


def test_a_dead_lamp_is_found(tmp_path, predicted):
    """The left lamp gives 40 %: readings near it fall, those near the right one hardly."""
    with_points(tmp_path, (0.45 * predicted[0], predicted[1], 0.8 * predicted[2]))
    said = raysim_said("meter", "scene.toml", "--json", "--no-time", folder=tmp_path)
    assert said.status == 3, said.err  # it disagrees, timer or not
    record = json.loads(said.out)
    left, right = (lamp["output"] for lamp in record["fit"]["lamps"])
    assert left < 0.6 < 0.85 < right
    assert record["points"][0]["verdict"].startswith("does not agree, less light")
    assert record["points"][1]["verdict"] == "agrees"


def test_a_head_without_cosine_correction_is_named_with_its_source(tmp_path):
    data = small_scene()
    low = {"name": "flat", "at": [150, 20, 150], "facing": [0, 1, 0], "response": "flat window"}
    high = {"name": "straight", "at": [150, 20, 150], "facing": [0, 1, 0]}
    data["meter"] = [low, high]
    write_scene(tmp_path, data)
    said = raysim_said("meter", "scene.toml", "--json", folder=tmp_path)
    points = {p["name"]: p for p in json.loads(said.out)["points"]}
    assert points["flat"]["response"] == "flat window"
    assert points["flat"]["irradiance_mW_cm2"] < points["straight"]["irradiance_mW_cm2"]
    words = raysim_said("meter", "scene.toml", folder=tmp_path)
    assert "flat (head: flat window)" in words.out
    assert "Malitson 1965" in words.words


def test_a_response_that_is_none_is_one_clear_line(tmp_path):
    data = small_scene()
    data["meter"] = [{"name": "m", "at": [9, 9, 9], "facing": [0, 1, 0], "response": "flat windo"}]
    write_scene(tmp_path, data)
    said = raysim_said("meter", "scene.toml", folder=tmp_path)
    assert said.status == 2
    assert "did you mean flat window" in said.err
    assert "Traceback" not in said.err


def test_readings_that_disagree_leave_no_timer(tmp_path, predicted):
    """It was: set the longer time."""
    with_points(tmp_path, tuple(0.33 * p for p in predicted))
    said = raysim_said("meter", "scene.toml", *QUICK, folder=tmp_path)
    assert said.status == 3, said.err
    assert "DO NOT USE. There is no timer setting" in said.words
    first = " ".join(said.out.split("\n\n")[1].split())  # below the title
    assert first.startswith("DO NOT USE. ")
    assert "mW/cm2 was read where" in first
    assert said.words.count('At "by the left tube"') == 1
    assert "for information only" in said.words
    assert "Set the timer" not in said.words
    assert shows_cautions(said.out)


def test_readings_that_agree_leave_a_timer_that_is_no_shorter(tmp_path, predicted):
    with_points(tmp_path, tuple(0.93 * p for p in predicted))
    said = raysim_said("meter", "scene.toml", *QUICK, folder=tmp_path)
    assert said.status == 0, said.err
    assert "hen set the timer to" in said.words
    assert "some light is missing" in said.words
    assert {"by the left tube", "E_n"} <= {*re.split(r"\s{2,}", said.out)}  # no column is cut off
    assert "find out why" not in said.words
    told = raysim_said("meter", "scene.toml", *QUICK, "--json", folder=tmp_path)
    record = json.loads(told.out)
    assert record["verdict"]["timer_s"] > record["verdict"]["calculated_s"] > 0.0
    assert record["readings"]["agree"]
    assert record["strip_at"]["object"] == "plate"
    assert (
        max(cause["time_s"] for cause in record["readings"]["causes"])
        == record["verdict"]["timer_s"]
    )


def test_the_prediction_is_for_lamps_of_their_age_at_the_reading(tmp_path, predicted, monkeypatch):
    """20 % are lost in 8000 h by the scene's default: at 4000 h a lamp gives 90 %."""
    monkeypatch.undo()  # all paths, as the predictions have
    data = small_scene()
    for lamp in data["lamp"]:
        lamp["hours"] = 4000
    reading = {"reading": f"{predicted[0]} mW/cm2"}
    data["meter"] = [
        POINTS[0] | reading | {"lamp_hours": 0},
        POINTS[0] | reading | {"name": "now"},
        POINTS[0] | reading | {"name": "each", "lamp_hours": [4000.0] * len(data["lamp"])},
    ]
    write_scene(tmp_path, data)
    said = raysim_said("meter", "scene.toml", "--no-time", "--json", folder=tmp_path)
    then, now, each = (point["irradiance_mW_cm2"] for point in json.loads(said.out)["points"])
    assert then == pytest.approx(predicted[0], rel=1e-12)
    assert now == pytest.approx(0.9 * then, rel=0.02)  # other paths, and ageing of 20 %
    assert each == pytest.approx(now, rel=0.02)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"lamp_hours": 10}, 'lamp "left" had 10 h when it was read, and has 0 h now'),
        ({"lamp_hours": [0.0]}, "lamp_hours has 1 numbers for 2 lamps"),
        ({"lamp_hours": 0, "reading": None}, "give reading too"),
    ],
)
def test_hours_that_cannot_be_are_one_clear_line(tmp_path, changes, words):
    data = small_scene()
    point = POINTS[0] | {"reading": "1 mW/cm2"} | changes
    data["meter"] = [{key: value for key, value in point.items() if value is not None}]
    write_scene(tmp_path, data)
    said = raysim_said("meter", "scene.toml", folder=tmp_path)
    assert (said.status, said.err.count("\n")) == (2, 1)
    assert words in said.err


def test_places_are_proposed_as_lines_that_the_scene_takes(tmp_path):
    """With the spot for a dosimeter strip; the scene needs no [[meter]] of its own."""
    path = write_scene(tmp_path)
    said = raysim_said("meter", "scene.toml", "--places", *QUICK, folder=tmp_path)
    assert said.status == 0, said.err
    assert "A dosimeter strip belongs on the spot that sets the time: plate," in said.words
    assert "READY AFTER a meter check" in said.words
    assert "No meter was read" not in said.words  # it sends to another place than these
    assert shows_cautions(said.out)
    lines = said.out[said.out.index("# Calculated") : said.out.index("  verdict ")]
    assert lines.count("[[meter]]") == 3
    path.write_text(path.read_text() + lines)
    assert raysim_said("check", "scene.toml", folder=tmp_path).status == 0
    told = raysim_said("meter", "scene.toml", "--json", folder=tmp_path)
    points = json.loads(told.out)["points"]
    assert max(point["reflected_share"] for point in points) > 0.8


def test_a_scene_without_points_is_told_so(tmp_path):
    write_scene(tmp_path)
    said = raysim_said("meter", "scene.toml", folder=tmp_path)
    assert said.status == 2
    assert "no [[meter]]. Mend: 'raysim meter --places' proposes some" in said.err


def test_a_reading_of_zero_leaves_no_time_however_the_others_agree(tmp_path, predicted):
    with_points(tmp_path, (predicted[0], 0.0, predicted[2]))
    said = raysim_said("meter", "scene.toml", *QUICK, folder=tmp_path)
    assert said.status == 3, said.err
    assert 'At "by the right tube" 0 mW/cm2 was read' in said.words
    assert "does not agree, no light was read" in said.words
    assert "DO NOT USE" in said.words
    told = raysim_said("meter", "scene.toml", *QUICK, "--json", folder=tmp_path)
    assert json.loads(told.out)["verdict"]["timer_s"] is None
    with_points(tmp_path, (0.0, None, None))
    alone = raysim_said("meter", "scene.toml", "--no-time", folder=tmp_path)
    assert "no light was read" in alone.words
    assert alone.status == 3
    places = raysim_said("meter", "scene.toml", "--places", *QUICK, folder=tmp_path)
    assert places.words.index("DO NOT USE") < places.words.index("Paste the lines")


def test_a_reading_that_disagrees_reaches_dose_report_card_and_logbook(tmp_path, predicted):
    """`meter` knew of it, and nothing else did."""
    with_points(tmp_path, (0.33 * predicted[0], predicted[1], None))
    dose = ("dose", "scene.toml", "--out", "out", "--no-pictures", "--force", *QUICK)
    said = raysim_said(*dose, folder=tmp_path)
    assert said.status == 3, said.err
    assert "A meter reading does not agree with the calculation. Mend: find out why" in said.words
    assert "Set the timer" not in said.words
    record = json.loads((tmp_path / "out/result.json").read_text())
    assert record["verdict"]["timer_s"] is None
    assert record["verdict"]["calculated_s"] > 0.0
    assert [meter["agrees"] for meter in record["meters"]] == [False, True, None]
    assert record["reuse"] is None
    assert record["lamp_life"] is None
    for page in ("report.html", "card.html"):
        text = (tmp_path / "out" / page).read_text()
        assert "does not agree" in text
        assert "Set the timer" not in text
    assert "DO NOT USE" in (tmp_path / "out/card.html").read_text()
    raysim_said("log", "new", "--book", "book.db", folder=tmp_path)
    raysim_said(
        "log",
        "add",
        "R1",
        "--owner",
        "XY",
        "--book",
        "book.db",
        "--operator",
        "AB",
        folder=tmp_path,
    )
    log = (
        "log",
        "start",
        "--lamps-burn",
        "indicator",
        "R1",
        "--result",
        "out",
        "--book",
        "book.db",
        "--operator",
        "AB",
    )
    started = raysim_said(*log, folder=tmp_path)
    assert (started.status, started.err.count("\n")) == (2, 1)
    assert "a meter reading does not agree with the calculation" in started.err
    with_points(tmp_path, (predicted[0], predicted[1], None))
    assert raysim_said(*dose, folder=tmp_path).status == 0
    seams = ("--done", "leak_not_checked=dark, AB")
    both = raysim_said(*log, *seams, folder=tmp_path)
    assert "the lining is not checked: every reading is mainly light straight from" in both.err
    lining = ("--done", "lining_not_checked=new foil, AB")
    assert raysim_said(*log, *seams, *lining, folder=tmp_path).status == 0
