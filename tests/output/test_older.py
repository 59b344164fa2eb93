"""Results of raysim 0.1.0, as it wrote them (commit before verdicts came in), still open."""

import json
from pathlib import Path

import pytest
from schemas import complaints

from raysim.base.errors import RaysimError
from raysim.cli.logbook.options import setting_of_result
from raysim.output.files.older import brought_up
from raysim.output.viewer.source import read_view, worst_place

OLD = Path(__file__).parent / "result_0_1_0"


@pytest.fixture
def record():
    return json.loads((OLD / "result.json").read_text("utf-8"))


def test_it_is_viewed_without_a_timer_to_rely_on(record):
    view = read_view(OLD)
    assert record["schema_version"] == "1"
    assert record["timer_s"] > 60.0
    assert view.record["verdict"]["state"] == "do not use"
    assert view.record["verdict"]["timer_s"] is None
    assert view.record["verdict"]["calculated_s"] == record["calculated_s"]
    assert "plate" in view.names
    place, _ = worst_place(view)
    assert place.tolist() == record["cases"]["cautious"]["worst"]["centroid_mm"]


def test_brought_up_it_lacks_only_what_was_not_known_then(record):
    odd = complaints("dose", brought_up(record))
    about = ("made_at", "per_part", "read_on", "older_version", "reflected_share", "response")
    lacking = [line for line in odd if not any(word in line for word in about)]
    assert lacking == []


def test_no_cycle_is_begun_by_it():
    with pytest.raises(RaysimError, match="older raysim.*Mend: run 'raysim dose' anew"):
        setting_of_result(OLD, None, [])


@pytest.mark.parametrize("version", ["3", None, 2])
def test_another_version_is_told(record, version):
    with pytest.raises(ValueError, match="is not known here, only 1 and 2"):
        brought_up(record | {"schema_version": version})
