"""Tests of the verdict at the foot of the card: the record's, for this very draft, or no time."""

import json

import pytest
from small_scenes import write_scene

from raysim.dose.simulate import load_scene
from raysim.page.card import card
from raysim.page.document import Document
from raysim.page.rows import rows
from raysim.page.verdict import draft_hash, result_folder, verdict

READY = {"state": "ready", "timer_s": 600.0, "calculated_s": 600.0, "reasons": []}


@pytest.fixture
def document(tmp_path):
    return Document(write_scene(tmp_path))


def write(document: Document, **changed) -> None:
    """A result.json of the draft as it is, with a verdict that is ready unless told otherwise."""
    held = {"reading_date": None, "seams_date": None} | changed.pop("holds_for", {})
    record = {
        "verdict": READY | {"holds_for": held} | changed,
        "scene": {"title": "t", "sha256": draft_hash(document), "file": "scene.toml"},
        "meters": [],
    }
    folder = result_folder(document.path)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "result.json").write_text(json.dumps(record))


def test_the_hash_of_a_draft_is_that_of_the_scene_once_it_is_saved(document):
    assert draft_hash(document) == load_scene(document.path).sha256
    document.edit({"do": "set", "path": ["title"], "value": "other"}, "")
    assert draft_hash(document) != load_scene(document.path).sha256
    document.save()
    assert draft_hash(document) == load_scene(document.path).sha256


def test_a_verdict_that_is_ready_shows_its_time_until_anything_changes(document):
    assert verdict(document)["state"] == "none"
    write(document)
    found = verdict(document)
    assert (found["state"], found["time"], found["label"][:5]) == ("ready", "10 min 00 s", "Timer")
    document.edit({"do": "set", "path": ["title"], "value": "other"}, "")
    assert (verdict(document)["state"], verdict(document)["time"]) == ("stale", None)
    document.undo()
    assert verdict(document)["time"] == "10 min 00 s"
    mesh = document.path.parent / "plate.ply"
    mesh.write_bytes(mesh.read_bytes() + b"\n")
    assert (verdict(document)["state"], verdict(document)["time"]) == ("stale", None)


@pytest.mark.parametrize("timer", [None, 0.0, -1.0])
def test_no_time_is_shown_where_there_is_none(document, timer):
    write(document, timer_s=timer)
    assert verdict(document)["time"] is None


def test_do_not_use_shows_no_time_whatever_the_record_holds(document):
    reason = {"code": "reading_disagrees", "says": "it disagrees", "mend": "find out why"}
    write(document, state="do not use", reasons=[reason])
    found = verdict(document)
    assert (found["state"], found["says"], found["time"]) == ("do not use", "DO NOT USE", None)
    lines = {one["line"]: one for one in card(document, rows(document.text))["lines"]}
    assert not lines["timer"]["ticked"]


def test_ready_after_is_not_ticked_and_its_time_is_called_a_later_one(document):
    reason = {"code": "reading_missing", "says": "no reading", "mend": "read"}
    write(document, state="ready after", reasons=[reason])
    assert verdict(document)["label"].startswith("Then, unless the reading makes it longer")
    lines = {one["line"]: one for one in card(document, rows(document.text))["lines"]}
    assert not lines["timer"]["ticked"]
    assert "not ready yet" in lines["timer"]["says"]


@pytest.mark.parametrize("day", ["2020-01-01", "rubbish"])
def test_a_reading_or_survey_too_old_makes_it_stale(document, day):
    for key in ("reading_date", "seams_date"):
        write(document, holds_for={key: day})
        assert (verdict(document)["state"], verdict(document)["time"]) == ("stale", None)


@pytest.mark.parametrize("text", ["", "{", "[]", "{}", '{"verdict": {"state": "fine"}}', "NaN"])
def test_a_result_that_is_none_shows_nothing(document, text):
    folder = result_folder(document.path)
    folder.mkdir(parents=True)
    (folder / "result.json").write_text(text)
    assert (verdict(document)["state"], verdict(document)["time"]) == ("none", None)
