"""What is said of two results follows from their figures alone."""

import copy
import json
from pathlib import Path

import pytest

from raysim.output.files.older import brought_up
from raysim.output.words.compare import answer, doubt, told_apart

OLD = Path(__file__).parent / "result_0_1_0" / "result.json"


def made(timer, light=1.0, error=0.01, low=0.95, dose=1000.0):
    """A record with these figures."""
    record = copy.deepcopy(brought_up(json.loads(OLD.read_text("utf-8"))))
    state = "ready" if timer else "do not use"
    record["verdict"] |= {"timer_s": timer, "calculated_s": timer, "state": state, "reasons": []}
    record["cases"]["cautious"]["worst"] |= {
        "irradiance_mW_cm2": light,
        "standard_error_mW_cm2": error,
        "lower_bound_mW_cm2": low,
    }
    record["target"]["dose_mJ_cm2"] = dose
    return record


@pytest.mark.parametrize(
    ("light", "error", "low", "apart"),
    [
        (2.0, 0.01, 1.9, True),  # its bound lies above the other's estimate and two errors
        (0.5, 0.01, 0.48, True),
        (1.05, 0.01, 1.01, False),  # 1.01 < 1.0 + 2 * 0.01
        (1.05, 0.01, 1.03, True),
        (0.9, 0.05, 0.8, False),
        (None, None, None, None),
    ],
)
def test_worst_spots_are_told_apart_by_bound_and_error(light, error, low, apart):
    pair = made(600.0), made(600.0, light, error, low)
    assert told_apart(*pair) is apart
    assert told_apart(*pair[::-1]) is apart


def test_who_needs_longer_is_told_with_both_times():
    said = answer(made(600.0), made(300.0, 2.0, 0.01, 1.9))
    assert said.startswith("A needs 5 min 00 s longer than B (10 min 00 s in A, 5 min 00 s in B);")
    assert "noise of the two runs does not explain" in said
    assert answer(made(300.0), made(600.0)).startswith("B needs 5 min 00 s longer than A")
    assert "noise of the two runs alone could" in answer(made(590.0), made(600.0))


def test_a_timer_that_readings_made_longer_is_no_noise():
    """Of the same light: what a run can lose to noise is 7 % here, from 1.02 to 0.95."""
    assert "noise of the two runs does not explain" in answer(made(500.0), made(600.0))
    assert told_apart(made(600.0), made(500.0)) is True
    read = made(605.0)  # 1 % longer by a reading: noise could do that too, but it did not
    read["verdict"]["calculated_s"] = 600.0
    said = answer(made(600.0), read)
    assert "noise" not in said
    assert said.endswith("meter readings make the difference.")
    assert told_apart(made(600.0), made(None)) is False


def test_no_timer_is_never_weighed_against_one():
    assert answer(made(None), made(600.0)).startswith("A has no timer and may not be used")
    assert answer(made(600.0), made(None)).startswith("B has no timer and may not be used")
    assert answer(made(None), made(None)).startswith("Neither has a timer")


def test_timers_for_different_doses_are_not_weighed():
    said = answer(made(600.0), made(900.0, dose=2000.0))
    assert said.startswith("The targets differ (1,000 mJ/cm2 × 1.2; 2,000 mJ/cm2 × 1.2)")


def test_the_doubt_of_each_is_told():
    one, other = made(600.0), made(600.0)
    one["uncertainty"] = {"expanded_relative": 0.33}
    other["uncertainty"] = None
    assert "known to ± 33% in A and no stated share in B" in doubt(one, other)
