"""Reuse limits: worked figures, straps apart, and the limit that binds."""

from dataclasses import replace

import numpy as np
import pytest
import synthetic

from raysim.assess.reuse import FACEPIECE, STRAPS, cycles_within, part_wear, reuse
from raysim.dose.exposure import WarmUpCurve
from raysim.output.words.wear import reuse_lines, reuse_record
from raysim.scene.file.written import SceneAsWritten

J = 1e4  # J/m2 per J/cm2


def with_wear(whole, **wear):
    scene = {
        "title": "t",
        "chamber": {"inside": [300, 300, 300], "lining": "foil"},
        "lamp": [{"name": "a", "from": [1, 1, 1], "to": [1, 1, 99], "diameter": 9, "uvc": "1 W"}],
        "wear": wear,
    }
    written = SceneAsWritten.model_validate(scene, context={"metres_per_unit": 0.001})
    return replace(whole, written=written)


@pytest.mark.parametrize(
    ("limit", "dose", "cycles"),
    [
        (120.0, 39.47, 3),  # worked: 20 x 0.5 mW/cm2 over 3,947 s, floor(120 / 39.5)
        (120.0, 20.0, 6),  # worked: 1 J/cm2 on the worst face, 20 : 1 spread
        (10.0, 1.0, 10),
        (0.3, 0.1, 3),
        (10.0, 10.001, 0),
    ],
)
def test_worked_cycles(limit, dose, cycles):
    assert cycles_within(limit * J, dose * J) == cycles


def result_with(shell: float, strap: tuple[float, float], seconds: float):
    """A result whose facepieces get `shell` W/m2 and straps `strap` by side, bright case."""
    whole = synthetic.result()
    triangles = whole.triangles
    names = np.array([part.name for part in triangles.parts])[triangles.face_part]
    is_strap = np.char.find(names.astype(str), "strap") >= 0
    assert is_strap.any()
    values = np.where(is_strap[:, None], np.array(strap)[None], shell)
    whole = synthetic.with_case(whole, "bright", values)
    cautious = replace(whole.cases["cautious"], exposure_time=seconds)
    return replace(whole, cases={**whole.cases, "cautious": cautious}, warm_up=WarmUpCurve())


def test_straps_are_judged_apart_with_both_sides_added():
    face, straps = part_wear(result_with(50.0, (30.0, 45.0), 1000.0))
    assert (face.part, straps.part) == (FACEPIECE, STRAPS)
    assert face.dose == pytest.approx(50_000.0)
    assert straps.irradiance == pytest.approx(75.0)
    assert straps.dose == pytest.approx(75_000.0)


def test_warm_up_is_not_counted_as_full_light():
    whole = replace(
        result_with(50.0, (1.0, 1.0), 1000.0), warm_up=WarmUpCurve((0.0, 300.0), (0.5, 1.0))
    )
    assert part_wear(whole)[0].dose == pytest.approx(50.0 * (1000.0 - 75.0))


@pytest.mark.parametrize(
    ("shell", "strap", "wear", "cycles", "binding"),
    [
        (10.0, 1.0, {}, 5, "donnings"),
        (10.0, 1.0, {"donnings": 99}, 10, "cycles"),  # nominal practice
        (10.0, 1.0, {"donnings": 99, "policy_cycles": 20}, 20, "local policy"),  # in its place
        (500.0, 1.0, {}, 2, "dose on the facepiece"),  # 2 x 50 of 120 J/cm2
        (10.0, 400.0, {}, 3, "dose on the straps"),  # 3 x 80 of 240 J/cm2, both sides
        (10.0, 1.0, {"policy_cycles": 3}, 3, "local policy"),
        (10.0, 1.0, {"donnings": 8}, 8, "donnings"),
        (50.0, 1.0, {"material_dose": "20 J/cm2", "donnings": 99}, 4, "dose on the facepiece"),
        (10.0, 40.0, {"strap_dose": "16 J/cm2"}, 2, "dose on the straps"),
        (1300.0, 1.0, {}, 0, "dose on the facepiece"),
    ],
)
def test_the_smallest_limit_binds(shell, strap, wear, cycles, binding):
    whole = with_wear(result_with(shell, (strap, strap), 1000.0), **wear)
    found = reuse(whole)
    assert (found.cycles, found.binding) == (cycles, binding)
    assert all(limit.source for limit in found.limits)


def test_cycles_beyond_what_fit_was_tested_at_are_counted():
    """30 J/cm2 a cycle: four of 120 J/cm2, but fit was tested to about 50."""
    found = reuse(result_with(300.0, (1.0, 1.0), 1000.0))
    assert (found.cycles, found.fit_tested) == (4, 1)
    (words,) = reuse_lines(result_with(300.0, (1.0, 1.0), 1000.0))
    assert "Fit was not tested beyond some 50 J/cm2, which cycle 2 passes" in words
    (words,) = reuse_lines(result_with(90.0, (1.0, 1.0), 1000.0))  # 5 x 9 J/cm2
    assert "Fit" not in words


def test_a_given_limit_shows_its_source_or_that_it_has_none():
    whole = result_with(10.0, (1.0, 1.0), 1000.0)
    (named, *_) = reuse(with_wear(whole, material_dose="60 J/cm2", source="own test")).limits
    assert named.source == "given in the scene: own test"
    (bare, *_) = reuse(with_wear(whole, material_dose="60 J/cm2")).limits
    assert bare.source.endswith("without a source")


def test_noise_on_small_strap_faces_is_averaged_out():
    """One bright fluke on a strap of even light must not pass for its best-lit place."""
    whole = result_with(50.0, (30.0, 45.0), 1000.0)
    (_, even) = part_wear(whole)
    light = whole.cases["bright"].irradiance.copy()
    light[even.face, 0] *= 3.0
    straps = np.flatnonzero(whole.triangles.face_part == whole.triangles.face_part[even.face])
    apart = whole.triangles.centroids[straps] - whole.triangles.centroids[even.face]
    assert (np.linalg.norm(apart, axis=1) < 0.0056).sum() > 1, "nothing to average with"
    (_, noisy) = part_wear(synthetic.with_case(whole, "bright", light))
    assert noisy.irradiance < 0.8 * (90.0 + 45.0)


def test_words_name_the_place_its_dose_and_what_helps():
    whole = result_with(1300.0, (1.0, 1.0), 1000.0)
    none, where = reuse_lines(whole)
    assert "not even one cycle" in none
    assert "the limit of 120 J/cm2 (dose on the facepiece)" in none
    assert "respirator" in where
    assert "30 J/cm2 a cycle" in where.replace("30.0", "30")
    assert "Never from a shorter timer" in where
    record = reuse_record(whole)
    part = record["parts"][0]
    assert part["dose_per_cycle_mJ_cm2"] == pytest.approx(130_000.0)


def test_no_timer_no_reuse():
    assert reuse(synthetic.result(dark=True)) is None
