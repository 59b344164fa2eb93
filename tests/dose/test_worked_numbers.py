"""Worked and published numbers that no other test holds: doses, rates, and the naive worksheet.

UVC injures eyes and skin; these times are arithmetic, not advice.
"""

import math

import numpy as np
import pytest

from raysim.assess.reuse import cycles_within
from raysim.base.units import DOSE, IRRADIANCE, parse_quantity, to_mJ_cm2, to_mW_cm2
from raysim.dose.exposure import WarmUpCurve, exposure_time
from raysim.library.keitz import keitz_irradiance
from raysim.library.survival import Kinetics

FULL = WarmUpCurve()
UW_CM2, MW_CM2 = 0.01, 10.0  # W/m2
MJ_CM2, J_CM2 = 10.0, 10_000.0  # J/m2


def test_chain_of_units():
    """1 W/m2 = 0.1 mW/cm2 = 100 uW/cm2; 1 J/cm2 = 1,000 mJ/cm2 = 10 kJ/m2 (definition)."""
    one = parse_quantity("1 W/m2", IRRADIANCE)
    assert one == parse_quantity("0.1 mW/cm2", IRRADIANCE)
    assert one == pytest.approx(parse_quantity("100 uW/cm2", IRRADIANCE), rel=1e-14)
    assert to_mW_cm2(one) == pytest.approx(0.1)
    joule = parse_quantity("1 J/cm2", DOSE)
    assert to_mJ_cm2(joule) == pytest.approx(1000.0)
    assert joule == pytest.approx(parse_quantity("10 kJ/m2", DOSE), rel=1e-14)


@pytest.mark.parametrize(
    ("irradiance", "seconds", "printed", "digits"),
    [
        (232 * UW_CM2, 900.0, 0.209, 3),  # cabinet, Weaver 2021
        (1.8 * MW_CM2, 45 * 60.0, 4.9, 1),  # Bergman 2010, a cycle
        (0.18 * MW_CM2, 15 * 60.0, 0.16, 2),  # Viscusi 2009, a side
        (0.20 * MW_CM2, 15 * 60.0, 0.18, 2),
        (5.43 * MW_CM2, 164.0, 0.89, 2),  # Rathnasinghe 2020
        (134 * UW_CM2, 900.0, 0.121, 3),  # SARS-CoV of 2003
        (134 * UW_CM2, 3600.0, 0.482, 3),
    ],
)
def test_doses_of_published_experiments(irradiance, seconds, printed, digits):
    """The dose gets there in that time and not a rounding step earlier, J/cm2."""
    step = 0.51 * 10.0**-digits
    for dose, early in ((printed - step, True), (printed + step, False)):
        assert (exposure_time(irradiance, dose * J_CM2, 1.0, FULL) <= seconds) == early


@pytest.mark.parametrize(
    ("dose", "minutes", "printed"), [(0.46, 5, 1.53), (0.93, 10, 1.55), (1.4, 15, 1.56)]
)
def test_fixed_irradiance_series(dose, minutes, printed):
    """0.46, 0.93 and 1.4 J/cm2 in 5, 10 and 15 min: 1.53 to 1.56 mW/cm2 (Metolina 2022)."""
    seconds = exposure_time(printed * MW_CM2, dose * J_CM2, 1.0, FULL)
    assert seconds == pytest.approx(60.0 * minutes, rel=0.005)


@pytest.mark.parametrize(
    ("distance", "printed", "seconds"),
    [(0.2, 4855.0, 1.0), (0.5, 775.0, 6.5), (1.0, 194.0, 26.0), (2.0, 48.5, 103.0)],
)
def test_the_hobby_worksheet_is_reproduced_and_wrong(distance, printed, seconds):
    """12.2 W over P / (2 pi d^2), and 5 mJ/cm2: what a naive sheet says (read)."""
    naive = 12.2 / (2.0 * math.pi * distance**2)
    assert naive / UW_CM2 == pytest.approx(printed, rel=0.003)  # it rounds on its way
    found = exposure_time(naive, 5 * MJ_CM2, 1.0, FULL)
    assert found == pytest.approx(seconds, rel=0.01, abs=0.05)
    assert keitz_irradiance(12.2, distance, 1.15) < naive  # a tube is no point


@pytest.mark.parametrize(("length", "true", "over"), [(1.15, 830.0, 5.8), (0.38, 2050.0, 2.4)])
def test_the_worksheet_overstates_a_tube_near_by(length, true, over):
    """At 20 cm: about 830 uW/cm2 for 1.15 m, 2,050 for 0.38 m; 5.8 and 2.4 times too much."""
    found = keitz_irradiance(12.2, 0.2, length) / UW_CM2
    assert found == pytest.approx(true, rel=0.02)
    assert 4855.0 / found == pytest.approx(over, abs=0.1)


@pytest.mark.parametrize(("irradiance", "seconds"), [(88.0, 23.0), (22.0, 91.0), (22.5, 89.0)])
def test_times_of_a_makers_page(irradiance, seconds):
    """2 mJ/cm2; the page's 89 s come from its computed 22.5, not from the 22 it measured."""
    assert exposure_time(irradiance * UW_CM2, 2 * MJ_CM2, 1.0, FULL) == pytest.approx(
        seconds, abs=0.5
    )


def test_half_life_to_three_logs():
    """6.41 min on a respirator: 3 logs in 6.41 log2(1000) = 63.9 min; 0.491 on steel: 4.89."""
    for half, minutes in ((6.41, 63.9), (0.491, 4.89)):
        law = Kinetics(half * math.log2(10.0))  # "dose" in minutes at a fixed irradiance
        assert law.dose_for(3.0) == pytest.approx(minutes, abs=0.06)


def test_rates_to_base_e_and_base_ten():
    """D90 = ln 10 / k_e = 1 / k_10: 0.64 cm2/mJ and 1.6 mJ/cm2 belong together to base ten."""
    law = Kinetics(MJ_CM2 / 0.64)
    assert law.dose_for(1.0) == pytest.approx(1.6 * MJ_CM2, rel=0.03)
    k_e = math.log(10.0) * 0.64
    assert law.survival(3.0 * MJ_CM2) == pytest.approx(math.exp(-k_e * 3.0), rel=1e-12)


@pytest.mark.parametrize("f", [1e-4, 0.02, 0.3])
def test_two_stages_are_the_sum_of_both(f):
    """S = (1 - f) 10^(-H / D) + f 10^(-H / D2)."""
    law = Kinetics(12.0, tail=f, tail_d90=150.0)
    dose = np.linspace(0.0, 600.0, 31)
    truth = (1.0 - f) * 10.0 ** (-dose / 12.0) + f * 10.0 ** (-dose / 150.0)
    assert law.survival(dose) == pytest.approx(truth, rel=1e-9)


@pytest.mark.parametrize("n", [1.0, 3.0, 20.0])
def test_shoulder_is_the_multi_target_law(n):
    """S = 1 - (1 - 10^(-H / D))^n."""
    law = Kinetics(12.0, targets=n)
    dose = np.linspace(0.0, 90.0, 31)
    truth = 1.0 - (1.0 - 10.0 ** (-dose / 12.0)) ** n
    assert law.survival(dose) == pytest.approx(truth, rel=1e-7)


def test_twenty_to_one_leaves_six_cycles_and_evenness_gives_them_back():
    """1 J/cm2 on the worst face: 20 on the best, six cycles of 120; at 5 : 1 it is 24."""
    assert cycles_within(120 * J_CM2, 20 * J_CM2) == 6
    assert cycles_within(120 * J_CM2, 5 * J_CM2) == 24
