"""The timer over the life of lamps and after an interruption."""

from dataclasses import replace

import pytest
import synthetic

from raysim.assess.lamp_life import lamp_life, seconds_to_add, time_at_age, times_in_air
from raysim.dose.exposure import WarmUpCurve, exposure_time
from raysim.dose.lamp_output import (
    ageing_factor,
    in_use_factor,
    lamp_factors,
    output_at,
    temperature_factor,
)
from raysim.scene.file.written import LampsBehaviour

LINEAR = WarmUpCurve((0.0, 300.0), (0.5, 1.0))


def test_worked_exposure_time():
    """0.50 mW/cm2, 1.0 J/cm2, factor 1.5, ageing 0.80, temperature 0.95: 3,947 s (worked)."""
    behaviour = LampsBehaviour(ageing=0.8, temperature=0.95, dirt=1.0)
    output = float(lamp_factors([0.0], behaviour)["cautious"][0])
    seconds = exposure_time(5.0 * output, 1e4, 1.5, WarmUpCurve())
    assert round(seconds) == 3947
    warmed = exposure_time(5.0 * output, 1e4, 1.5, WarmUpCurve((0.0,), (0.6,), 60.0))
    assert warmed - seconds == pytest.approx(24.0, abs=1e-6)  # (1 - 0.6) x 60 s


def test_a_safety_factor_multiplies_the_time_of_a_dose():
    short, long = (exposure_time(5.0, 1e4, factor, WarmUpCurve()) for factor in (1.0, 1.5))
    assert long == pytest.approx(1.5 * short)


def test_ageing_is_linear_to_the_rated_life_and_goes_on():
    behaviour = LampsBehaviour(ageing=0.8, rated_hours=8000)
    assert [output_at(h, behaviour) for h in (0, 4000, 8000, 12000)] == pytest.approx(
        [1.0, 0.9, 0.8, 0.7]
    )
    assert ageing_factor(0.0, behaviour) == pytest.approx(0.8)  # holds until it is changed
    assert ageing_factor(12000.0, behaviour) == pytest.approx(0.7)
    assert output_at(1e6, behaviour) == 0.0


def test_supply_takes_its_share():
    weak, full = LampsBehaviour(supply=0.9), LampsBehaviour()
    assert in_use_factor(weak) == pytest.approx(0.9 * in_use_factor(full))


def test_default_curve_of_air_is_the_makers_figures():
    """Largest at 20-27 C, 0.9 at 15 or 35, 0.8 at 10 or 40-45, 0.6 at 0 C (makers, from memory)."""
    curve = LampsBehaviour().output_curve
    for degrees, share in (
        (20, 1.0), (27, 1.0), (15, 0.9), (35, 0.9), (10, 0.8), (40, 0.8), (45, 0.8), (0, 0.6),
    ):  # fmt: skip
        assert curve.at(degrees) == pytest.approx(share)
    assert curve.at(12.5) == pytest.approx(0.85)


def in_air(air, **more) -> LampsBehaviour:
    return LampsBehaviour.model_validate({"air": air} | more)


@pytest.mark.parametrize(
    ("air", "share"),
    [
        ("35 C", 0.9),
        ("95 F", 0.9),
        ("308.15 K", 0.9),
        (["15 C", "40 C"], 0.8),
        (["20 C", "25 degC"], 1.0),
    ],
)
def test_air_gives_the_least_output_of_a_cycle(air, share):
    assert temperature_factor(in_air(air)) == pytest.approx(share, rel=1e-9)


def test_a_dip_within_the_range_counts_too():
    curve = [[0, 1.0], [20, 0.7], [40, 1.0]]
    assert temperature_factor(in_air(["0 C", "40 C"], air_curve=curve)) == pytest.approx(0.7)


def test_temperature_works_on_the_timer_and_a_weak_supply_as_well():
    """Output 0.8 against 0.9 takes 9/8 of the light time (no warm-up); so does a supply."""
    time = []
    for behaviour in (in_air("35 C"), in_air("40 C"), in_air("35 C", supply=8.0 / 9.0)):
        output = float(lamp_factors([0.0], behaviour)["cautious"][0])
        time.append(exposure_time(5.0 * output, 1e4, 1.2, WarmUpCurve()))
    assert time[1] == pytest.approx(9.0 / 8.0 * time[0])
    assert time[2] == pytest.approx(time[1])


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"air": "35 C", "temperature": 0.9}, "say the same"),
        ({"air": "60 C"}, "says nothing of 60"),
        ({"air": 35}, "such as"),
        ({"air": "35 mm"}, "not a temperature"),
        ({"air": ["40 C", "15 C"]}, "coldest first"),
        ({"air_curve": [[20, 1.0]]}, "two rows"),
        ({"air_curve": [[20, 1.0], [10, 0.8]]}, "rising"),
        ({"air_curve": [[20, 1.2], [30, 0.8]]}, "not above 1"),
        ({"air_curve": "cold"}, "rows of"),
    ],
)
def test_air_that_makes_no_sense_is_refused(keys, words):
    with pytest.raises(ValueError, match=words):
        LampsBehaviour.model_validate(keys)


