"""Exposure times: published examples to the digit, warm-up, safety factor, and inverses.

UVC injures eyes and skin; these times are arithmetic, not advice.
"""

import math

import numpy as np
import pytest
from scipy import integrate

from raysim.dose.exposure import WarmUpCurve, exposure_time
from raysim.dose.lamp_output import warm_up_curve
from raysim.scene.file.written import WarmUp

FULL = WarmUpCurve()
UW_CM2, MW_CM2 = 0.01, 10.0  # W/m2
MJ_CM2, J_CM2 = 10.0, 10_000.0  # J/m2

# Irradiance (W/m2), dose (J/m2), seconds, rounding of the printed number (s), source.
PUBLISHED = [
    (800 * UW_CM2, 11_600 * UW_CM2, 14.5, 0.05, "B. subtilis, 90 %: 11,600 uW s/cm2 at 800 uW/cm2"),
    (0.15, 400.0, 2_667.0, 0.5, "nematode eggs, 90 %: 400 J/m2 at 0.15 W/m2"),
    (64.6 * UW_CM2, J_CM2, 4.3 * 3_600.0, 10.0, "biosafety cabinet, Card 2020: 4.3 h to 1 J/cm2"),
    (100 * UW_CM2, J_CM2, 10_000.0, 0.0, "NSF 49 new tube: 2 h 47 min"),
    (40 * UW_CM2, J_CM2, 25_000.0, 0.0, "NSF 49 replacement: 6 h 57 min"),
    (5.43 * MW_CM2, 0.89 * J_CM2, 164.0, 0.5, "coupon study: 5.43 mW/cm2 for 164 s"),
    (0.2083 * UW_CM2, 6 * MJ_CM2, 8 * 3_600.0, 6.0, "limit for people over 8 h (NIOSH 1972)"),
    (88 * UW_CM2, 2 * MJ_CM2, 23.0, 0.5, "222 nm maker's page"),
    (14.5 * UW_CM2, 2 * MJ_CM2, 138.0, 0.5, "222 nm maker's page"),
]


@pytest.mark.parametrize(("irradiance", "dose", "seconds", "rounding", "source"), PUBLISHED)
def test_published_examples(irradiance, dose, seconds, rounding, source):
    assert exposure_time(irradiance, dose, 1.0, FULL) == pytest.approx(seconds, abs=rounding + 1e-6)


def test_worked_example():
    # E 0.50 mW/cm2, H 1.0 J/cm2, safety 1.5, ageing 0.80, temperature 0.95: 3,947 s = 65.8 min.
    irradiance = 0.50 * MW_CM2 * 0.80 * 0.95
    cold_free = exposure_time(irradiance, J_CM2, 1.5, FULL)
    assert round(cold_free) == 3_947
    assert round(cold_free / 60.0, 1) == 65.8
    warm_up = WarmUpCurve((0.0,), (0.6,), time_constant=60.0)
    assert exposure_time(irradiance, J_CM2, 1.5, warm_up) - cold_free == pytest.approx(
        24.0, abs=1e-6
    )
    # Wear: best-lit face 20 times as bright, new lamp: 39.5 J/cm2 a cycle, three in 120 J/cm2.
    wear = 20.0 * 0.50 * MW_CM2 * cold_free / J_CM2
    assert round(wear, 1) == 39.5
    assert math.floor(120.0 / wear) == 3


def test_default_warm_up_loses_75_seconds():
    # 50 % at switch-on, linear to 100 % at 5 min: 1.25 min of full output.
    curve = warm_up_curve(WarmUp())
    assert curve == WarmUpCurve((0.0, 300.0), (0.5, 1.0))
    for t in (300.0, 301.0, 4_000.0):
        assert t - curve.effective_seconds(t) == pytest.approx(75.0, abs=1e-9)
    # Inside the warm-up: 0.5 t + t^2 / 1200.
    assert curve.effective_seconds(120.0) == pytest.approx(60.0 + 12.0, rel=1e-14)
    assert curve.effective_seconds(0.0) == 0.0


