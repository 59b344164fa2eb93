"""Meter against calculation: uncertainties, E_n, fits, and what readings cannot tell."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from raysim.fit import between_cases, fit_readings
from raysim.result import CASES, CAUTIOUS
from raysim.scene.triangles import MeterPoint
from raysim.survey import (
    Prediction,
    compare,
    corrected_time,
    normalised_error,
    prediction_uncertainty,
    reading_uncertainty,
)

sys.path.insert(0, str(Path(__file__).parent / "output"))
import synthetic

RNG = np.random.default_rng(4)
# Invented irradiance of two lamps at six points, W/m2, by case.
DIRECT = np.array([[9.0, 6.0, 3.0, 2.0, 1.0, 0.0], [1.0, 2.0, 3.0, 6.0, 9.0, 0.0]])
BY_LAMP = np.stack([DIRECT + part for part in (1.0, 2.0, 4.0)])
MIDDLE = 0.4


def test_reading_is_good_to_nine_percent():
    """5 % meter, 5 % direction, 5 % drift, 2.9 % place: about 9 % (proposed budget)."""
    assert reading_uncertainty() == pytest.approx(0.09, abs=0.002)


def test_agreement_within_about_28_percent():
    """11 % and 9 %, k = 2: E_n = 1 at a difference of 28 % of equal values (proposed budget)."""
    edge = np.hypot(2 * 0.11, 2 * 0.09)
    assert edge == pytest.approx(0.284, abs=0.001)
    assert normalised_error(1.0, 0.11, 1.0, 0.09) == 0.0
    assert normalised_error(1.0, 0.11, 1.2, 0.09) < 1.0 < normalised_error(1.0, 0.11, 1.5, 0.09)
    assert normalised_error(1.0, 0.11, 0.8, 0.09) < 1.0 < normalised_error(1.0, 0.11, 0.6, 0.09)


def prediction(readings, by_lamp=BY_LAMP):
    meters = tuple(
        MeterPoint(f"p{k}", np.zeros(3), np.array([0.0, 0.0, 1.0]), reading)
        for k, reading in enumerate(readings)
    )
    return Prediction(meters, by_lamp, 0.005 * by_lamp)


def test_reflectance_dominates_where_no_direct_light_comes():
    errors = prediction_uncertainty(prediction([None] * 6))
    assert errors[5] > errors[0] > 0.07
    assert errors[5] == pytest.approx(np.hypot(0.082, 0.5 * np.log(4.0) / np.sqrt(3.0)), abs=0.005)


def test_points_without_reading_are_not_judged():
    rows = compare(prediction([11.0 * 1.4, None, 5.0, None, None, None]))
    assert rows[1].normalised is None
    assert rows[0].normalised == pytest.approx(
        normalised_error(14.0, rows[0].predicted_error, 15.4, reading_uncertainty())
    )


@pytest.mark.parametrize("place", [0.0, MIDDLE, 1.0])
def test_cases_are_met_exactly(place):
    number = [0.0, MIDDLE, 1.0].index(place)
    assert between_cases(BY_LAMP, MIDDLE, place) == pytest.approx(BY_LAMP[number])


def test_nothing_between_dark_cases():
    assert between_cases(np.zeros((3, 2)), MIDDLE, 0.7).tolist() == [0.0, 0.0]


def readings_of(output, place, noise=0.0):
    clean = np.array(output) @ between_cases(BY_LAMP, MIDDLE, place)
    return clean * np.exp(noise * RNG.standard_normal(clean.size))


@pytest.mark.parametrize(("output", "place"), [((1.0, 1.0), 0.4), ((0.6, 1.1), 0.8)])
def test_lamps_and_reflectance_are_found_again(output, place):
    errors = np.full(6, 0.01)
    fit = fit_readings(readings_of(output, place), BY_LAMP, errors, MIDDLE)
    assert fit.output == pytest.approx(np.array(output), rel=0.01)
    assert fit.place == pytest.approx(place, abs=0.03)
    assert fit.settled.all()
    assert fit.together == ()


def test_noise_stays_within_the_stated_errors():
    """Of 200 noisy surveys 95 % should lie within two standard errors; fewer than 85 is wrong."""
    truth, place = np.array([0.7, 0.9]), 0.5
    inside = 0
    for _ in range(200):
        readings = readings_of(truth, place, noise=0.05)
        fit = fit_readings(readings, BY_LAMP, np.full(6, 0.05), MIDDLE)
        off = np.abs(np.log(fit.output / truth)) / fit.output_error
        inside += bool((off < 2.0).all())
    assert inside > 170


def test_one_point_between_two_lamps_settles_neither():
    one = BY_LAMP[:, :, 2:3]  # both lamps give it the same
    fit = fit_readings(np.array([4.0]), one, np.array([0.09]), MIDDLE)
    assert not fit.settled.any()
    assert fit.output[0] == pytest.approx(fit.output[1], rel=1e-6)


def test_lamps_that_look_alike_are_named():
    same = np.repeat(BY_LAMP[:, :1], 2, axis=1)  # two lamps side by side
    readings = 2.0 * same[1].sum(axis=0) * 0.4
    fit = fit_readings(readings, same, np.full(6, 0.01), MIDDLE)
    assert (0, 1) in fit.together
    assert not fit.settled[:2].any()
    assert fit.predicted == pytest.approx(readings, rel=0.02)  # their sum is known all the same


def fit_of(output, place=0.0, error=0.0):
    some = fit_readings(readings_of((1.0, 1.0), 0.4), BY_LAMP, np.full(6, 0.01), MIDDLE)
    output = np.array(output, float)
    return replace(
        some, output=output, output_error=np.full(2, error), place=place, place_error=0.0
    )


def test_rated_lamps_and_low_reflectance_give_back_the_timer():
    """At the low ends the corrected time is that of the cautious case, lamp factors apart."""
    whole = synthetic.result()
    assert len(whole.triangles.lamps) == 2
    case = whole.cases[CAUTIOUS]
    full = corrected_time(whole, fit_of((1.0, 1.0)), MIDDLE)
    dim = corrected_time(whole, fit_of((case.lamp_factor, case.lamp_factor)), MIDDLE)
    assert dim == pytest.approx(whole.timer, rel=1e-6)
    assert full < dim


def test_weaker_lamps_and_doubt_make_the_time_longer_and_strong_lamps_no_shorter():
    whole = synthetic.result()
    rated = corrected_time(whole, fit_of((1.0, 1.0)), MIDDLE)
    assert corrected_time(whole, fit_of((0.5, 0.5)), MIDDLE) > 1.5 * rated
    assert corrected_time(whole, fit_of((1.0, 1.0), error=0.1), MIDDLE) > rated
    assert corrected_time(whole, fit_of((1.5, 1.5)), MIDDLE) == rated
    assert corrected_time(whole, fit_of((1.0, 1.0), place=0.5), MIDDLE) < rated
    assert len(CASES) == 3
