"""Targets by organism: ranges, sources, and never a shorter time than the default by accident."""

import pytest
from pydantic import ValidationError

from raysim.dose.provenance import stated_assumptions
from raysim.library.organisms import find_organism, organisms
from raysim.library.tables import MARKS
from raysim.scene.file.written import SceneAsWritten, Target

DEFAULT = 1e4  # J/m2, 1.0 J/cm2


def test_every_row_has_a_range_a_source_and_a_mark():
    assert len(organisms()) >= 12
    for o in organisms():
        assert 0.0 < o.d90_low <= o.d90 <= o.d90_high
        assert len(o.source) > 10
        assert set(o.mark.split(" + ")) <= MARKS
        assert o.kinetics("low").d90 <= o.kinetics("expected").d90 <= o.kinetics("high").d90


def test_germs_on_fabric_take_more_than_in_water():
    """Thirteen times more on a respirator than on steel (Fischer et al. 2020, data set)."""
    water, fabric = find_organism("coronavirus", "water"), find_organism("coronavirus", "fabric")
    assert fabric.d90 == pytest.approx(13.0 * water.d90_high, rel=0.01)
    assert fabric.d90_low == pytest.approx(13.0 * water.d90, rel=0.01)


def test_coronavirus_on_fabric_comes_back_to_the_default():
    """At least 3 log at 1 J/cm2 (Grist et al. review): the high end says just that."""
    assert Target(organism="coronavirus", log_reduction=3).dose == pytest.approx(DEFAULT)


@pytest.mark.parametrize("organism", organisms(), ids=lambda o: f"{o.name}-{o.carrier}")
@pytest.mark.parametrize("logs", [0.5, 3.0, 6.0])
def test_never_below_the_default_unless_allowed(organism, logs):
    keys = {"organism": organism.name, "carrier": organism.carrier, "log_reduction": logs}
    needed = organism.kinetics("high").dose_for(logs)
    assert Target(**keys).dose == max(needed, DEFAULT)
    assert Target(**keys, allow_below_default=True).dose == needed
    assert organism.kinetics("high").log_reduction(needed) >= logs * (1.0 - 1e-12)


def test_dose_by_default_and_as_given():
    assert Target().dose == DEFAULT
    assert Target(dose="0.5 J/cm2").dose == pytest.approx(5000.0)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"organism": "coronavirs", "log_reduction": 3}, "did you mean coronavirus"),
        ({"organism": "adenovirus", "log_reduction": 3}, "only on"),
        ({"organism": "coronavirus"}, "needs log_reduction"),
        ({"log_reduction": 3}, "organism, which is missing"),
        ({"allow_below_default": True}, "organism, which is missing"),
        ({"organism": "coronavirus", "log_reduction": 3, "dose": "1 J/cm2"}, "not both"),
    ],
)
def test_mistakes_say_what_is_wrong(keys, words):
    with pytest.raises(ValidationError, match=words):
        Target(**keys)


def test_unknown_names_list_what_there_is():
    with pytest.raises(match="Aspergillus niger"):
        find_organism("zzzz", "water")


def test_the_report_says_which_organism_set_the_dose():
    scene = {
        "title": "t",
        "chamber": {"inside": [300, 300, 300], "lining": "foil"},
        "lamp": [{"name": "a", "from": [1, 1, 1], "to": [1, 1, 99], "diameter": 9, "uvc": "1 W"}],
        "target": {"organism": "influenza", "log_reduction": 3},
    }
    written = SceneAsWritten.model_validate(scene, context={"metres_per_unit": 0.001})
    what, value, source = stated_assumptions(written)[0]
    assert what.startswith("target dose")
    assert value == "1.35 J/cm2"
    assert "3 logs of influenza on fabric" in source
    assert "Mills" in source
