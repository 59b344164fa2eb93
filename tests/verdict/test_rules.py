"""The verdict: what forbids use, what is still to be done, and what it belongs to."""

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
import synthetic

from raysim.base.cases import CAUTIOUS
from raysim.base.units import minutes_seconds
from raysim.dose.result import PoseResult
from raysim.dose.verdict_record import FORBIDS, State, Why
from raysim.output.words.leaks import time_words
from raysim.output.words.verdict import headline, holds_words, state_words, timer_words
from raysim.scene.file.written import SceneAsWritten
from raysim.scene.triangles import Untreated
from raysim.studies.leak.run import Leak
from raysim.verdict.rules import shift, with_verdict

DAY = date.today() - timedelta(days=30)
POINT = {"name": "m", "at": [9, 9, 9], "facing": [0, 0, 1], "reading": "2 mW/cm2"}
READ = {"reading": "2.5 mW/cm2", "read_on": DAY}
SEAMS = {"checked_on": DAY, "by": "AB", "highest": "0.05 uW/cm2"}


def scene(**tables):
    """A scene as written, with one meter point that was read and a survey of its seams."""
    meter = {"name": "middle", "at": [150, 120, 100], "facing": [0, 0, 1]}
    data = {
        "title": "Invented box",
        "chamber": {"inside": [300, 250, 350], "lining": "foil"},
        "lamp": [{"name": "a", "from": [9, 9, 9], "to": [9, 9, 99], "diameter": 9, "uvc": "1 W"}],
        "meter": [meter | READ],
        "seams": SEAMS,
    }
    return SceneAsWritten.model_validate(data | tables, context={"metres_per_unit": 0.001})


def ready(reading=25.0, dark=False, **tables):
    """A run that has all that is asked for; `reading` in W/m2 where 25 are calculated."""
    whole = replace(synthetic.result(dark=dark), written=scene(**tables))
    return synthetic.read(whole, reading) if reading is not None else whole


def leak(irradiance, error=0.0):
    """Stray light of one gap, W/m2."""
    ends = {"from": [9, 0, 9], "to": [9, 0, 99]}
    gap = {"name": "door", "wall": "front", "width": 1, "depth": 18, "distance": 300}
    (gap,) = scene(gap=[gap | ends]).gap
    eye = np.zeros(3)
    return Leak(gap, eye, irradiance, error, irradiance, 0.0, 1.0, (86_400.0, 86_400.0))


def codes(result):
    return {reason.code for reason in result.verdict.reasons}


def test_a_box_that_was_read_and_surveyed_is_ready():
    judged = with_verdict(ready())
    assert codes(judged) == set()
    assert judged.verdict.state is State.READY
    assert judged.verdict.timer == judged.timer == judged.calculated
    assert headline(judged).startswith("READY. Set the timer to ")
    assert judged.verdict.holds_for.reading_date == DAY
    assert judged.verdict.holds_for.scene == judged.sha256
    assert judged.verdict.holds_for.lamps == (("front lamp", 0.0), ("rear lamp", 100.0))


def read_beside_a_lamp(*direct):
    """A run whose points get these shares of their light straight from the lamps; each agrees."""
    whole = ready(reading=None)
    (meter,) = whole.meters
    lit = [replace(meter, direct=share * meter.by_lamp[1]) for share in direct]
    points = [
        replace(one, point=replace(one.point, name=f"m{k}", reading=25.0))
        for k, one in enumerate(lit)
    ]
    return synthetic.with_readings(replace(whole, meters=tuple(points)))


def read_of_one_lamp():
    """A run whose one point gets 12 % of its light from the front lamp."""
    whole = ready(reading=None)
    shown = np.array([[2.0, 16.0], [3.0, 22.0], [4.0, 26.0]])
    (meter,) = whole.meters
    read = replace(meter, by_lamp=shown, point=replace(meter.point, reading=25.0))
    return synthetic.with_readings(replace(whole, meters=(read,)))


def test_a_reading_that_tells_of_one_lamp_leaves_the_other_to_be_read():
    (reason,) = with_verdict(read_of_one_lamp()).verdict.reasons
    assert reason.says.startswith('no reading tells of lamp "front lamp"')
    assert "faces it from some 100 mm" in reason.mend


@pytest.mark.parametrize(
    ("direct", "where"),
    [
        ((0.9, 0.2), 'at every [[meter]] point ("m1" tells of the lining)'),
        ((0.9, 0.8), "at each place that 'raysim meter --places' proposes"),
    ],
)
def test_whoever_has_no_reading_is_sent_to_where_the_lining_is_read_as_well(direct, where):
    whole = replace(read_beside_a_lamp(*direct), readings=None)
    (reason,) = with_verdict(whole).verdict.reasons
    assert reason.code is Why.READING_MISSING
    assert where in reason.mend
    assert "door shut, read it from outside" in reason.mend


