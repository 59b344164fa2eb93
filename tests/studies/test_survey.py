"""Lamps and reflectance fitted to meter readings, and what readings cannot tell."""

import numpy as np
import pytest

from raysim.studies.survey.fit import between_cases, fit_readings

RNG = np.random.default_rng(4)
# Invented irradiance of two lamps at six points, W/m2, by case.
DIRECT = np.array([[9.0, 6.0, 3.0, 2.0, 1.0, 0.0], [1.0, 2.0, 3.0, 6.0, 9.0, 0.0]])
BY_LAMP = np.stack([DIRECT + part for part in (1.0, 2.0, 4.0)])
MIDDLE = 0.4


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
    assert fit.decided.all()
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
    assert not fit.decided.any()
    assert fit.output[0] == pytest.approx(fit.output[1], rel=1e-6)


def test_lamps_that_look_alike_are_named():
    same = np.repeat(BY_LAMP[:, :1], 2, axis=1)  # two lamps side by side
    readings = 2.0 * same[1].sum(axis=0) * 0.4
    fit = fit_readings(readings, same, np.full(6, 0.01), MIDDLE)
    assert (0, 1) in fit.together
    assert not fit.decided[:2].any()
    assert fit.predicted == pytest.approx(readings, rel=0.02)  # their sum is known all the same
