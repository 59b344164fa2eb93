"""The one place that decides which numbers may be shown: NaN is never a figure.

A time, a dose or a leak that came out as NaN must never be shown. Records of results refuse a NaN
when they are made; words and files refuse it when they are written.
"""

import math
from dataclasses import fields
from typing import Any

from raysim.base.errors import RaysimError


class NotAFigure(RaysimError):
    """A figure that came out as NaN or None and must not be shown."""


def told(value: Any, what: str) -> float:
    """The figure itself, checked that it may be shown; infinity (no finite time) may be.

    Raises
    ------
    NotAFigure
        For NaN or None; `what` says which figure it is.

    >>> told(1.5, "timer")
    1.5
    """
    if value is None or math.isnan(value):
        raise NotAFigure(
            f"{what} came out as no number, so no time, dose or leak can be told. Mend: this is a "
            "fault of raysim itself; report it with the scene, and rely on nothing it told of it"
        )
    return float(value)


def number(value: float, figures: int = 3) -> str:
    """A number to some significant figures: "0.0123", "1.23", "1,230"; the unit is kept.

    Raises
    ------
    NotAFigure
        If it is not a finite number.
    """
    if math.isinf(told(value, "a figure")):
        raise NotAFigure("a figure without end has no digits. Mend: report it with the scene")
    if value == 0.0:
        return "0"
    if abs(value) < 1e-6:
        mantissa, exponent = f"{value:.{figures - 1}e}".split("e")
        return f"{mantissa} × 10^{int(exponent)}"
    rounded = float(f"{value:.{figures - 1}e}")
    digits = figures - 1 - math.floor(math.log10(abs(rounded)))
    return f"{rounded:,.{max(digits, 0)}f}"


def finite_or_none(value: Any) -> float | None:
    """A number as JSON can hold it: None where it is infinite.

    Raises
    ------
    NotAFigure
        For NaN.
    """
    return float(value) if math.isfinite(told(value, "a figure")) else None


class Figures:
    """A record of results: none of its numbers is NaN.

    Raises
    ------
    NotAFigure
        When a record with a NaN is made; the message names the record and its field.
    """

    def __post_init__(self) -> None:
        for field in fields(self):  # type: ignore[arg-type]
            value = getattr(self, field.name)
            for number in value if isinstance(value, tuple) else (value,):
                if isinstance(number, float):
                    told(number, f"{type(self).__name__}.{field.name}")
