"""Log reductions of a whole result."""

import math
from dataclasses import replace

import numpy as np
import pytest
import synthetic

from raysim.assess.log_reduction import load_reductions
from raysim.library.organisms import find_organism
from raysim.library.survival import load_survival
from raysim.scene.file.written import SceneAsWritten


def asked_for(whole, **target):
    scene = {
        "title": "t",
        "chamber": {"inside": [300, 300, 300], "lining": "foil"},
        "lamp": [{"name": "a", "from": [1, 1, 1], "to": [1, 1, 99], "diameter": 9, "uvc": "1 W"}],
        "target": target,
    }
    written = SceneAsWritten.model_validate(scene, context={"metres_per_unit": 0.001})
    return replace(whole, written=written)


def test_survivors_are_averaged_over_the_judged_area():
    whole = synthetic.result()
    first = load_reductions(whole)[0]
    judged = whole.triangles.judged
    dose = whole.dose_at_timer()[judged]
    areas = np.repeat(whole.triangles.areas[:, None], 2, axis=1)[judged]
    law = find_organism("coronavirus", "fabric").kinetics("high")
    by_hand = -math.log10(
        sum(10 ** (-d / law.d90) * a for d, a in zip(dose, areas, strict=True)) / areas.sum()
    )
    assert first.least == pytest.approx(by_hand, rel=1e-9)
    assert first.least <= first.expected <= first.most
    alive = load_survival(law, dose, areas, 1e-4)
    assert first.with_dark_cm2 == pytest.approx(-math.log10(alive), rel=1e-9)
    assert first.with_dark_cm2 < first.least


def test_the_organism_asked_for_comes_first_and_once():
    whole = asked_for(synthetic.result(), organism="influenza", log_reduction=3)
    names = [(r.organism.name, r.asked) for r in load_reductions(whole)]
    assert names == [("influenza", 3.0), ("coronavirus", None)]


def test_without_a_timer_nothing_is_claimed():
    assert load_reductions(synthetic.result(dark=True)) == ()