def test_other_laws_of_warming_up():
    assert warm_up_curve(WarmUp(full_after="0 s")) == FULL
    assert warm_up_curve(WarmUp(start=0.2, full_after="100 s")).effective_seconds(100.0) == 60.0
    law = warm_up_curve(WarmUp(start=0.6, time_constant="60 s"))
    assert law.share(0.0) == pytest.approx(0.6)
    assert law.share(60.0) == pytest.approx(1.0 - 0.4 * math.exp(-1.0))
    # Lost time (1 - y0) tau for t much longer than tau.
    assert 6_000.0 - law.effective_seconds(6_000.0) == pytest.approx(24.0, rel=1e-12)
    bent = warm_up_curve(
        WarmUp(curve=[("0 s", 0.0), ("60 s", 0.0), ("2 min", 0.8), ("240 s", 1.0)])
    )
    assert bent.effective_seconds(60.0) == 0.0
    assert bent.effective_seconds(120.0) == pytest.approx(24.0)
    assert bent.effective_seconds(300.0) == pytest.approx(24.0 + 108.0 + 60.0)
    # While nothing comes out, no time is long enough, and the dark minute counts.
    assert bent.time_for(24.0) == pytest.approx(120.0)


def random_curve(random):
    """A curve of either law; a piecewise one may dip and may stay dark for a while."""
    if random.random() < 0.3:
        return WarmUpCurve((0.0,), (random.random(),), time_constant=random.uniform(1.0, 300.0))
    times = np.concatenate([[0.0], np.cumsum(random.uniform(0.5, 120.0, random.integers(1, 6)))])
    shares = random.random(len(times)) * (random.random(len(times)) > 0.2)
    shares[-1] = 1.0
    return WarmUpCurve(tuple(times), tuple(shares))


def test_time_for_is_the_inverse_of_effective_seconds():
    random = np.random.default_rng(1)
    for _ in range(200):
        curve = random_curve(random)
        for t in random.uniform(0.0, 900.0, 3):
            seconds = curve.effective_seconds(t)
            back = curve.time_for(seconds)
            assert back <= t * (1.0 + 1e-12) + 1e-9  # the smallest such time
            assert curve.effective_seconds(back) == pytest.approx(seconds, rel=1e-9, abs=1e-9)
            if curve.effective_seconds(t * (1.0 - 1e-6)) < seconds * (1.0 - 1e-9):
                assert back == pytest.approx(t, rel=2e-6)


def test_time_for_never_falls_short():
    # The dose at the time given is at least the one asked for, also by rounding.
    random = np.random.default_rng(2)
    for _ in range(400):
        curve = random_curve(random)
        seconds = 10.0 ** random.uniform(-2.0, 5.0)
        assert curve.effective_seconds(curve.time_for(seconds)) >= seconds


def test_effective_seconds_is_the_integral_of_the_share():
    random = np.random.default_rng(3)
    for _ in range(60):
        curve = random_curve(random)
        t = random.uniform(1.0, 700.0)
        knots = [k for k in curve.times if 0.0 < k < t]
        summed = integrate.quad(curve.share, 0.0, t, points=knots or None, limit=200)[0]
        assert curve.effective_seconds(t) == pytest.approx(summed, rel=1e-7)


def test_safety_factor_multiplies_the_dose():
    random = np.random.default_rng(4)
    for _ in range(100):
        curve = random_curve(random)
        e, h, factor = (
            random.uniform(0.1, 50.0),
            random.uniform(10.0, 2e4),
            random.uniform(1.0, 3.0),
        )
        assert exposure_time(e, h, factor, curve) == exposure_time(e, factor * h, 1.0, curve)
        assert exposure_time(e, h, factor, curve) > exposure_time(e, h, 1.0, curve)
    assert exposure_time(2.0, 100.0, 1.2, FULL) == pytest.approx(60.0, rel=1e-12)


@pytest.mark.parametrize("irradiance", [0.0, -1.0, math.nan])
def test_no_light_no_finite_time(irradiance):
    assert exposure_time(irradiance, J_CM2, 1.2, FULL) == math.inf
    assert FULL.time_for(math.inf) == math.inf
