"""Kinds of entries of a scene file: numbers, lengths and quantities with units, names."""

import math
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo

from raysim import units

LARGEST_LENGTH = 1000.0  # m: what is longer is a slip of the unit or of the pen
UNIT_METRES = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254, "inch": 0.0254, "ft": 0.3048}


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{value!r} is not a number")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise ValueError(f"{str(value)[:40]} is not a finite number")
    return number


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
            raise ValueError(f"{value!r} lacks its unit, such as {units.EXAMPLE[quantity]}")
        return units.parse_quantity(value, quantity)

    return BeforeValidator(parse)


Number = Annotated[float, BeforeValidator(_number)]
Length = Annotated[float, BeforeValidator(_length)]
PositiveLength = Annotated[Length, Field(gt=0)]
Power = Annotated[float, _quantity(units.POWER), Field(gt=0)]
Irradiance = Annotated[float, _quantity(units.IRRADIANCE), Field(gt=0)]
MeasuredIrradiance = Annotated[float, _quantity(units.IRRADIANCE), Field(ge=0)]
Dose = Annotated[float, _quantity(units.DOSE), Field(gt=0)]
Time = Annotated[float, _quantity(units.TIME), Field(ge=0)]
Area = Annotated[float, _quantity(units.AREA), Field(gt=0)]
Share = Annotated[Number, Field(ge=0, le=1)]
PositiveShare = Annotated[Number, Field(gt=0, le=1)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
Point = tuple[Length, Length, Length]
Triple = tuple[Number, Number, Number]


class Table(BaseModel):
    """A table of the scene file: no keys but its own, not to be changed."""

    model_config = ConfigDict(extra="forbid", frozen=True)
