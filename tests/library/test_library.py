"""Tests of the surface, lamp and assumption tables and of the look-up by name."""

import dataclasses
import math

import pytest

from raysim.kernels.mirror import constant_reflectance
from raysim.kernels.models import MODELS, model_number
from raysim.kernels.records import MOST_NUMBERS
from raysim.library import tables
from raysim.library.assumptions import assumptions
from raysim.library.lamps import lamp_types
from raysim.library.surfaces import Surface, UnknownSurface, find_surface, folded_name, surfaces

REQUIRED = (
    "aluminium foil, bright side",
    "aluminium foil, crumpled or hand-glued",
    "aluminium sheet, polished",
    "household mirror",
    "white paint",
    "bare plywood",
    "respirator fabric",
    "strap",
    "lamp tube",
    "lamp holder",
)

# Low, expected and high reflectance and specular share, entered a second time against slips.
SPOT_CHECKS = {
    "aluminium foil, bright side": (0.65, 0.73, 0.80, 0.80),
    "aluminium foil, crumpled or hand-glued": (0.60, 0.70, 0.78, 0.50),
    "aluminium sheet, polished": (0.60, 0.75, 0.89, 0.75),
    "stainless steel sheet": (0.20, 0.28, 0.43, 0.50),
    "expanded PTFE sheet, 0.5 mm or more": (0.93, 0.95, 0.975, 0.02),
    "PTFE, sintered or solid, 5 mm or more": (0.88, 0.90, 0.94, 0.03),
    "white paint": (0.03, 0.05, 0.10, 0.40),
    "bare plywood": (0.02, 0.05, 0.08, 0.0),
    "respirator fabric": (0.05, 0.25, 0.60, 0.0),
    "strap": (0.05, 0.05, 0.25, 0.0),
    "lamp tube": (0.05, 0.50, 0.90, 0.0),
    "lamp holder": (0.05, 0.05, 0.05, 0.0),
}

# Normal-incidence reflectance at 253.7 nm from the Fresnel equations, data set in surfaces.toml.
NORMAL_INCIDENCE = {
    "aluminium, ideal clean (n, k)": 0.9259,
    "aluminium, ideal clean, McPeak (n, k)": 0.9253,
    "aluminium, ideal clean, Cheng (n, k)": 0.9101,
    "silver, ideal clean (n, k)": 0.2782,
    "gold, ideal clean (n, k)": 0.3539,
    "copper, ideal clean (n, k)": 0.3653,
    "brass 70/30, ideal clean (n, k)": 0.3162,
    "chromium, ideal clean (n, k)": 0.4202,
    "iron, ideal clean (n, k)": 0.3395,
    "nickel, ideal clean (n, k)": 0.4550,
    "stainless steel, austenitic, ideal clean (n, k)": 0.4096,
    "stainless steel, ferritic, ideal clean (n, k)": 0.3779,
    "household mirror": 0.0496,
}

ALL_ROWS = [*surfaces().values(), *lamp_types().values(), *assumptions().values()]


def test_a_word_of_a_name_finds_it():
    """`steel` was answered with white paint."""
    with pytest.raises(UnknownSurface) as caught:
        find_surface("Steel")
    assert caught.value.nearest[:2] == ["stainless steel sheet", "galvanised steel sheet"]


def test_all_words_of_a_name_find_it_before_one_of_them():
    """`matte foil` was answered with the bright side and crumpled foil."""
    with pytest.raises(UnknownSurface) as caught:
        find_surface("Matte foil")
    assert caught.value.nearest[0] == "aluminium foil, matte side"


@pytest.mark.parametrize("row", ALL_ROWS, ids=lambda row: getattr(row, "name", None) or row.key)
def test_every_row_has_source_and_known_marks(row):
    assert row.source.strip()
    assert set(row.mark.split(" + ")) <= tables.MARKS


def test_every_surface_has_quality_note_and_marked_specular_share():
    for surface in surfaces().values():
        assert surface.quality in {"A", "B", "C"}
        assert surface.note
        assert surface.specular_mark in tables.MARKS


