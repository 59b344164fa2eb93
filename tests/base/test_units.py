"""Units at the edges: what may stand in a scene file, and how numbers are printed."""

import math

import numpy as np
import pint
import pytest

from raysim.base import unit_symbols, units
from raysim.base.units import (
    AREA,
    DOSE,
    IRRADIANCE,
    LENGTH,
    POWER,
    TEMPERATURE,
    TIME,
    minutes_seconds,
    parse_quantity,
)

LIBRARY = pint.UnitRegistry()

# SI values by hand from the definitions: 1 in = 0.0254 m, 1 ft = 0.3048 m (international yard and
# pound, 1959), 1 cm2 = 1e-4 m2, prefixes of the SI.
ACCEPTED = [
    ("300 mm", LENGTH, 0.3),
    ("300mm", LENGTH, 0.3),
    (" 30 cm ", LENGTH, 0.3),
    ("12 in", LENGTH, 0.3048),
    ("1 inch", LENGTH, 0.0254),
    ('12"', LENGTH, 0.3048),
    ("1'", LENGTH, 0.3048),
    ("2 ft", LENGTH, 0.6096),
    ("-5 mm", LENGTH, -0.005),
    (".5 m", LENGTH, 0.5),
    ("3e2 mm", LENGTH, 0.3),
    ("4.8 W", POWER, 4.8),
    ("4800 mW", POWER, 4.8),
    ("48 uW/cm2", IRRADIANCE, 0.48),
    ("48 µW/cm2", IRRADIANCE, 0.48),
    ("48 μW/cm²", IRRADIANCE, 0.48),
    ("1.2 mW/cm2", IRRADIANCE, 12.0),
    ("1.2 mW/cm^2", IRRADIANCE, 12.0),
    ("12 W/m2", IRRADIANCE, 12.0),
    ("1.0 J/cm2", DOSE, 1e4),
    ("1000 mJ/cm2", DOSE, 1e4),
    ("10 kJ/m2", DOSE, 1e4),
    ("5 min", TIME, 300.0),
    ("90 s", TIME, 90.0),
    ("1 h", TIME, 3600.0),
    ("1 cm2", AREA, 1e-4),
    ("100 mm2", AREA, 1e-4),
    ("300 millimetres", LENGTH, 0.3),
    ("12 Inches", LENGTH, 0.3048),
    ("12\N{DOUBLE PRIME}", LENGTH, 0.3048),
    ("\N{MINUS SIGN}5\N{NO-BREAK SPACE}mm", LENGTH, -0.005),
    ("1.2 mW cm-2", IRRADIANCE, 12.0),
    ("1.2 mW·cm⁻²", IRRADIANCE, 12.0),
    ("10000 uW s/cm2", DOSE, 100.0),
    ("10 mWs/cm2", DOSE, 100.0),
    ("10 mW/cm2*s", DOSE, 100.0),
    ("35 C", TEMPERATURE, 35.0),
    ("-4.5 °C", TEMPERATURE, -4.5),
    ("35degC", TEMPERATURE, 35.0),
    ("95 F", TEMPERATURE, 35.0),
]


@pytest.mark.parametrize(("text", "quantity", "value"), ACCEPTED)
def test_text_with_a_unit_becomes_si(text, quantity, value):
    assert parse_quantity(text, quantity) == pytest.approx(value, rel=1e-12)


