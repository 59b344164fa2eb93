"""Which kind of part sets the timer, and what the others would need by themselves."""

from dataclasses import replace

import numpy as np
import pytest
import synthetic

from raysim.base.cases import CAUTIOUS
from raysim.base.units import minutes_seconds
from raysim.output.files.records import result_record
from raysim.output.words.failures import failures_table
from raysim.output.words.numbers import about_time, told_time
from raysim.output.words.parts import STRAPS_HELP, part_rows, parts_table, time_by_itself
from raysim.output.words.sentences import detail_rows
from raysim.output.words.tables import cases_table, objects_table


def test_the_part_that_rules_and_the_others_are_told():
    whole = synthetic.result()
    spots = whole.cases[CAUTIOUS].worst_per_part
    ruling, other = spots[0], next(spot for spot in spots if spot.part != spots[0].part)
    _, line = part_rows(whole)[0]
    assert line.startswith(
        f"What sets the calculated time: {ruling.part}, {minutes_seconds(whole.timer)}."
    )
    by_itself = 1.2 * 10_000.0 / other.irradiance + 75.0  # 75 s are lost while warming up
    assert time_by_itself(whole, other) == pytest.approx(by_itself)
    assert f"{other.part} about {about_time(by_itself)}" in line
    rows = result_record(whole)["cases"][CAUTIOUS]["per_part"]
    assert [(row["object"], row["part"]) for row in rows] == [(s.object, s.part) for s in spots]
    assert rows[spots.index(other)]["time_by_itself_s"] == pytest.approx(by_itself)


def test_straps_that_rule_get_advice_of_their_own():
    whole = synthetic.result()
    case = whole.cases[CAUTIOUS]
    straps = next(spot for spot in case.worst_per_part if spot.part == "straps")
    case = replace(case, worst=straps)
    lines = part_rows(replace(whole, cases=whole.cases | {CAUTIOUS: case}))
    assert lines[1] == ("", STRAPS_HELP)


def test_of_a_single_kind_of_part_nothing_is_said():
    whole = synthetic.result()
    case = whole.cases[CAUTIOUS]
    case = replace(case, worst_per_part=case.worst_per_part[:1])
    alone = replace(whole, cases=whole.cases | {CAUTIOUS: case})
    assert not any("sets the calculated time" in line for _, line in part_rows(alone))
    assert parts_table(alone) is None


def test_a_load_of_several_objects_has_a_table_of_their_parts():
    whole = synthetic.result()
    spots = whole.cases[CAUTIOUS].worst_per_part
    table = parts_table(whole)
    kinds = [heading.casefold() for heading in table.headings[1:]]
    assert [row[0] for row in table.rows] == ["respirator 1", "respirator 2"]
    ruling = whole.cases[CAUTIOUS].worst
    for spot in spots:
        row = next(row for row in table.rows if row[0] == spot.object)
        rules = (spot.object, spot.part) == (ruling.object, ruling.part)
        told = told_time(whole.calculated) if rules else about_time(time_by_itself(whole, spot))
        assert row[1 + kinds.index(spot.part)] == told
    assert any(minutes_seconds(whole.calculated) in row for row in table.rows)
    assert f"{ruling.object}, {ruling.part}, sets the calculated time" in table.note
    assert "no bounds" in table.note


def test_what_1_cm2_would_give_is_told_and_not_advised():
    whole = synthetic.result()
    case = whole.cases[CAUTIOUS]
    wide = 2.0 * case.bound
    case = replace(case, summary=replace(case.summary, worst_1cm2=wide))
    whole = replace(whole, cases=whole.cases | {CAUTIOUS: case})
    _, line = part_rows(whole)[-1]
    assert f"about {about_time(whole.requirement.time(wide))} (an estimate, no bound)" in line
    assert "no advice" in line
    no_better = replace(case, summary=replace(case.summary, worst_1cm2=case.bound))
    rows = part_rows(replace(whole, cases=whole.cases | {CAUTIOUS: no_better}))
    assert not any("1 cm2" in line for _, line in rows)


def test_calculated_times_of_a_box_not_to_be_used_are_marked_everywhere():
    """Tables told times as if they were settings."""
    forbidden = synthetic.read(synthetic.result(), 8.0)
    assert forbidden.verdict.forbids
    assert all(
        line.startswith("Calculated, for information only: DO NOT USE")
        for _, line in part_rows(forbidden)
    )
    for table in (
        cases_table(forbidden),
        objects_table(forbidden),
        failures_table(forbidden),
        parts_table(forbidden),
    ):
        words = " ".join([*table.headings, *(row[0] for row in table.rows), table.note])
        assert "for information only: DO NOT USE" in words
    ready = synthetic.result()
    for table in (cases_table(ready), objects_table(ready), parts_table(ready)):
        assert "DO NOT USE" not in " ".join([*table.headings, *(row[0] for row in table.rows)])


def test_that_other_spots_look_darker_than_the_named_one_is_said():
    """The map and faces.csv show them; it is named among those known well."""
    whole = synthetic.result()
    case = whole.cases[CAUTIOUS]
    assert not any("show less than the spot named" in line for _, line in detail_rows(whole))
    light = case.irradiance.copy()
    judged = np.argwhere(whole.triangles.judged)
    for face, side in judged[:3]:
        light[face, side] = 0.5 * case.worst.irradiance
    case = replace(case, irradiance=light)
    rows = detail_rows(replace(whole, cases=whole.cases | {CAUTIOUS: case}))
    (line,) = [line for _, line in rows if "show less than the spot named" in line]
    assert line.startswith("Of the judged face-sides 3 show less")
