"""Kinds of entries of a scene file, brought to SI units: numbers, lengths, quantities, names."""

import math
from collections.abc import Callable
from datetime import date, datetime
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo

from raysim.base import units
from raysim.base.errors import first_control
from raysim.library.assumptions import assumptions

# Anything beyond these is a wrong unit or a typing error.
LARGEST_LENGTH = 1000.0  # m
SMALLEST_LENGTH = 1e-6  # m, where a length must not be zero
SMALLEST_ARC = 1e-3  # m, between the ends of a lamp
SMALLEST_SCALE, LARGEST_SCALE = 1e-6, 1e6
# J/m2, 10 kJ/cm2: ten times the largest dose that respirators were tested to (Lindsley 2015,
# doi 10.1080/15459624.2015.1018518) [read].
LARGEST_DOSE = 1e8
LARGEST_HOURS = 1e6
LONGEST_WARM_UP = 86_400.0  # s
UNIT_METRES = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254, "inch": 0.0254, "ft": 0.3048}


def _shown(value: Any) -> str:
    """The value that was found, shortened; tables may be long and deep."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    text = repr(value[:40] if isinstance(value, str) else value)
    return text if len(text) < 60 else f"{text[:40]} ..."


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{_shown(value)} is not a number")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise ValueError(f"{str(value)[:40]} is not a finite number")
    return number


def _switch(value: Any) -> bool:
    if not isinstance(value, bool):
        raise ValueError(f"{_shown(value)} is neither true nor false, written without quotes")
    return value


def _day(value: Any) -> date:
    """A day, written as TOML has it, 2026-03-01, or the same in quotes."""
    if isinstance(value, str):
        try:
            return date.fromisoformat(value)
        except ValueError:
            pass
    if not isinstance(value, date) or isinstance(value, datetime):
        shown = f"{value}" if isinstance(value, date) else _shown(value)
        raise ValueError(f"{shown} is not a day such as 2026-03-01")
    return value


def _length(value: Any, info: ValidationInfo) -> float:
    """Metres of a plain number in the scene's `units` or of a string with a unit."""
    if isinstance(value, str):
        metres = units.parse_quantity(value, units.LENGTH)
    else:
        metres = _number(value) * (info.context or {}).get("metres_per_unit", 0.001)
    if abs(metres) > LARGEST_LENGTH:
        raise ValueError(f"{value} is {metres:.3g} m, which is no length in or about a box")
    return metres


def _quantity(quantity: str) -> BeforeValidator:
    def parse(value: Any) -> float:
        if not isinstance(value, str):
            raise ValueError(f"{_shown(value)} lacks its unit, such as {units.EXAMPLE[quantity]}")
        return units.parse_quantity(value, quantity)

    return BeforeValidator(parse, json_schema_input_type=str)


def _one_line(value: str) -> str:
    """A name on one line, without control characters for colours or the direction of writing."""
    if not value.strip():
        raise ValueError("a name needs letters or digits")
    letter = first_control(value)
    if letter:
        raise ValueError(f"U+{ord(letter):04X} is a control character, not a letter")
    return value


def _refused(wrong: Callable[[Any], bool], told: str) -> AfterValidator:
    """Validator that refuses values (SI) which are `wrong`; the message may show the value."""

    def check(value: Any) -> Any:
        if wrong(value):
            raise ValueError(told.format(value))
        return value

    return AfterValidator(check)


def _at_most(limit: float, words: str) -> AfterValidator:
    return _refused(lambda v: v > limit, f"it is more than {words}, which cannot be meant")


_NO_SPECK = _refused(lambda v: v < SMALLEST_LENGTH, "{:.3g} m is no length in or about a box")
_SOME_UNIT = _refused(
    lambda v: not SMALLEST_SCALE <= v <= LARGEST_SCALE, "a scale of {:g} fits no unit of length"
)
_NOT_ZERO = _refused(lambda v: not any(v), "facing is a direction and must not be all zero")
_SOBER = _refused(
    lambda v: not 1e-9 <= max(map(abs, v)) <= 1e9, "a direction has numbers such as [0, 1, 0]"
)


def assumed(key: str) -> Any:
    """Default of a key: an assumption of the library."""
    return Field(default_factory=lambda: assumptions()[key].value)


Switch = Annotated[bool, BeforeValidator(_switch)]
Number = Annotated[float, BeforeValidator(_number)]
Length = Annotated[float, BeforeValidator(_length, json_schema_input_type=float | str)]
PositiveLength = Annotated[Length, Field(gt=0), _NO_SPECK]
Scale = Annotated[Number, Field(gt=0), _SOME_UNIT]
Power = Annotated[float, _quantity(units.POWER), Field(gt=0)]
Irradiance = Annotated[float, _quantity(units.IRRADIANCE), Field(gt=0)]
MeasuredIrradiance = Annotated[float, _quantity(units.IRRADIANCE), Field(ge=0)]
Dose = Annotated[float, _quantity(units.DOSE), Field(gt=0), _at_most(LARGEST_DOSE, "10,000 J/cm2")]
Time = Annotated[float, _quantity(units.TIME), Field(ge=0), _at_most(LONGEST_WARM_UP, "a day")]
Area = Annotated[float, _quantity(units.AREA), Field(gt=0)]
Day = Annotated[date, BeforeValidator(_day)]
Share = Annotated[Number, Field(ge=0, le=1)]
PositiveShare = Annotated[Number, Field(gt=0, le=1)]
Hours = Annotated[Number, Field(ge=0, le=LARGEST_HOURS)]
Count = Annotated[int, Field(ge=1, le=100_000)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
GivenName = Annotated[Name, AfterValidator(_one_line)]
MeshPath = Annotated[str, Field(min_length=1, max_length=1000)]
Point = tuple[Length, Length, Length]
Triple = tuple[Number, Number, Number]
Angle = Annotated[Number, Field(ge=-3600, le=3600)]
Direction = Annotated[Triple, _NOT_ZERO, _SOBER]


class Table(BaseModel):
    """A table of the scene file: no unknown keys, and read-only."""

    model_config = ConfigDict(extra="forbid", frozen=True)
