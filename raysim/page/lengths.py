"""Lengths of a scene file in mm, and back as the file has them."""

from typing import Any

from raysim.base.units import LENGTH, parse_quantity
from raysim.scene.file.fields import UNIT_METRES

DIGITS = 4  # of a length in the unit of the scene


def metres_per_unit(data: Any) -> float:
    """Length of the unit of plain numbers in a scene, m; mm where it is not known."""
    unit = data.get("units", "mm")
    return UNIT_METRES.get(str(unit), 0.001)


def as_mm(value: Any, data: Any) -> float | None:
    """A length of a scene file in mm, None where it is none."""
    if isinstance(value, bool):
        return None
    if isinstance(value, int | float):
        return float(value) * metres_per_unit(data) * 1000.0
    try:
        return 1000.0 * parse_quantity(str(value), LENGTH)
    except ValueError:
        return None


def written_length(mm: float, before: Any, data: Any) -> Any:
    """A length as the scene file has it: a plain number, or a quantity where one stood `before`."""
    if isinstance(before, str):
        unit = before.strip().lstrip("+-.0123456789eE").strip()
        try:
            size = 1000.0 * parse_quantity(f"1 {unit}", LENGTH)
        except ValueError:
            return f"{_number(mm)} mm"
        return f"{_number(mm / size)} {unit}"
    return _number(mm / metres_per_unit(data) / 1000.0)


def _number(value: float) -> float | int:
    rounded = round(value, DIGITS)
    return int(rounded) if rounded == int(rounded) else rounded