def test_one_reading_by_reflected_light_checks_the_lining():
    assert codes(with_verdict(read_beside_a_lamp(0.9, 0.8))) == {Why.LINING_NOT_CHECKED}
    assert codes(with_verdict(read_beside_a_lamp(0.9, 0.2))) == set()


def test_a_lining_that_the_worst_spot_does_not_live_by_need_not_be_read():
    """Between low and expected reflectances it loses 1 % there."""
    whole = read_beside_a_lamp(0.9)
    light = whole.lamp_irradiance.copy()
    light[0] = 0.99 * light[1]
    assert codes(with_verdict(replace(whole, lamp_irradiance=light))) == set()


def test_what_forbade_use_once_leaves_the_times_of_poses_for_another_verdict():
    """They were lost: a result judged again after its seams were mended showed no timer a pose."""
    whole = replace(ready(), warm_up=replace(synthetic.WARM_UP, poses=(0.5, 0.5)))
    worst = whole.cases[CAUTIOUS].worst
    poses = tuple(PoseResult(name, 0.5, 100.0, 1.0, worst, 1.0) for name in ("up", "down"))
    whole = replace(whole, poses=poses)
    forbidden = with_verdict(whole, [leak(1.0)])
    assert [pose.time for pose in forbidden.poses] == [math.inf, math.inf]
    again, first = with_verdict(forbidden, [leak(0.0001)]), with_verdict(whole, [leak(0.0001)])
    assert [pose.time for pose in again.poses] == [pose.time for pose in first.poses]
    assert timer_words(again) == timer_words(first)
    assert sum(pose.time for pose in again.poses) == pytest.approx(again.timer)


def test_precision_is_mended_by_a_longer_run_and_not_by_asking_for_less():
    (reason,) = with_verdict(LACKING[Why.PRECISION_NOT_REACHED]()).verdict.reasons
    assert "more --photons with the same --precision 0.02" in reason.mend


UNTREATED = Untreated("respirator 1", "straps", "inside", (3, 4), 2e-5, "hook 1")
LACKING = {
    Why.READING_MISSING: lambda: ready(reading=None),
    Why.READING_UNDATED: lambda: ready(meter=[POINT]),
    Why.READING_OLD: lambda: ready(meter=[POINT | {"read_on": DAY - timedelta(days=366)}]),
    Why.LINING_NOT_CHECKED: lambda: read_beside_a_lamp(0.9),
    Why.LAMP_NOT_CHECKED: lambda: read_of_one_lamp(),
    Why.LEAK_NOT_CHECKED: lambda: ready(seams=None),
    Why.RUN_INTERRUPTED: lambda: replace(ready(), interrupted=True),
    Why.PRECISION_NOT_REACHED: lambda: replace(ready(), precision_asked=0.02),
    Why.LAMP_PAST_LIFE: lambda: ready(lamps_behaviour={"rated_hours": 90}),
    Why.TOUCHING: lambda: replace(ready(), untreated=(UNTREATED,)),
    Why.TARGET_BELOW_PRINT: lambda: replace(ready(), target_dose=9_000.0),
}


@pytest.mark.parametrize("code", LACKING)
def test_what_is_still_to_be_done_is_named_and_the_timer_stays(code):
    whole = LACKING[code]()
    judged = with_verdict(whole)
    assert codes(judged) == {code}
    assert judged.verdict.state is State.READY_AFTER
    assert judged.timer == whole.timer < math.inf
    assert state_words(judged).startswith("READY AFTER ")


def too_long():
    """A run whose time is just above a shift."""
    whole = ready()
    bound = whole.bound * (whole.timer - 75.0) / (shift() - 74.0)
    case = whole.cases[CAUTIOUS]
    case = replace(case, bound=bound, exposure_time=whole.requirement.time(bound))
    return replace(whole, cases=whole.cases | {CAUTIOUS: case}, precision_asked=None)


FORBIDDEN = {
    Why.NO_FINITE_TIME: lambda: ready(dark=True),
    Why.LONGER_THAN_A_SHIFT: too_long,
    Why.NO_CYCLE_ALLOWED: lambda: ready(wear={"material_dose": "0.1 J/cm2"}),
    Why.READING_DISAGREES: lambda: ready(reading=8.0),
    Why.LEAK_ABOVE_LIMIT: lambda: ready(seams=SEAMS | {"highest": "0.3 uW/cm2"}),
}


