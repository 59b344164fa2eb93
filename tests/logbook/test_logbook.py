"""The logbook: tallies, limits, corrections that are new rows, hours of lamps."""

import csv
import io
import sqlite3
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from raysim.logbook.book import LogbookError, add_entry, new_logbook, open_logbook, writing
from raysim.logbook.cycles import Setting, close_cycle, cycles, get_cycle, start_cycle
from raysim.logbook.export import export_csv
from raysim.logbook.lamps import enter_lamp, lamp_ages
from raysim.logbook.respirators import (
    RETIRED,
    Respirator,
    add_respirator,
    correct_respirator,
    get,
    tallies,
    tally,
)
from raysim.logbook.schema import KEPT

J = 1e4  # J/m2 per J/cm2
SETTING = Setting("box", 600.0, "invented box", "ab" * 32, dose=2.0 * J, strap_dose=1.0 * J)
EARLIER = datetime.now(UTC) - timedelta(days=2)


def with_respirators(book, *codes, **limits):
    for code in codes:
        add_respirator(book, Respirator(code, "AB", **limits), "CD")


def run(book, *codes, setting=SETTING, **keys):
    """A whole cycle, started two days ago and ended."""
    number, warnings = start_cycle(book, codes, setting, "CD", at=EARLIER, **keys)
    close_cycle(book, number, "ended", "CD")
    return number, warnings


def of(book, code):
    return tally(book, get(book, code))


def test_defaults_of_limits_are_the_stated_assumptions(book):
    with_respirators(book, "R1")
    r = get(book, "r1")  # the case of letters does not matter
    assert (r.code, r.donnings_limit, r.cycles_limit) == ("R1", 5, 10)
    assert (r.dose_limit, r.strap_dose_limit) == (120.0 * J, 240.0 * J)


def test_cycles_and_doses_add_up(book):
    with_respirators(book, "R1", "R2")
    run(book, "R1", "R2")
    run(book, "R1")
    one, two = tallies(book)
    assert (one.ended, two.ended) == (2, 1)
    assert (one.dose, one.strap_dose) == (pytest.approx(4.0 * J), pytest.approx(2.0 * J))
    assert two.dose == pytest.approx(2.0 * J)


def test_interrupted_cycle_is_wear_in_proportion_but_no_treatment(book):
    with_respirators(book, "R1")
    number, _ = start_cycle(book, ["R1"], SETTING, "CD", at=EARLIER)
    assert of(book, "R1").dose == pytest.approx(2.0 * J)  # running: taken in full
    close_cycle(book, number, "interrupted", "CD", ran=150.0)
    assert of(book, "R1").cycles == 0
    assert of(book, "R1").interrupted == 1
    assert of(book, "R1").dose == pytest.approx(0.5 * J)


def test_void_cycle_counts_for_nothing(book):
    with_respirators(book, "R1")
    enter_lamp(book, "box", "left", "fitted", hours=0.0, operator="CD", at=EARLIER)
    number, _ = start_cycle(book, ["R1"], SETTING, "CD")
    close_cycle(book, number, "void", "CD", note="lamps never came on")
    assert (of(book, "R1").cycles, of(book, "R1").dose) == (0, 0.0)
    assert lamp_ages(book)[0].hours == 0.0


def test_limit_of_donnings_refuses_the_next_cycle(book):
    with_respirators(book, "R1", dose_limit=1e9, strap_dose_limit=1e9)
    warned = [run(book, "R1")[1] for _ in range(5)]
    assert warned[:4] == [[]] * 4
    assert warned[4] == ["R1: this is its last cycle within the limits"]
    with pytest.raises(LogbookError, match="limit of 5 donnings"):
        start_cycle(book, ["R1"], SETTING, "CD")
    assert of(book, "R1").cycles == 5


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        ({"dose_limit": 5.0 * J}, "dose limit of 5 J/cm2"),
        ({"strap_dose_limit": 2.5 * J}, "strap dose limit of 2.5 J/cm2"),
        ({"cycles_limit": 2}, "limit of 2 cycles"),
    ],
)
def test_each_limit_binds_after_two_cycles(book, limits, words):
    with_respirators(book, "R1", **limits)
    run(book, "R1")
    run(book, "R1")
    with pytest.raises(LogbookError, match=words):
        start_cycle(book, ["R1"], SETTING, "CD")


