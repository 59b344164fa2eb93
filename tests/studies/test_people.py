"""Permissible times of a person: printed tables, both bases, and the sign of the safety factor."""

import pytest

from raysim.dose.exposure import WarmUpCurve, exposure_time
from raysim.studies.leak.exposure_limits import (
    DAY,
    SKIN,
    effective,
    exposure_limit,
    permissible_time,
)

UW_CM2 = 0.01  # W/m2 per uW/cm2


@pytest.mark.parametrize(
    ("seconds", "unweighted", "skin"),
    [
        (86_400.0, 0.0694, 0.116),
        (18 * 3600.0, 0.0926, 0.154),
        (12 * 3600.0, 0.139, 0.231),
        (10 * 3600.0, 0.167, 0.278),
        (8 * 3600.0, 0.208, 0.347),
        (4 * 3600.0, 0.417, 0.694),
        (2 * 3600.0, 0.833, 1.39),
        (3600.0, 1.67, 2.78),
        (1800.0, 3.33, 5.56),
        (900.0, 6.67, 11.1),
        (600.0, 10.0, 16.7),
        (300.0, 20.0, 33.3),
        (60.0, 100.0, 167.0),
        (30.0, 200.0, 333.0),
        (15.0, 400.0, 667.0),
        (5.0, 1200.0, 2000.0),
        (1.0, 6000.0, 10_000.0),
    ],
)
def test_table_of_permissible_times(seconds, unweighted, skin):
    """Times and unweighted irradiances, uW/cm2 (NIOSH 1972 basis of 6, skin alone 10 mJ/cm2)."""
    assert permissible_time(unweighted * UW_CM2) == pytest.approx(seconds, rel=0.005)
    by_skin = permissible_time(skin * UW_CM2, limit=exposure_limit(SKIN))
    assert by_skin == pytest.approx(seconds, rel=0.005)


def test_both_bases_give_the_same_time():
    """0.2083 uW/cm2 unweighted is 0.1042 effective: eight hours by 6 and by 3 mJ/cm2."""
    light = 0.2083 * UW_CM2
    assert effective(light) == pytest.approx(0.5 * light)
    assert permissible_time(light) == pytest.approx(8 * 3600.0, rel=1e-3)
    halved = 0.5 * exposure_limit()
    assert permissible_time(effective(light), limit=halved) == pytest.approx(
        permissible_time(light)
    )
    assert permissible_time(light, limit=halved) == pytest.approx(0.5 * permissible_time(light))


def test_at_one_mw_cm2_inside_the_box_it_is_six_seconds():
    assert permissible_time(10.0) == pytest.approx(6.0)


def test_safety_factor_divides_a_persons_time_and_multiplies_a_dose_time():
    assert permissible_time(10.0, 1.5) == pytest.approx(permissible_time(10.0) / 1.5)
    short, long = (exposure_time(10.0, 1e4, f, WarmUpCurve()) for f in (1.0, 1.5))
    assert long == pytest.approx(1.5 * short)


def test_longer_days_get_no_larger_dose():
    assert permissible_time(0.0) == DAY
    assert permissible_time(0.01 * UW_CM2) == DAY
    assert permissible_time(60.0 / DAY * 1.001) < DAY


@pytest.mark.parametrize("wrong", [(-1.0, 1.0), (1.0, 0.5)])
def test_nonsense_is_refused(wrong):
    with pytest.raises(ValueError, match="at least 1"):
        permissible_time(*wrong)