@pytest.mark.parametrize("code", FORBIDDEN)
def test_what_forbids_use_leaves_no_timer_anywhere(code):
    judged = with_verdict(FORBIDDEN[code]())
    assert code in codes(judged)
    assert judged.verdict.reasons[0].code.forbids
    assert judged.verdict.state is State.DO_NOT_USE
    assert judged.timer == judged.verdict.timer == math.inf
    assert np.isnan(judged.dose_at_timer()).all()
    assert headline(judged).startswith("DO NOT USE. ")
    assert timer_words(judged) == "DO NOT USE"


def test_every_reason_is_tried_here():
    assert set(LACKING) | set(FORBIDDEN) == set(Why)
    assert set(FORBIDDEN) == FORBIDS


def test_a_time_of_a_shift_is_allowed():
    whole = too_long()
    assert whole.timer == pytest.approx(shift() + 1.0, abs=0.01)
    case = replace(whole.cases[CAUTIOUS], exposure_time=shift() - 1.0)
    shorter = replace(whole, cases=whole.cases | {CAUTIOUS: case})
    assert Why.LONGER_THAN_A_SHIFT not in codes(with_verdict(shorter))


@pytest.mark.parametrize(
    ("light", "error", "allowed"),
    [  # 6 mJ/cm2 in 8 h are 0.208 uW/cm2; over a safety factor of 1.2, 0.1736
        (0.001735, 0.0, True),
        (0.001737, 0.0, False),
        (0.001535, 0.0001, True),
        (0.001537, 0.0001, False),  # two errors count against it
    ],
)
def test_a_leak_must_leave_a_bare_eye_a_shift(light, error, allowed):
    judged = with_verdict(ready(), [leak(light, error)])
    assert (Why.LEAK_ABOVE_LIMIT not in codes(judged)) is allowed


def test_only_a_survey_checks_the_seams_however_many_gaps_are_drawn():
    """One drawn gap made a box with three more seams READY, while `leak` asked for a survey."""
    for drawn in ([], [leak(0.0001)]):
        judged = with_verdict(ready(seams=None), drawn)
        assert codes(judged) == {Why.LEAK_NOT_CHECKED}
        assert "no seam was surveyed" in judged.verdict.reasons[0].says
        assert "draw" not in judged.verdict.reasons[0].mend
    assert codes(with_verdict(ready(), [leak(0.0001)])) == set()


def test_a_leak_is_told_as_raysim_leak_tells_it():
    """The verdict told the light plus two errors, and a second more than one may stay."""
    (reason,) = with_verdict(ready(), [leak(0.0026, 0.00003)]).verdict.reasons
    assert '"door" lets 0.26 uW/cm2 out 300 mm off the wall' in reason.says
    seconds = 60.0 / (1.2 * 0.00266)  # 6 mJ/cm2 and the safety factor
    assert time_words(seconds) in reason.says
    assert minutes_seconds(seconds) not in reason.says


def test_a_time_stands_once():
    """The headline told 1 d 05 h, the reason below it 28 h 27 min 27 s, and the card both."""
    (reason, *_) = with_verdict(too_long()).verdict.reasons
    assert reason.says == "one cycle takes longer than a shift of 8 h"


def test_a_box_that_must_not_be_used_still_says_how_much_it_wears():
    """Else nobody could see why not even one cycle is allowed."""
    from raysim.assess.reuse import reuse

    judged = with_verdict(FORBIDDEN[Why.NO_CYCLE_ALLOWED]())
    found = reuse(judged)
    assert found is not None
    assert found.cycles == 0


def test_a_survey_of_the_seams_more_than_a_year_ago_is_none():
    old = SEAMS | {"checked_on": DAY - timedelta(days=366)}
    judged = with_verdict(ready(seams=old))
    assert codes(judged) == {Why.LEAK_NOT_CHECKED}
    assert "over a year ago" in judged.verdict.reasons[0].says


@pytest.mark.parametrize("code", [Why.READING_UNDATED, Why.LEAK_NOT_CHECKED])
def test_a_day_that_has_not_come_is_no_day(code):
    late = date.today() + timedelta(days=2)
    seams, day = SEAMS, late
    if code is Why.LEAK_NOT_CHECKED:
        seams, day = SEAMS | {"checked_on": late}, DAY
    assert codes(with_verdict(ready(meter=[POINT | {"read_on": day}], seams=seams))) == {code}


def test_what_the_verdict_belongs_to_is_told():
    words = holds_words(with_verdict(ready()))
    assert f"the reading of {DAY}" in words
    assert f"the seams as AB found them on {DAY} (0.0500 uW/cm2)" in words
    assert "any change makes it stale" in words
    undated = holds_words(with_verdict(ready(meter=[POINT])))
    assert "a reading without a date" in undated
    assert "no reading" not in undated
    drawn = holds_words(with_verdict(ready(seams=None), [leak(0.0001)]))
    assert 'stray light calculated for "door" as drawn' in drawn
    assert "no survey" not in drawn