def test_a_dose_that_just_fills_the_limit_is_allowed(book):
    with_respirators(book, "R1", dose_limit=0.3 * J)
    third = Setting("box", 600.0, dose=0.1 * J, strap_dose=0.0)
    for _ in range(3):  # 0.1 + 0.1 + 0.1 is not 0.3 in binary
        run(book, "R1", setting=third)
    with pytest.raises(LogbookError, match="dose limit"):
        run(book, "R1", setting=third)


def test_limit_can_be_overridden_with_a_reason_that_stays(book):
    with_respirators(book, "R1", cycles_limit=1)
    run(book, "R1")
    number, warnings = start_cycle(book, ["R1"], SETTING, "CD", overridden="none left, chief GH")
    assert warnings == ["R1: passes its limit of 1 cycles"]
    assert get_cycle(book, number).note == "limits overridden: none left, chief GH"


def test_one_respirator_past_its_limit_keeps_the_whole_cycle_out(book):
    with_respirators(book, "R1", "R2", cycles_limit=1)
    run(book, "R2")
    before = len(cycles(book))
    with pytest.raises(LogbookError, match="R2"):
        start_cycle(book, ["R1", "R2"], SETTING, "CD")
    assert len(cycles(book)) == before
    assert of(book, "R1").cycles == 0


def test_respirator_in_a_running_cycle_cannot_start_another(book):
    with_respirators(book, "R1")
    start_cycle(book, ["R1"], SETTING, "CD")
    with pytest.raises(LogbookError, match="never closed"):
        start_cycle(book, ["R1"], SETTING, "CD")


def test_retired_respirator_is_refused_even_with_an_override(book):
    with_respirators(book, "R1")
    correct_respirator(book, "R1", "CD", "soiled", state=RETIRED)
    with pytest.raises(LogbookError, match="retired"):
        start_cycle(book, ["R1"], SETTING, "CD", overridden="please")


def test_unknown_dose_is_said(book):
    with_respirators(book, "R1")
    _, warnings = run(book, "R1", setting=Setting("box", 600.0))
    assert warnings == [
        "R1: the dose of some cycles is not known; its wear is more than the sum shows"
    ]
    assert of(book, "R1").unknown == 1


def test_cycle_cannot_have_ended_before_its_timer(book):
    with_respirators(book, "R1")
    number, _ = start_cycle(book, ["R1"], SETTING, "CD")
    with pytest.raises(LogbookError, match=r"of its timer of 10 min 00 s have passed"):
        close_cycle(book, number, "ended", "CD")
    assert get_cycle(book, number).outcome == "running"


def test_correction_is_a_new_row_and_the_last_one_counts(book):
    with_respirators(book, "R1")
    number, _ = run(book, "R1")
    with pytest.raises(LogbookError, match="closed already"):
        close_cycle(book, number, "interrupted", "CD", ran=60.0)
    close_cycle(book, number, "interrupted", "EF", ran=60.0, note="door was open", correct=True)
    assert get_cycle(book, number).outcome == "interrupted"
    assert of(book, "R1").cycles == 0
    kept = book.execute("SELECT outcome FROM closing ORDER BY entry").fetchall()
    assert [row["outcome"] for row in kept] == ["ended", "interrupted"]


def test_corrected_owner_keeps_the_first_entry(book):
    with_respirators(book, "R1")
    correct_respirator(book, "R1", "CD", "misread", owner="XY")
    assert get(book, "R1").owner == "XY"
    owners = book.execute("SELECT owner FROM respirator ORDER BY entry").fetchall()
    assert [row["owner"] for row in owners] == ["AB", "XY"]


