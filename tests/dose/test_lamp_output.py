"""Lamps: Keitz's formula both ways, inverse-square error, and what use takes from a lamp."""

import math

import numpy as np
import pytest

from raysim.base.cases import BRIGHT, CAUTIOUS, EXPECTED
from raysim.dose.lamp_output import ageing_factor, lamp_factors
from raysim.library.keitz import keitz_irradiance, keitz_power
from raysim.scene.file.written import LampsBehaviour

# Irradiance that the inverse square law gives from the one at 1 m, over the true one, at 5, 10, 20,
# 30 and 50 cm for an arc of 0.36, 0.81 and 1.15 m: Keitz's line, to two or three digits.
DISTANCES = (0.05, 0.10, 0.20, 0.30, 0.50)
INVERSE_SQUARE_ERROR = {
    0.36: (4.5, 2.4, 1.43, 1.20, 1.06),
    0.81: (9.3, 4.7, 2.4, 1.7, 1.25),
    1.15: (12.2, 6.1, 3.1, 2.1, 1.41),
}
# UVC watts, uW/cm2 at 1 m, arc (m): catalogue values (from memory), within 15 %.
CATALOGUE = {
    "15 W T8": (4.9, 48.0, 0.36),
    "30 W T8": (12.0, 100.0, 0.81),
    "36 W T8": (15.0, 145.0, 1.15),
    "75 W": (25.5, 220.0, 1.15),
    "8 W T5": (2.3, 21.0, 0.235),
}


@pytest.mark.parametrize("length", INVERSE_SQUARE_ERROR)
def test_inverse_square_from_one_metre_misleads_near_a_tube(length):
    for distance, printed in zip(DISTANCES, INVERSE_SQUARE_ERROR[length], strict=True):
        naive = keitz_irradiance(1.0, 1.0, length) / distance**2
        error = naive / keitz_irradiance(1.0, distance, length)
        digits = len(str(printed).split(".")[1])
        assert error == pytest.approx(printed, abs=0.51 * 10.0**-digits)


def test_keitz_is_the_integral_of_the_sine_law():
    # Each element dz of a Lambertian line gives P / (pi^2 L) cos^2 / r^2 on a facing receiver.
    for distance, length in ((0.05, 0.36), (0.3, 0.815), (1.0, 1.15)):
        z = (np.arange(20_000) + 0.5) / 20_000 * length - 0.5 * length
        r2 = distance**2 + z**2
        summed = (distance**2 / r2**2).sum() * length / 20_000 / (math.pi**2 * length)
        assert keitz_irradiance(1.0, distance, length) == pytest.approx(summed, rel=1e-6)


def test_keitz_both_ways():
    for power in (0.9, 4.9, 25.5):
        for distance in (0.02, 0.5, 2.0):
            e = keitz_irradiance(power, distance, 0.36)
            assert keitz_power(e, distance, 0.36) == pytest.approx(power, rel=1e-14)
            assert keitz_irradiance(2.0 * power, distance, 0.36) == pytest.approx(
                2.0 * e, rel=1e-14
            )


def test_keitz_near_and_far():
    # P / (2 pi D L) close by, P / (pi^2 D^2) far off (4 / pi of an isotropic source).
    near = keitz_irradiance(1.0, 1e-4, 0.36)
    assert near == pytest.approx(1.0 / (2.0 * math.pi * 1e-4 * 0.36), rel=1e-3)
    far = keitz_irradiance(1.0, 100.0, 0.36)
    assert far == pytest.approx(1.0 / (math.pi**2 * 1e4), rel=1e-5)


@pytest.mark.parametrize("lamp", CATALOGUE)
def test_catalogue_watts_and_irradiance_belong_together(lamp):
    watts, at_1_m, arc = CATALOGUE[lamp]
    assert keitz_irradiance(watts, 1.0, arc) == pytest.approx(0.01 * at_1_m, rel=0.15)


def test_lamps_age_in_proportion_and_not_less_than_to_rated_life():
    behaviour = LampsBehaviour(ageing=0.8, rated_hours=8_000)
    assert ageing_factor(0.0, behaviour) == pytest.approx(0.8)
    assert ageing_factor(8_000.0, behaviour) == pytest.approx(0.8)
    assert ageing_factor(12_000.0, behaviour) == pytest.approx(0.7)
    assert ageing_factor(1e6, behaviour) == 0.0


def test_the_timer_takes_the_aged_lamp_and_wear_the_new_one():
    behaviour = LampsBehaviour(ageing=0.8, rated_hours=8_000, temperature=0.95, dirt=0.9)
    factors = lamp_factors([0.0, 12_000.0], behaviour)
    assert factors[CAUTIOUS] == pytest.approx([0.8 * 0.95 * 0.9, 0.7 * 0.95 * 0.9])
    assert factors[EXPECTED].tolist() == factors[BRIGHT].tolist() == [1.0, 1.0]


def test_defaults_are_those_stated():
    # Malley 2020: 20 % lost at about 8,000 h; 0.90 for a warm box and 0.95 for dust (estimates).
    factors = lamp_factors([100.0], LampsBehaviour())
    assert factors[CAUTIOUS][0] == pytest.approx(0.80 * 0.90 * 0.95)