def test_table_of_air_agrees_with_the_timer():
    """The row whose output is what the timer takes (0.9 by default) needs the timer's time."""
    whole = synthetic.result()
    rows = {row.degrees: row.seconds for row in times_in_air(whole)}
    assert rows[35.0] == pytest.approx(whole.timer, rel=1e-9)
    assert rows[20.0] < rows[35.0] < rows[40.0] < rows[0.0]


def test_time_at_the_rated_life_is_the_timer():
    whole = synthetic.result()
    rated = LampsBehaviour().rated_hours
    assert time_at_age(whole, rated).seconds == pytest.approx(whole.timer, rel=1e-9)
    assert time_at_age(whole, 0.0).seconds < whole.timer < time_at_age(whole, 1.2 * rated).seconds


def test_time_follows_the_output():
    whole = replace(synthetic.result(), warm_up=WarmUpCurve())
    half, rated = (time_at_age(whole, h) for h in (4000.0, 8000.0))
    assert half.seconds / rated.seconds == pytest.approx(rated.output / half.output)


def test_table_runs_past_the_rated_life_and_says_when_to_replace():
    whole = synthetic.result()
    life = lamp_life(whole)
    times = [row.seconds for row in life.table]
    assert times == sorted(times)
    oldest = max(lamp.hours for lamp in whole.triangles.lamps)
    assert life.holds_until == max(oldest, 8000.0)
    assert oldest in [row.hours for row in life.table]
    # The timer is long enough at that age, and not a hundred hours later.
    held = time_at_age(whole, life.holds_until).seconds
    assert held <= whole.timer * (1.0 + 1e-9) < time_at_age(whole, life.holds_until + 100).seconds
    assert life.cycles_left == int((life.holds_until - oldest) * 3600.0 // whole.timer)


def of_hours(*hours):
    """The made-up result with lamps of these hours."""
    whole = synthetic.result()
    lamps = zip(whole.triangles.lamps, hours, strict=True)
    aged = tuple(replace(lamp, hours=h) for lamp, h in lamps)
    return replace(whole, triangles=replace(whole.triangles, lamps=aged))


def test_one_lamp_past_its_life_lends_its_age_to_no_other():
    """The timer takes a new lamp at 8,000 h: the card must not let it burn for 12,000 h."""
    life = lamp_life(mixed := of_hours(0.0, 12_000.0))
    assert (life.holds_until, life.cycles_left) == (8000.0, 0)
    assert time_at_age(mixed, life.holds_until).seconds <= mixed.timer * (1.0 + 1e-9)
    assert life.replace_below == pytest.approx(0.8)
    assert lamp_life(of_hours(9000.0, 12_000.0)).holds_until == 9000.0


def test_no_timer_no_table():
    assert lamp_life(synthetic.result(dark=True)) is None


@pytest.mark.parametrize("warm_up", [WarmUpCurve(), LINEAR, WarmUpCurve((0.0,), (0.2,), 90.0)])
@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9])
def test_both_halves_of_a_broken_cycle_give_the_whole_dose(warm_up, share):
    timer = 900.0
    added = seconds_to_add(warm_up, timer, share * timer)
    both = warm_up.effective_seconds(share * timer) + warm_up.effective_seconds(added)
    assert both == pytest.approx(warm_up.effective_seconds(timer), rel=1e-9)
    assert added >= (1.0 - share) * timer - 1e-6  # the second warm-up is paid for


def test_broken_cycle_by_hand():
    """Full after 300 s from a half: 900 s give 825 s of full light; 450 s give 375; 450 lack.

    A cold start needs 525 s for them: 75 s are lost to its warm-up.
    """
    assert seconds_to_add(LINEAR, 900.0, 450.0) == pytest.approx(525.0)
    assert seconds_to_add(LINEAR, 900.0, 900.0) == 0.0
    with pytest.raises(ValueError, match="between"):
        seconds_to_add(LINEAR, 900.0, 901.0)
