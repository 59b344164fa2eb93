"""Do several readings fit each other, and of which lamps do they tell?"""

from dataclasses import replace

import numpy as np
import pytest
import synthetic
from boxes import three_lamps

from raysim.dose.agreement import compare, predicted
from raysim.dose.readings import MeterResult
from raysim.dose.readings_together import (
    error_between_boxes,
    fit_each_other,
    lamps_not_told_of,
    ratio_error,
    unseen_lamps,
)
from raysim.output.words.readings import disagreements
from raysim.output.words.survey import places_lines
from raysim.scene.triangles import MeterPoint
from raysim.studies.survey.places import propose
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.options import RunOptions

ROOT3 = np.sqrt(3.0)
# Four lamps at four points, each mainly lit by one of them, W/m2, by case; invented.
DIRECT = 4.0 * np.eye(4) + 1.0
BY_LAMP = np.stack([DIRECT + part for part in (0.5, 1.0, 2.0)])  # cases, lamps, points


def rows_of(light):
    """The four points with such readings, W/m2 (points,)."""
    up = np.array([0.0, 0.0, 1.0])
    points = [MeterPoint(f"p{k}", np.zeros(3), up, float(e)) for k, e in enumerate(light)]
    return compare(
        [
            MeterResult(point, BY_LAMP[:, :, k], np.ones(4), 0.0, DIRECT[:, k])
            for k, point in enumerate(points)
        ]
    )


def true_light(rng, output=(1.0, 1.0, 1.0, 1.0), shift=None):
    """What a meter shows in a box that differs from the calculation as the assumptions allow."""
    low, middle, high = np.log(BY_LAMP.sum(axis=1))
    shift = (rng.uniform(-0.5, 0.5) if shift is None else shift) * (high - low)
    powers = np.array(output) * (1.0 + rng.uniform(-0.1, 0.1, 4))
    noise = rng.normal(0.0, [0.05, 0.029, 0.05, 0.05 / ROOT3, 0.05], (4, 5)).sum(axis=1)
    meter = rng.normal(0.0, 0.05)
    return np.exp(shift + noise + meter) * (powers @ BY_LAMP[1])


def alarms(boxes, **changes):
    """Share of boxes with a reading that disagrees, and with readings that only contradict."""
    rng = np.random.default_rng(4)
    alone = together = 0
    for _ in range(boxes):
        rows = rows_of(true_light(rng, **changes))
        fit = fit_each_other(rows)
        alone += fit is None
        together += fit is not None and not fit.agrees
    return alone / boxes, together / boxes


def test_the_ratio_of_two_readings_scatters_as_is_told():
    """Of sound boxes by `true_light`: a law of its own, the same terms."""
    rng = np.random.default_rng(7)
    rows, light = rows_of(np.ones(4)), np.array([true_light(rng) for _ in range(4_000)])
    ratios = np.log(light[:, 1] / light[:, 0])
    assert ratio_error(rows[0], rows[1]) == pytest.approx(ratios.std(), rel=0.05)
    assert ratio_error(rows[0], rows[1]) < rows[0].predicted_error


def test_readings_of_two_boxes_of_one_lining_scatter_as_is_told():
    """Both read by a meter of its own; what the lining reflects is the same in both."""
    rng = np.random.default_rng(8)

    def reading():
        return np.log(true_light(rng, shift=0.3)[0])

    apart = np.array([reading() - reading() for _ in range(4_000)])
    row = rows_of(np.ones(4))[0]
    assert error_between_boxes(row) == pytest.approx(apart.std(), rel=0.05)


def test_sound_boxes_are_seldom_refused_and_dim_lamps_often_found():
    """A lamp that is out is found nine times in ten, one at 40 % every other time."""
    _, together = alarms(1000)
    assert 0.005 < together < 0.05
    alone, together = alarms(1000, output=(1.0, 0.05, 1.0, 1.0))
    assert alone + together > 0.9
    alone, together = alarms(1000, output=(1.0, 0.4, 1.0, 1.0))
    assert together > 0.1
    assert alone + together > 0.4


