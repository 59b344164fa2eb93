"""Survival laws and the log reduction of a load, against closed forms and worked figures."""

import math

import numpy as np
import pytest

from raysim.library.survival import Kinetics, load_survival, log_reduction

MJ = 10.0  # J/m2 per mJ/cm2


@pytest.mark.parametrize("dose", [0.0, 1.0, 37.0, 370.0, 1000.0])
def test_one_stage_is_chick_watson(dose):
    """S = exp(-k H) with k = ln 10 / D90, and LR = H / D90 (Chick 1908, Watson 1908)."""
    law = Kinetics(37.0)
    assert law.survival(dose) == pytest.approx(math.exp(-math.log(10.0) / 37.0 * dose), rel=1e-12)
    assert law.log_reduction(dose) == pytest.approx(dose / 37.0, rel=1e-12)


def test_far_down_nothing_is_lost_to_rounding():
    assert Kinetics(1.0).log_reduction(200.0) == pytest.approx(200.0, rel=1e-12)
    assert Kinetics(1.0, targets=5.0).log_reduction(200.0) == pytest.approx(
        200.0 - math.log10(5.0), rel=1e-12
    )


@pytest.mark.parametrize(("d90", "logs"), [(3.7, 270.0), (10.6, 94.0), (31.7, 32.0)])
def test_margin_of_one_joule_in_d90s(d90, logs):
    """1,000 mJ/cm2 are 270, 94 and 32 times the D90 (worked figures for 3.7, 10.6, 31.7)."""
    found = Kinetics(d90 * MJ).log_reduction(1000.0 * MJ)
    assert round(float(found)) == logs


def test_steps_of_the_trade_table_of_anthrax():
    """24.3 mJ/cm2 for 90 % and 46.2 for 99 %: one stage from 24.3 gives 48.6, 5 % more."""
    law = Kinetics(24.3 * MJ)
    assert law.dose_for(1.0) == pytest.approx(24.3 * MJ)
    assert law.dose_for(2.0) == pytest.approx(48.6 * MJ)


def test_tail_saturates_near_minus_log_f():
    law = Kinetics(10.0, tail=1e-3)  # those never die
    assert law.log_reduction(1e4) == pytest.approx(3.0, abs=1e-9)
    assert law.dose_for(3.5) == math.inf
    assert law.dose_for(2.9) < 1e3


def test_tail_of_the_2003_coronavirus_fits_both_readings():
    """5.3 log at 121 and 6.3 log at 482 mJ/cm2: the slope between them is that of the tail."""
    law = Kinetics(22.8 * MJ, tail=1.1e-5, tail_d90=361.0 * MJ)
    slope = law.log_reduction(482.0 * MJ) - law.log_reduction(300.0 * MJ)
    assert slope == pytest.approx((482.0 - 300.0) / 361.0, abs=1e-3)
    assert law.log_reduction(482.0 * MJ) == pytest.approx(6.3, abs=0.05)
    assert 4.9 < law.log_reduction(121.0 * MJ) <= 5.3  # on the safe side of the reading


def test_shoulder_has_its_late_slope_and_offset():
    """S -> n 10^(-H/D): late slope 1/D, offset log10 n (multi-target law)."""
    law = Kinetics(10.0, targets=7.0)
    late = [float(law.log_reduction(h)) for h in (100.0, 110.0)]
    assert late[1] - late[0] == pytest.approx(1.0, abs=1e-9)
    assert late[0] == pytest.approx(10.0 - math.log10(7.0), abs=1e-9)
    assert law.log_reduction(2.0) < 0.25 * Kinetics(10.0).log_reduction(2.0)  # slow at first


@pytest.mark.parametrize(
    "law",
    [
        Kinetics(37.0),
        Kinetics(37.0, targets=12.0),
        Kinetics(37.0, tail=1e-4, tail_d90=900.0),
        Kinetics(37.0, tail=0.2, tail_d90=900.0, targets=3.0),
    ],
)
@pytest.mark.parametrize("logs", [0.01, 1.0, 3.0, 6.0])
def test_dose_for_inverts_the_law_from_above(law, logs):
    dose = law.dose_for(logs)
    assert float(law.log_reduction(dose)) == pytest.approx(logs, rel=1e-9)
    assert float(law.log_reduction(dose)) >= logs * (1.0 - 1e-15)


def test_no_dose_no_reduction():
    for law in (Kinetics(5.0), Kinetics(5.0, tail=0.1, tail_d90=50.0), Kinetics(5.0, targets=9.0)):
        assert law.survival(0.0) == 1.0
        assert law.dose_for(0.0) == 0.0


@pytest.mark.parametrize(
    "wrong", [{"d90": 0.0}, {"d90": 1.0, "tail": 1.0}, {"d90": 1.0, "targets": 0.5}]
)
def test_laws_that_cannot_be_are_refused(wrong):
    with pytest.raises(ValueError, match=r"above zero|below 1"):
        Kinetics(**wrong)


def test_one_percent_in_shade_caps_the_load_near_two_and_a_half_logs():
    """1 % of the area at 0.5 log: 0.01 x 10^-0.5 = 3.2e-3, a cap of 2.5 log (worked figure)."""
    law = Kinetics(1.0)
    survival = load_survival(law, np.array([0.5, 50.0]), np.array([0.01, 0.99]))
    assert survival == pytest.approx(0.01 * 10.0**-0.5, rel=1e-12)
    assert float(log_reduction(survival)) == pytest.approx(2.5, abs=1e-12)
    mean_of_logs = 0.01 * 0.5 + 0.99 * 50.0
    assert mean_of_logs > 49.0  # what the wrong average would have claimed


def test_load_is_split_without_changing_the_answer():
    law = Kinetics(1.0, targets=2.0)
    whole = load_survival(law, np.array([1.0, 3.0]), np.array([2.0, 1.0]))
    parts = load_survival(law, np.array([1.0, 1.0, 3.0]), np.array([1.5, 0.5, 1.0]))
    assert parts == pytest.approx(whole, rel=1e-14)


def test_a_dark_square_centimetre_sets_the_survivors():
    """On 0.02 m2 with nothing else alive: 1e-4 / 0.02 = 1/200 survive, 2.30 logs."""
    law = Kinetics(1.0)
    alive = load_survival(law, np.full(4, 100.0), np.full(4, 0.005), dark_area=1e-4)
    assert alive == pytest.approx(0.005, rel=1e-9)
    assert load_survival(law, np.full(4, 100.0), np.full(4, 0.005), dark_area=1.0) == 1.0