@pytest.mark.parametrize("table", KEPT)
def test_rows_can_be_neither_changed_nor_deleted(book, table):
    with_respirators(book, "R1")
    run(book, "R1")
    enter_lamp(book, "box", "left", "fitted", hours=0.0, operator="CD")
    column = book.execute(f"SELECT * FROM {table}").description[-1][0]
    for statement in (f"DELETE FROM {table}", f"UPDATE {table} SET {column} = {column}"):
        with pytest.raises(sqlite3.IntegrityError, match="never changed or deleted"):
            book.execute(statement)


def test_hours_of_lamps_grow_with_the_cycles_of_their_box(book):
    with_respirators(book, "R1")
    enter_lamp(
        book, "box", "left", "fitted", hours=100.0, operator="CD", at=EARLIER - timedelta(days=1)
    )
    enter_lamp(
        book, "other", "left", "fitted", hours=7.0, operator="CD", at=EARLIER - timedelta(days=1)
    )
    run(book, "R1", setting=Setting("box", 7200.0))
    number, _ = start_cycle(book, ["R1"], Setting("Box", 3600.0), "CD", at=EARLIER)
    close_cycle(book, number, "interrupted", "CD", ran=1800.0)
    by_box = {lamp.box: lamp for lamp in lamp_ages(book)}
    assert by_box["box"].hours == pytest.approx(102.5)
    assert by_box["box"].cycles == 2
    assert by_box["other"].hours == 7.0


def test_a_new_lamp_starts_anew_and_a_removed_one_is_gone(book):
    with_respirators(book, "R1")
    enter_lamp(
        book, "box", "left", "fitted", hours=5000.0, operator="CD", at=EARLIER - timedelta(days=1)
    )
    enter_lamp(
        book, "box", "right", "fitted", hours=5000.0, operator="CD", at=EARLIER - timedelta(days=1)
    )
    run(book, "R1")
    enter_lamp(book, "box", "left", "fitted", hours=0.0, operator="CD")
    enter_lamp(book, "box", "right", "removed", hours=5000.0, operator="CD")
    assert [(lamp.name, lamp.hours) for lamp in lamp_ages(book)] == [("left", 0.0)]


def test_failed_entry_leaves_nothing(book):
    def half_an_entry():
        with writing(book):
            lamp = {"box": "box", "name": "left", "event": "read", "hours": 0.0}
            add_entry(book, "lamp", "CD", "", None, **lamp)
            raise RuntimeError

    with pytest.raises(RuntimeError):
        half_an_entry()
    for table in ("entry", "lamp"):
        assert book.execute(f"SELECT count(*) FROM {table}").fetchone()[0] == 0


def test_export_holds_every_row_and_no_formula(book, tmp_path):
    add_respirator(book, Respirator("=1+1", "AB"), "CD")
    number, _ = run(book, "=1+1")
    close_cycle(book, number, "void", "CD", correct=True)
    export_csv(book, tmp_path)
    files = tmp_path.glob("*.csv")
    read = {file.stem: list(csv.DictReader(io.StringIO(file.read_text("utf-8")))) for file in files}
    assert set(read) == {*KEPT, "tallies"}
    assert [row["outcome"] for row in read["closing"]] == ["ended", "void"]
    assert read["tallies"][0]["code"] == "'=1+1"
    assert read["tallies"][0]["cycles_ended"] == "0"


def test_what_a_killed_new_has_left_is_made_a_logbook(tmp_path):
    begun = tmp_path / "begun.db"
    begun.touch()  # SQLite makes the file first, and fills it as the transaction ends
    new_logbook(begun)
    with open_logbook(begun) as book:
        assert cycles(book) == []


def test_a_logbook_in_use_is_not_taken_for_an_unfinished_one(path):
    before = path.read_bytes()
    path.with_name(f"{path.name}-journal").touch()
    with pytest.raises(LogbookError, match="exists already"):
        new_logbook(path)
    assert path.read_bytes() == before


