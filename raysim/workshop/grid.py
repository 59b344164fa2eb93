"""Lengths as a workshop reads them: whole steps of 0.5 mm or of 1/16 inch, and their print.

Everything that is drawn is a whole number of steps. So what is measured on a drawing, typed into a
scene again and read gives the same float64 to the last bit.
"""

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from raysim.base.units import LENGTH, parse_quantity

_PART = re.compile(r"-?\d+(\.\d+|/[1-9]\d*)?")


@dataclass(frozen=True)
class Grid:
    """A unit, and how many steps make one of it."""

    unit: str  # "mm" or "in", as scene files spell it
    per_unit: int

    @property
    def name(self) -> str:
        """The unit as it stands behind "in" (definition)."""
        return "inches" if self.unit == "in" else self.unit

    @cached_property
    def step(self) -> float:
        """Length of a step, m."""
        return self.metres(1)

    @property
    def step_words(self) -> str:
        """A step in words: "0.5 mm" or "1/16 in"."""
        return f"{self.text(1)} {self.unit}"

    def steps(self, metres: float) -> int:
        """The nearest whole number of steps to a length, m; halves go up (definition).

        >>> MM.steps(0.0123)
        25
        """
        return math.floor(metres / self.step + 0.5)

    def written(self, steps: int) -> str:
        """A length as a scene file holds it: exact, with its unit.

        >>> MM.written(25), INCH.written(67)
        ('12.5 mm', '4.1875 in')
        """
        return f"{steps / self.per_unit:.10g} {self.unit}"

    def metres(self, steps: int) -> float:
        """A length as the reader of scene files takes it, m, to the last bit."""
        return parse_quantity(self.written(steps), LENGTH)

    def text(self, steps: int) -> str:
        """A length as it is printed, without its unit.

        >>> MM.text(25), INCH.text(67), INCH.text(3), INCH.text(32)
        ('12.5', '4 3/16', '3/16', '2')
        """
        if self.unit == "mm" or steps < 0:
            return f"{steps / self.per_unit:.10g}"
        whole, rest = divmod(steps, self.per_unit)
        words = [str(whole)] if whole or not rest else []
        return " ".join([*words, *([str(Fraction(rest, self.per_unit))] if rest else [])])

    def told(self, metres: float) -> str:
        """The nearest length that is printed to one in m, without its unit (definition)."""
        return self.text(self.steps(metres))

    def words(self, metres: float) -> str:
        """The same with its unit (definition)."""
        return f"{self.told(metres)} {self.unit}"

    def read(self, text: str) -> int:
        """Steps of a length as it is printed.

        Raises
        ------
        ValueError
            Where it is no length, or lies between two steps.

        >>> MM.read("12.5"), INCH.read("4 3/16"), INCH.read("3/16")
        (25, 67, 3)
        """
        parts = text.split()
        if not parts or not all(_PART.fullmatch(part) for part in parts):
            raise ValueError(f'"{text}" is no length')
        steps = self.per_unit * sum(map(Fraction, parts), Fraction(0))
        if steps.denominator != 1:
            raise ValueError(f'"{text}" lies between two steps of {self.step_words}')
        return int(steps)


MM, INCH = Grid("mm", 2), Grid("in", 16)
GRIDS = {"mm": MM, "inch": INCH}


def grid_of(units: str) -> Grid:
    """The grid on which a scene in some units is measured (definition)."""
    return INCH if units in ("in", "inch", "ft") else MM
