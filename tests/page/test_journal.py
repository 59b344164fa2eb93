"""Tests of the journal: undo to the letter, and nothing lost when a program dies."""

import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from raysim.base.errors import RaysimError
from raysim.page.journal import Journal, step_between

TEXTS = st.text(alphabet="ab\n#é", max_size=12)


@given(TEXTS, TEXTS)
def test_a_step_goes_there_and_back_to_the_letter(before, after):
    step = step_between(before, after, "")
    assert step.done(before) == after
    assert step.undone(after) == before


def test_undo_and_redo_outlive_the_program(tmp_path):
    first = Journal(tmp_path / "journal", "a")
    for text in ("ab", "abc", "xbc"):
        first.change(text, f"to {text}")
    first.undo()
    again = Journal(tmp_path / "journal", "a")
    assert (again.text, again.recovered) == ("abc", True)
    assert (again.undo_words, again.redo_words) == ("to abc", "to xbc")
    again.redo()
    assert again.text == "xbc"
    for _ in range(5):
        again.undo()
    assert again.text == "a"
    again.change("z", "another way")
    assert again.redo_words == ""


@pytest.mark.parametrize("lost", range(1, 30))
def test_a_line_torn_by_a_power_cut_loses_that_step_alone(tmp_path, lost):
    journal = Journal(tmp_path / "journal", "a")
    journal.change("ab", "one")
    journal.change("abc", "two")
    data = journal.path.read_bytes()
    journal.path.write_bytes(data[:-lost])
    assert Journal(tmp_path / "journal", "a").text == "ab"
    # and a step after that is kept
    torn = Journal(tmp_path / "journal", "a")
    torn.change("abd", "three")
    assert Journal(tmp_path / "journal", "a").text == "abd"


def test_a_first_line_without_its_end_is_begun_anew(tmp_path):
    journal = Journal(tmp_path / "journal", "a")
    journal.path.write_bytes(journal.path.read_bytes().removesuffix(b"\n"))
    Journal(tmp_path / "journal", "a").change("ab", "one")
    again = Journal(tmp_path / "journal", "a")
    assert (again.text, again.undo_words) == ("ab", "one")


def test_a_file_that_holds_the_draft_was_changed_by_nobody_else(tmp_path):
    journal = Journal(tmp_path / "journal", "a")
    journal.change("ab", "one")
    # the scene file is written, and the program ends before it notes that
    saved = Journal(tmp_path / "journal", "ab")
    assert (saved.text, saved.saved, saved.undo_words) == ("ab", "ab", "one")
    saved.change("abc", "two")
    assert Journal(tmp_path / "journal", "ab").saved == "ab"


def test_on_a_full_disk_the_step_is_not_taken_and_the_journal_stays_whole(tmp_path, monkeypatch):
    journal = Journal(tmp_path / "journal", "a")
    journal.change("ab", "one")

    def full(_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(RaysimError, match="No space left.*Mend: make room"):
            journal.change("abc", "two")
    assert journal.text == "ab"
    journal.change("abd", "three")
    assert Journal(tmp_path / "journal", "a").text == "abd"


def test_a_draft_without_changes_gives_way_to_the_file_as_it_is_now(tmp_path):
    Journal(tmp_path / "journal", "a")
    later = Journal(tmp_path / "journal", "changed elsewhere")
    assert (later.text, later.recovered) == ("changed elsewhere", False)


def test_a_draft_with_changes_stays_where_the_file_was_changed_elsewhere(tmp_path):
    Journal(tmp_path / "journal", "a").change("ab", "one")
    later = Journal(tmp_path / "journal", "changed elsewhere")
    assert (later.text, later.saved) == ("ab", "a")


@pytest.mark.parametrize("rubbish", ["", "{", "[]", '{"begin": 1}\nx\n', "\x00"])
def test_a_journal_that_is_none_is_begun_anew(tmp_path, rubbish):
    (tmp_path / "journal").write_text(rubbish)
    assert Journal(tmp_path / "journal", "a").text == "a"
