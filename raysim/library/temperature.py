"""Output of a low-pressure lamp against the temperature of the air around it.

The output depends on the pressure of the mercury, which depends on the coldest spot of the wall. It
is largest at one air temperature and falls on both sides of it.
"""

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from raysim.base import units
from raysim.library.tables import data_rows

FEWEST = 2
HARD_START = 10.0  # degrees C: colder lamps start badly; lighting maker's article [read]


@dataclass(frozen=True)
class OutputCurve:
    """Output as a share of the rating, linear between rows of degrees C and share."""

    degrees: tuple[float, ...]
    shares: tuple[float, ...]
    source: str

    def at(self, degrees: float) -> float:
        """Share of the rating in air of some degrees C; ValueError outside the curve.

        Source: linear interpolation (definition).
        """
        if not self.degrees[0] <= degrees <= self.degrees[-1]:
            raise ValueError(
                f"the curve of output runs from {self.degrees[0]:g} to {self.degrees[-1]:g} "
                f"degrees C and says nothing of {degrees:g}"
            )
        return float(np.interp(degrees, self.degrees, self.shares))

    def least(self, coldest: float, hottest: float) -> float:
        """Smallest share over a range of degrees C (definition)."""
        inside = [
            s for d, s in zip(self.degrees, self.shares, strict=True) if coldest < d < hottest
        ]
        return min(self.at(coldest), self.at(hottest), *inside)


def as_air(value: Any) -> tuple[float, float]:
    """Coldest and hottest air, degrees C, from "35 C" or ["15 C", "40 C"].

    Raises
    ------
    ValueError
        Says what was expected.
    """
    values = value if isinstance(value, list) else [value, value]
    if len(values) != 2 or not all(isinstance(entry, str) for entry in values):
        raise ValueError('air is a temperature such as "35 C", or two: ["15 C", "40 C"]')
    coldest, hottest = (units.parse_quantity(entry, units.TEMPERATURE) for entry in values)
    if coldest > hottest:
        raise ValueError("air gives the coldest first, then the hottest")
    return coldest, hottest


def as_curve(rows: Any, source: str = "given in the scene") -> OutputCurve:
    """Curve of rows [degrees C, share of the rating]; ValueError says what is wrong with them."""
    if isinstance(rows, OutputCurve):
        return rows
    try:
        degrees, shares = (tuple(map(float, column)) for column in zip(*rows, strict=True))
    except (TypeError, ValueError):
        raise ValueError("a curve is rows of [degrees C, share of the rating]") from None
    if len(degrees) < FEWEST or any(b <= a for a, b in zip(degrees, degrees[1:], strict=False)):
        raise ValueError("a curve needs two rows or more, of rising degrees")
    if not (min(shares) > 0.0 and max(shares) <= 1.0):
        raise ValueError("the shares of a curve lie above 0, and not above 1 (the rating)")
    return OutputCurve(degrees, shares, source)


@cache
def default_curve() -> OutputCurve:
    """Curve of bare tubes in still air, from the data table."""
    (row,) = data_rows("temperature", "name")
    return as_curve(row["table"], f"{row['source']} ({row['mark']})")