def test_nothing_is_overwritten_and_no_other_file_is_taken(path, tmp_path):
    with pytest.raises(LogbookError, match="exists already"):
        new_logbook(path)
    other = tmp_path / "other.db"
    sqlite3.connect(other).execute("CREATE TABLE t (x)").connection.close()
    text = tmp_path / "text.db"
    text.write_text("this is not a database, though it is long enough to be one" * 20)
    for file, words in (
        (other, "no logbook"),
        (text, "not a readable logbook"),
        (tmp_path / "none.db", "no such logbook"),
    ):
        with pytest.raises(LogbookError, match=words), open_logbook(file):
            pass


@pytest.mark.parametrize("operator", ["", "  "])
def test_entry_needs_an_operator(book, operator):
    with pytest.raises(LogbookError, match="operator"):
        add_respirator(book, Respirator("R1", "AB"), operator)


def test_entry_of_the_future_is_refused(book):
    with_respirators(book, "R1")
    with pytest.raises(LogbookError, match="has not come yet"):
        start_cycle(book, ["R1"], SETTING, "CD", at=datetime.now(UTC) + timedelta(hours=1))


class SetBack(datetime):
    """A clock that stands an hour behind what it once showed."""

    @classmethod
    def now(cls, zone=None):
        return super().now(zone) - timedelta(hours=1)


def test_a_clock_that_was_set_back_is_told_and_enters_nothing_by_itself(book, monkeypatch):
    with_respirators(book, "R1", "R2")
    monkeypatch.setattr("raysim.logbook.book.datetime", SetBack)
    behind = SetBack.now(UTC)
    lamp = {"hours": 0.0, "operator": "CD"}
    for enter in (
        lambda at=None: start_cycle(book, ["R1"], SETTING, "CD", at=at),
        lambda at=None: enter_lamp(book, "box", "left", "fitted", at=at, **lamp),
    ):
        with pytest.raises(
            LogbookError, match=r"but an entry was written at .*Mend: set the clock"
        ):
            enter()
        enter(behind)  # whoever gives the time answers for it
    add_respirator(book, Respirator("R3", "AB"), "CD")  # no time counts with it
    monkeypatch.undo()
    start_cycle(book, ["R2"], SETTING, "CD")


def test_a_box_that_is_still_in_a_cycle_is_told(book):
    with_respirators(book, "R1", "R2")
    number, _ = start_cycle(book, ["R1"], SETTING, "CD")
    _, warnings = start_cycle(book, ["R2"], SETTING, "CD")
    assert warnings == [f"box is still in cycle {number} by this logbook: enter how that one went"]


def test_a_cycle_that_another_one_broke_into_did_not_end(book):
    """The door was opened to hang the next load, and the first was entered as treated."""
    with_respirators(book, "R1", "R2", "R3")
    first, _ = start_cycle(book, ["R1"], SETTING, "CD", at=EARLIER)
    second, _ = start_cycle(book, ["R2"], SETTING, "CD", at=EARLIER + timedelta(seconds=599))
    elsewhere = replace(SETTING, box="another box")
    third, _ = start_cycle(book, ["R3"], elsewhere, "CD", at=EARLIER + timedelta(seconds=1))
    with pytest.raises(LogbookError, match=f"cycle {second} was started in box before its timer"):
        close_cycle(book, first, "ended", "CD")
    close_cycle(book, first, "interrupted", "CD", ran=599.0)
    for number in (second, third):
        close_cycle(book, number, "ended", "CD")
    assert [of(book, code).ended for code in ("R1", "R2", "R3")] == [0, 1, 1]


def test_a_cycle_started_by_mistake_breaks_into_none_once_it_is_void(book):
    with_respirators(book, "R1", "R2")
    first, _ = start_cycle(book, ["R1"], SETTING, "CD", at=EARLIER)
    second, _ = start_cycle(book, ["R2"], SETTING, "CD", at=EARLIER + timedelta(seconds=5))
    close_cycle(book, second, "void", "CD", note="a slip of the pen")
    close_cycle(book, first, "ended", "CD")
