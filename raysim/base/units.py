"""Units at the edges: strings with a unit come in as SI, numbers go out in the trade's units.

Inside the program: metres, watts, W/m2, J/m2, seconds.
"""

import difflib
import math
import re
from typing import Any

from raysim.base.figures import told
from raysim.base.unit_symbols import plain_text, unit_value

LENGTH = "length"
POWER = "power"
IRRADIANCE = "irradiance"
DOSE = "dose"
TIME = "time"
AREA = "area"
TEMPERATURE = "temperature"

# For each quantity the usual units, the SI unit first.
_USUAL = {
    LENGTH: ("m", "mm", "cm", "in", "ft"),
    POWER: ("W", "mW"),
    IRRADIANCE: ("W/m2", "mW/cm2", "uW/cm2", "W/cm2"),
    DOSE: ("J/m2", "mJ/cm2", "J/cm2"),
    TIME: ("s", "min", "h"),
    AREA: ("m2", "cm2", "mm2", "in2"),
    TEMPERATURE: ("C", "F"),
}
EXAMPLE = {
    LENGTH: '"300 mm" or "12 in"',
    POWER: '"4.8 W"',
    IRRADIANCE: '"48 uW/cm2"',
    DOSE: '"1.0 J/cm2"',
    TIME: '"5 min" or "90 s"',
    AREA: '"1 cm2"',
    TEMPERATURE: '"35 C" or "95 F"',
}
LONGEST_QUANTITY = 60  # letters: a longer text is no quantity
_NUMBER_AND_UNIT = re.compile(
    r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z°\"'][A-Za-z0-9/*^\-\"' ]*)\s*"
)

# 1 mW/cm2 = 10 W/m2, 1 mJ/cm2 = 10 J/m2 (definition of the prefixes).
W_M2_PER_MW_CM2 = 10.0
UW_CM2_PER_W_M2 = 100.0
J_M2_PER_MJ_CM2 = 10.0
J_M2_PER_J_CM2 = 10_000.0


def parse_quantity(text: str, quantity: str) -> float:
    """SI value of a string such as "4.8 W" (a number, then a unit).

    Parameters
    ----------
    text : str
    quantity : str
        One of LENGTH, POWER, IRRADIANCE, DOSE, TIME, AREA, TEMPERATURE (in degrees Celsius, the
        only unit inside that is not SI, because lamp curves use it).

    Raises
    ------
    ValueError
        With a text that says what was expected. A decimal comma is refused: its meaning is unclear.

    Source: definition of the units (`unit_symbols`).

    >>> parse_quantity("48 uW/cm2", IRRADIANCE)  # W/m2
    0.48
    >>> round(parse_quantity("12 in", LENGTH), 9)  # m
    0.3048
    >>> parse_quantity("48 uW", IRRADIANCE)
    Traceback (most recent call last):
    ValueError: "48 uW" is not an irradiance; expected ...
    """
    expected = f"a number with a unit of {quantity}, such as {EXAMPLE[quantity]}"
    if len(text) > LONGEST_QUANTITY:
        raise ValueError(f'"{text[:20]} ..." of {len(text)} letters is not {expected}')
    match = _NUMBER_AND_UNIT.fullmatch(plain_text(text))
    if match is None:
        comma = ' (write the decimal point as ".")' if "," in text else ""
        raise ValueError(f'"{text}" is not {expected}{comma}')
    number, unit = float(match.group(1)), match.group(2).strip()
    unit = {'"': "inch", "''": "inch", "'": "foot"}.get(unit, unit)
    if quantity == TEMPERATURE:
        return _celsius(text, number, unit)
    try:
        size, dimension = unit_value(unit)
    except KeyError:
        near = _nearest_unit(unit, quantity)
        hint = f' (did you mean "{near}"?)' if near else ""
        raise ValueError(f'the unit of "{text}" is not known{hint}; expected {expected}') from None
    if dimension != unit_value(_USUAL[quantity][0])[1]:
        raise ValueError(f'"{text}" is not {_a(quantity)}; expected {expected}')
    value = number * size
    if not math.isfinite(value):
        raise ValueError(f'"{text}" is not a finite number')
    return value


def _celsius(text: str, number: float, unit: str) -> float:
    """Degrees Celsius; t_C = (t_F - 32) / 1.8 = T_K - 273.15 (definition of the scales)."""
    degrees = unit.removeprefix("deg").removeprefix("°").strip()
    by_scale = {"C": number, "F": (number - 32.0) / 1.8, "K": number - 273.15}
    if degrees not in by_scale:
        raise ValueError(
            f'"{text}" is not a temperature; expected a number with a unit of temperature, '
            f"such as {EXAMPLE[TEMPERATURE]}"
        )
    return by_scale[degrees]


def _nearest_unit(unit: str, quantity: str) -> str:
    """The usual unit of the quantity that is spelt nearly so; "" if there is none."""
    by_small = {usual.casefold(): usual for usual in _USUAL[quantity]}
    close = difflib.get_close_matches(unit.casefold(), by_small, n=1, cutoff=0.7)
    return by_small[close[0]] if close else ""


def _a(noun: str) -> str:
    return f"an {noun}" if noun[0] in "aeiou" else f"a {noun}"


def minutes_seconds(seconds: float) -> str:
    """A time as "14 min 20 s", "2 h 05 min 00 s" or "45 s", rounded up to the next second.

    >>> minutes_seconds(859.3)
    '14 min 20 s'
    >>> minutes_seconds(math.inf)
    'no finite time'
    """
    if math.isinf(told(seconds, "a time")):
        return "no finite time"
    whole = math.ceil(seconds - 1e-9)
    hours, rest = divmod(whole, 3600)
    minutes, secs = divmod(rest, 60)
    if hours:
        return f"{hours} h {minutes:02d} min {secs:02d} s"
    return f"{minutes} min {secs:02d} s" if minutes else f"{secs} s"


def to_mW_cm2(irradiance: Any) -> Any:
    """Irradiance in mW/cm2 from W/m2 (definition).

    >>> to_mW_cm2(12.0)
    1.2
    """
    return irradiance / W_M2_PER_MW_CM2


def to_mJ_cm2(dose: Any) -> Any:
    """Dose in mJ/cm2 from J/m2 (definition).

    >>> to_mJ_cm2(10_000.0)
    1000.0
    """
    return dose / J_M2_PER_MJ_CM2


def to_mm(length: Any) -> Any:
    """Length in mm from m (definition).

    >>> to_mm(0.25)
    250.0
    """
    return length * 1000.0
