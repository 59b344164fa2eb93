"""Units at the edges: strings with a unit come in as SI, numbers go out in the trade's units.

Inside the program: metres, watts, W/m2, J/m2, seconds.
"""

import math
import re
from functools import cache
from typing import Any

LENGTH = "length"
POWER = "power"
IRRADIANCE = "irradiance"
DOSE = "dose"
TIME = "time"
AREA = "area"

_SI_UNIT = {
    LENGTH: "m",
    POWER: "W",
    IRRADIANCE: "W/m**2",
    DOSE: "J/m**2",
    TIME: "s",
    AREA: "m**2",
}
EXAMPLE = {
    LENGTH: '"300 mm" or "12 in"',
    POWER: '"4.8 W"',
    IRRADIANCE: '"48 uW/cm2"',
    DOSE: '"1.0 J/cm2"',
    TIME: '"5 min" or "90 s"',
    AREA: '"1 cm2"',
}
LONGEST_QUANTITY = 60  # letters: what is longer is no quantity, and costs time to take apart
_NUMBER_AND_UNIT = re.compile(
    r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-zµμ\"'][A-Za-z0-9µμ²³/*^\"' ]*)\s*"
)
# Letters with a power of 2 or 3, joined by * or /: the library would work out 9**9**9 as well.
_TERM = r"[A-Za-zµμ]+(?:(?:\*\*|\^)?[23²³])?"
_UNIT = re.compile(rf"{_TERM}(?:\s*[*/ ]\s*{_TERM})*")

# 1 mW/cm2 = 10 W/m2, 1 mJ/cm2 = 10 J/m2 (definition of the prefixes).
W_M2_PER_MW_CM2 = 10.0
J_M2_PER_MJ_CM2 = 10.0
J_M2_PER_J_CM2 = 10_000.0


@cache
def _registry() -> Any:
    """Unit registry of the pint library, made on first use because it takes a while."""
    import pint

    registry: Any = pint.UnitRegistry()
    registry.preprocessors.append(
        lambda text: re.sub(r"(?<=[A-Za-zµμ])(?=[23](?![0-9A-Za-z]))", "**", text)
    )
    return registry


def parse_quantity(text: str, quantity: str) -> float:
    """SI value of a string such as "4.8 W" (a number, then a unit).

    Parameters
    ----------
    text : str
    quantity : str
        One of LENGTH, POWER, IRRADIANCE, DOSE, TIME, AREA.

    Raises
    ------
    ValueError
        With a text that says what was expected. A decimal comma is refused, not guessed at.

    Source: definition of the units, by the pint library.
    """
    expected = f"a number with a unit of {quantity}, such as {EXAMPLE[quantity]}"
    if len(text) > LONGEST_QUANTITY:
        raise ValueError(f'"{text[:20]} ..." of {len(text)} letters is not {expected}')
    match = _NUMBER_AND_UNIT.fullmatch(text)
    if match is None:
        comma = ' (write the decimal point as ".")' if "," in text else ""
        raise ValueError(f'"{text}" is not {expected}{comma}')
    number, unit = float(match.group(1)), match.group(2).strip()
    unit = {'"': "inch", "''": "inch", "'": "foot"}.get(unit, unit)
    if not _UNIT.fullmatch(unit):
        raise ValueError(f'the unit of "{text}" is not known; expected {expected}')
    import pint

    try:
        value = float(_registry().Quantity(number, unit).to(_SI_UNIT[quantity]).magnitude)
    except pint.DimensionalityError:
        raise ValueError(f'"{text}" is not a {quantity}; expected {expected}') from None
    except Exception:
        raise ValueError(f'the unit of "{text}" is not known; expected {expected}') from None
    if not math.isfinite(value):
        raise ValueError(f'"{text}" is not a finite number')
    return value


def minutes_seconds(seconds: float) -> str:
    """A time as "14 min 20 s", "2 h 05 min 00 s" or "45 s", rounded up to the next second."""
    if not math.isfinite(seconds):
        return "no finite time"
    whole = math.ceil(seconds - 1e-9)
    hours, rest = divmod(whole, 3600)
    minutes, secs = divmod(rest, 60)
    if hours:
        return f"{hours} h {minutes:02d} min {secs:02d} s"
    return f"{minutes} min {secs:02d} s" if minutes else f"{secs} s"


def to_mW_cm2(irradiance: Any) -> Any:
    """Irradiance in mW/cm2 from W/m2 (definition)."""
    return irradiance / W_M2_PER_MW_CM2


def to_mJ_cm2(dose: Any) -> Any:
    """Dose in mJ/cm2 from J/m2 (definition)."""
    return dose / J_M2_PER_MJ_CM2


def to_mm(length: Any) -> Any:
    """Length in mm from m (definition)."""
    return length * 1000.0
