"""Which kind of part sets the timer, and what the others would need by themselves."""

from dataclasses import replace

import pytest
import synthetic

from raysim.base.cases import CAUTIOUS
from raysim.base.units import minutes_seconds
from raysim.output.files.records import result_record
from raysim.output.words.parts import STRAPS_HELP, part_rows, time_by_itself


def test_the_part_that_rules_and_the_others_are_told():
    whole = synthetic.result()
    ruling, other = whole.cases[CAUTIOUS].worst_per_part
    ((_, line),) = part_rows(whole)
    assert line.startswith(
        f"What sets the calculated time: {ruling.part}, {minutes_seconds(whole.timer)}."
    )
    by_itself = 1.2 * 10_000.0 / other.irradiance + 75.0  # 75 s are lost while warming up
    assert time_by_itself(whole, other) == pytest.approx(by_itself)
    assert f"{other.part} about {minutes_seconds(by_itself)}" in line
    rows = result_record(whole)["cases"][CAUTIOUS]["per_part"]
    assert [row["part"] for row in rows] == [ruling.part, other.part]
    assert rows[1]["time_by_itself_s"] == pytest.approx(by_itself)


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
    assert part_rows(replace(whole, cases=whole.cases | {CAUTIOUS: case})) == []