def test_the_odd_point_is_the_one_at_the_dim_lamp():
    light = BY_LAMP[1].sum(axis=0) * [1.0, 0.7, 1.0, 1.0]
    fit = fit_each_other(rows_of(light))
    assert fit.odd == "p1"
    assert fit.ratio == pytest.approx(0.7, abs=0.03)


def test_a_lining_or_a_meter_that_is_off_alike_everywhere_is_no_contradiction():
    for share in (0.8, 0.9, 1.1, 1.25):
        assert fit_each_other(rows_of(share * BY_LAMP[1].sum(axis=0))).agrees


def test_one_reading_or_one_that_disagrees_leaves_nothing_to_compare():
    rows = rows_of(BY_LAMP[1].sum(axis=0))
    assert fit_each_other(rows[:1]) is None
    assert fit_each_other(rows_of(BY_LAMP[1].sum(axis=0) * [1.0, 0.1, 1.0, 1.0])) is None


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    return propose(three_lamps(tmp_path_factory.mktemp("together")))


@pytest.fixture(scope="module")
def told(scene):
    """Meter points of a traced box of three unequal lamps, at the places that are proposed."""
    return predicted(scene, kernel_scene(scene.triangles), RunOptions())


def read_in(meters, case, burning):
    """The points with readings as they are in one case, with only some lamps."""
    read = []
    for meter in meters:
        light = float(meter.by_lamp[case] @ (meter.output * burning))
        read.append(replace(meter, point=replace(meter.point, reading=light)))
    return compare(read)


def test_a_dim_lamp_in_a_box_with_a_brighter_lining_is_found(told):
    """Where the lining is better than believed each reading by itself hides the dim lamp."""
    rows = read_in(told, 2, np.array([0.2, 1.0, 1.0]))
    assert all(row.agrees for row in rows)
    (line,) = disagreements(rows)
    assert line.startswith("The readings do not fit each other")
    for case in (0, 1):
        assert disagreements(read_in(told, case, np.ones(3))) == []


def test_the_proposed_places_tell_of_every_lamp_and_what_none_tells_of_is_named(told, scene):
    """Three of them say little of the weak lamp behind the load; a fourth was added."""
    lamps = scene.triangles.lamps
    assert lamps_not_told_of(told, lamps) == []
    assert lamps_not_told_of(told[:3], lamps) == ["Rear"]
    assert lamps_not_told_of(told[:1], lamps) == ["right", "Rear"]
    assert not any("no free place tells of" in line for line in places_lines(compare(told), lamps))
    lines = places_lines(compare(told[:3]), lamps)
    assert 'Doubt: no free place tells of lamp "Rear".' in lines[-1]


def test_no_single_place_tells_of_three_equal_lamps():
    def unseen(*shares, powers=None):
        return unseen_lamps(np.array(shares), np.ones(len(shares[0])) if powers is None else powers)

    assert unseen([1.0]).tolist() == []
    assert unseen([0.55, 0.45]).tolist() == []
    assert unseen([0.34, 0.33, 0.33]).tolist() == [0, 1, 2]
    assert unseen([0.7, 0.2, 0.1], [0.1, 0.4, 0.5]).tolist() == []
    assert unseen([0.8, 0.2], powers=np.array([9.0, 1.0])).tolist() == []
    assert unseen_lamps(np.zeros((0, 2)), np.ones(2)).tolist() == [0, 1]


def test_readings_that_do_not_fit_each_other_leave_no_timer():
    """Two points of one prediction, 25 W/m2: that they differ so much is no lining."""
    result = synthetic.read(synthetic.result(), 20.0, 31.0)
    assert all(row.agrees for row in result.readings.rows)
    assert not result.readings.agree
    assert result.timer == np.inf