def test_ranges_are_ordered_and_conserve_energy():
    for row in surfaces().values():
        assert 0.0 <= row.reflectance_low <= row.reflectance <= row.reflectance_high <= 1.0
        assert row.reflectance_high + row.transmittance_high <= 1.0
        assert 0.0 <= row.specular <= 1.0


def test_required_names_and_number_of_rows():
    for name in REQUIRED:
        assert surfaces()[name].name == name
    checks = [name for name in surfaces() if "(n, k)" in name]
    inside = {"strap", "lamp tube", "lamp holder"}
    assert len(checks) == 12
    assert len(set(surfaces()) - set(checks) - inside) == 25
    assert len(lamp_types()) == 13


@pytest.mark.parametrize("name", SPOT_CHECKS)
def test_spot_checked_numbers(name):
    found = find_surface(name)
    numbers = (found.reflectance_low, found.reflectance, found.reflectance_high, found.specular)
    assert numbers == SPOT_CHECKS[name]


@pytest.mark.parametrize("name", NORMAL_INCIDENCE)
def test_fresnel_rows_give_the_known_normal_reflectance(name):
    surface = surfaces()[name]
    index = complex(surface.refractive_index, surface.extinction)
    amplitude = (1.0 - index) / (1.0 + index)
    assert abs(amplitude) ** 2 == pytest.approx(NORMAL_INCIDENCE[name], abs=5e-4)
    assert surface.reflectance == pytest.approx(abs(amplitude) ** 2, abs=1e-12)
    assert surface.is_fresnel
    assert surface.specular == 1.0


def test_only_the_listed_rows_follow_fresnel():
    assert {s.name for s in surfaces().values() if s.is_fresnel} == set(NORMAL_INCIDENCE)


def test_names_and_aliases_are_unique():
    names = [folded_name(name) for s in surfaces().values() for name in (s.name, *s.aliases)]
    assert len(names) == len(set(names))


@pytest.mark.parametrize(
    ("alias", "name"),
    [
        ("Kitchen  Foil", "aluminium foil, bright side"),
        ("ALUMINUM SHEET, polished", "aluminium sheet, polished"),
        ("mirror", "household mirror"),
        ("space blanket", "metallised polyester, film side"),
        ("PTFE sheet", "PTFE, sintered or solid, 5 mm or more"),
        ("plywood", "bare plywood"),
        ("Respirator", "respirator fabric"),
    ],
)
def test_find_by_alias_whatever_the_case(alias, name):
    assert find_surface(alias).name == name


def test_unknown_name_gives_the_nearest():
    with pytest.raises(UnknownSurface) as caught:
        find_surface("houshold miror")
    assert caught.value.nearest[0] == "household mirror"
    assert "household mirror" in str(caught.value)
    assert isinstance(caught.value, KeyError)
    with pytest.raises(UnknownSurface) as caught:
        find_surface("qqqq")
    assert caught.value.nearest == []


def test_rows_that_fool_the_eye_are_dark():
    bright = {s.name for s in surfaces().values() if s.looks_bright}
    for name in ("household mirror", "white paint", "acrylic mirror", "space blanket"):
        assert find_surface(name).name in bright
    assert all(surfaces()[name].reflectance <= 0.20 for name in bright)


@pytest.mark.parametrize(
    "changes",
    [
        {"reflectance": 0.9},
        {"reflectance_low": -0.1},
        {"reflectance_high": 1.1},
        {"specular": 1.01},
        {"reflectance": math.nan},
        {"transmittance": 0.1},
        {"transmittance_high": 0.5},
    ],
)
def test_impossible_surface_is_refused(changes):
    good = Surface("trial", 0.4, 0.5, 0.6, 0.2)
    with pytest.raises(ValueError, match="trial"):
        dataclasses.replace(good, **changes)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ('source = " "\nmark = "read"', "source missing"),
        ('source = "table"\nmark = "heard"', "mark not understood"),
        ('source = "table"\nmark = ""', "mark not understood"),
    ],
)
def test_row_without_provenance_is_refused(tmp_path, monkeypatch, row, message):
    (tmp_path / "surfaces.toml").write_text(f'[[surface]]\nname = "trial"\n{row}\n')
    monkeypatch.setattr(tables.resources, "files", lambda package: tmp_path)
    with pytest.raises(ValueError, match=message):
        tables.data_rows("surface", "name")