REFUSED = [
    ("4,8 W", POWER, 'write the decimal point as "."'),
    ("1,000 mm", LENGTH, 'write the decimal point as "."'),
    ("300", LENGTH, "is not a number with a unit of length"),
    ("mm", LENGTH, "is not a number with a unit"),
    ("", LENGTH, "is not a number with a unit"),
    ("three mm", LENGTH, "is not a number with a unit"),
    ("3 mm 4", LENGTH, "not known"),
    ("nan mm", LENGTH, "is not a number with a unit"),
    ("inf W", POWER, "is not a number with a unit"),
    ("1e400 m", LENGTH, "is not a finite number"),
    ("3 W", LENGTH, "is not a length"),
    ("3 mm", POWER, "is not a power"),
    ("48 uW", IRRADIANCE, "irradiance; expected a number"),
    ("1 J", DOSE, "is not a dose"),
    ("1 J/cm", DOSE, "is not a dose"),
    ("5 fortnites", TIME, 'the unit of "5 fortnites" is not known'),
    ("1 cm", AREA, "is not an area; expected a number"),
    ("2 mw/cm2", IRRADIANCE, 'did you mean "mW/cm2"?'),
    ("300 MM", LENGTH, 'did you mean "mm"?'),
    ("1 J/cm2/", DOSE, "is not known"),
    ("1 J//cm2", DOSE, "is not known"),
    ("1 J/cm 2", DOSE, "is not known"),
    ("1 J/cm3", DOSE, "is not a dose"),
    ("35 R", TEMPERATURE, "not a temperature"),
    ("3 C", LENGTH, "is not known"),
]


@pytest.mark.parametrize("name", sorted(unit_symbols.KNOWN))
def test_every_unit_is_worth_what_a_library_of_units_says(name):
    size, dimension = unit_symbols.unit_value(name)
    # "Ws" is written as a product elsewhere.
    theirs = LIBRARY.parse_units(f"{name[:-1]}*s" if name.endswith("Ws") else name)
    base = LIBRARY.Quantity(1.0, theirs).to_base_units()
    assert size == pytest.approx(base.magnitude, rel=1e-15)
    exponents = {name.strip("[]"): power for name, power in base.dimensionality.items()}
    assert dimension == tuple(exponents.get(name, 0) for name in ("length", "mass", "time"))


@pytest.mark.parametrize("unit", ["mW/cm**2", "W/cm**2*s", "kJ/m/m", "uW*s/cm**2", "J/m**2"])
def test_products_and_quotients_are_read_as_by_a_library_of_units(unit):
    size, _ = unit_symbols.unit_value(unit)
    assert size == pytest.approx(LIBRARY.Quantity(1.0, unit).to_base_units().magnitude, rel=1e-14)


@pytest.mark.parametrize(("text", "quantity", "said"), REFUSED)
def test_what_is_no_quantity_is_refused_with_an_example(text, quantity, said):
    with pytest.raises(ValueError, match="expected|such as|finite") as refusal:
        parse_quantity(text, quantity)
    assert said in str(refusal.value)
    assert f'"{text}"' in str(refusal.value)


def test_a_long_text_is_not_taken_apart():
    with pytest.raises(ValueError, match="of 5004 letters is not a number with a unit of length"):
        parse_quantity("1" * 5000 + " mm ", LENGTH)


def test_every_quantity_has_an_example_that_it_accepts_itself():
    for quantity in units.EXAMPLE:
        for example in units.EXAMPLE[quantity].split(" or "):
            assert parse_quantity(example.strip('"'), quantity) > 0.0


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.0, "0 s"),
        (0.2, "1 s"),
        (45.0, "45 s"),
        (59.001, "1 min 00 s"),
        (60.0, "1 min 00 s"),
        (859.3, "14 min 20 s"),
        (3600.0, "1 h 00 min 00 s"),
        (7499.5, "2 h 05 min 00 s"),
        (math.inf, "no finite time"),
    ],
)
def test_a_time_is_printed_and_never_rounded_down(seconds, text):
    assert minutes_seconds(seconds) == text


def test_numbers_go_out_in_the_units_of_the_trade():
    # 1 mW/cm2 = 1e-3 W / 1e-4 m2 = 10 W/m2.
    assert units.to_mW_cm2(10.0) == 1.0
    assert units.to_mJ_cm2(1e4) == 1000.0
    assert units.to_mm(0.25) == 250.0
    assert units.to_mW_cm2(np.array([10.0, 25.0])).tolist() == [1.0, 2.5]
    assert units.J_M2_PER_J_CM2 == 1000.0 * units.J_M2_PER_MJ_CM2
