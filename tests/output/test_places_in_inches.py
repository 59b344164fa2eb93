"""Places are told in the unit of the scene: whoever builds in inches measures in inches."""

import re
from fractions import Fraction

import numpy as np
import pytest
from small_scenes import small_scene, write_scene

import raysim
from raysim.output.words.numbers import length, length_words, spot_words, xyz
from raysim.output.words.survey import survey_table
from raysim.studies import survey

INCH = 0.0254  # m (definition)
PLACE = re.compile(r"\(at x ([\d /]+), y ([\d /]+), z ([\d /]+) in\)")


def in_inches():
    """The small scene, its numbers those of a rule in inches; what it is made of stays."""
    data = small_scene() | {"units": "in"}

    def inches(values):
        return [value / 25.4 for value in values]

    data["chamber"]["inside"] = inches(data["chamber"]["inside"])
    for lamp in data["lamp"]:
        lamp |= {"from": inches(lamp["from"]), "to": inches(lamp["to"]), "diameter": 16 / 25.4}
    (plate,) = data["object"]
    plate |= {"at": inches(plate["at"]), "scale": 1 / 25.4, "edge": 25 / 25.4}
    return data


def test_lengths_in_millimetres_and_in_sixteenths():
    assert [length(0.1234, unit) for unit in ("mm", "cm", "m")] == ["123.4"] * 3
    assert [length(0.1234, unit) for unit in ("in", "ft")] == ["4 7/8"] * 2
    assert length_words(0.3048, "ft") == "12 in"
    assert xyz(np.array([0.0254, 0.0016, 0.0]), "in") == ("1", "1/16", "0")


def test_a_spot_is_told_in_the_unit_of_its_scene(tmp_path):
    result = raysim.simulate(raysim.load_scene(write_scene(tmp_path, in_inches())), photons=1)
    worst = result.cases["cautious"].worst
    told = [sum(map(Fraction, one.split())) for one in PLACE.search(spot_words(worst)).groups()]
    assert [float(one) * INCH for one in told] == pytest.approx(worst.centroid, abs=INCH / 31)


def test_meter_places_stand_under_their_unit(tmp_path):
    scene = survey.propose(raysim.load_scene(write_scene(tmp_path, in_inches())))
    table = survey_table(survey.study(scene).rows, scene.triangles)
    place = table.rows[0][table.headings.index("middle of the head at x, y, z, in")]
    at = scene.triangles.meters[0].at
    told = [float(sum(map(Fraction, one.split()))) * INCH for one in place.split(", ")]
    assert told == pytest.approx(at, abs=INCH / 31)