@pytest.mark.parametrize("lamp", lamp_types().values(), ids=lambda lamp: lamp.name)
def test_lamp_row_agrees_with_the_keitz_formula(lamp):
    """The recovered watts of the table follow from the irradiance at 1 m and the arc length."""
    arc, distance = lamp.arc_mm / 1000.0, 1.0
    alpha = math.atan(arc / (2.0 * distance))
    factor = 2.0 * math.pi**2 * distance * arc / (2.0 * alpha + math.sin(2.0 * alpha))
    for irradiance, watts in (
        (lamp.irradiance_1m_low_uW_cm2, lamp.keitz_W_low),
        (lamp.irradiance_1m_high_uW_cm2, lamp.keitz_W_high),
    ):
        assert factor * irradiance * 1e-2 == pytest.approx(watts, rel=1e-3)


def test_lamp_ranges_are_ordered_and_below_the_believable_share():
    limit = assumptions()["uvc_share_limit"].value
    for lamp in lamp_types().values():
        assert 0.0 < lamp.uvc_W_low <= lamp.uvc_W_high <= limit * lamp.lamp_W_high
        assert lamp.lamp_W_low <= lamp.lamp_W_high
        assert 0.0 < lamp.diameter_mm < lamp.arc_mm < lamp.tube_length_mm
        assert lamp.tubes in (1, 2)


def test_assumptions_that_repeat_a_surface_agree_with_it():
    values = {key: entry.value for key, entry in assumptions().items()}
    tube, fabric = find_surface("lamp tube"), find_surface("respirator fabric")
    assert values["lamp_tube_reflectance_cautious"] == tube.reflectance_low
    assert values["lamp_tube_reflectance"] == tube.reflectance
    assert values["lamp_tube_reflectance_high"] == tube.reflectance_high
    assert values["respirator_reflectance_cautious"] == fabric.reflectance_low
    assert values["respirator_reflectance"] == fabric.reflectance


def test_assumptions_hold_the_stated_defaults():
    expected = {
        "target_dose_J_cm2": 1.0,
        "safety_factor": 1.2,
        "warm_up_start_fraction": 0.5,
        "warm_up_time_min": 5.0,
        "ageing_factor_rated_life": 0.80,
        "rated_life_h": 8000.0,
        "lamp_dirt_clean": 0.95,
        "lamp_dirt_neglected": 0.80,
        "temperature_factor": 0.90,
        "reflectance_max_believable": 0.97,
        "material_dose_J_cm2": 120.0,
        "strap_dose_J_cm2": 240.0,
        "cycles_limit": 10.0,
        "donnings_limit": 5.0,
        "exposure_limit_mJ_cm2": 6.0,
        "exposure_limit_period_h": 8.0,
    }
    assert {key: assumptions()[key].value for key in expected} == expected
    assert all(entry.unit and entry.meaning for entry in assumptions().values())


def test_every_model_of_a_row_is_in_the_table_of_models():
    for row in surfaces().values():
        assert model_number(row.model or "mirror") >= 0
        assert len(row.numbers) <= MOST_NUMBERS
        assert row.is_plain == (not row.model and row.refractive_index is None)


def test_no_row_has_a_model_whose_law_would_make_the_cautious_case_the_expected_one():
    """A law in place of the table is alike in all cases, and the budget steps the table alone.

    Only a `refractive_index` has its doubt (`assess/uncertainty.py`). kernels/README.md says what
    such a model must bring first: a range for each case, and its row of the budget.
    """
    own = {one.name for one in MODELS if one.reflectance is not constant_reflectance}
    assert own == {"fresnel"}, "a new law: bring its cases and its doubt, then name it here"
    assert [row.name for row in surfaces().values() if row.model in own] == []
