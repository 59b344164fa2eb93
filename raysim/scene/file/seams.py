"""Seams of the box: gaps that let light out, and what a survey of them found."""

import math
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from raysim.scene.file.fields import (
    SMALLEST_LENGTH,
    Day,
    GivenName,
    Length,
    MeasuredIrradiance,
    Name,
    Point,
    PositiveLength,
    Share,
    Table,
)
from raysim.scene.rabbet import step_too_small


class Seams(Table):
    """What a survey of the seams found outside the box with all lamps lit.

    `highest` is the highest reading of a 254 nm meter where a person can be.
    """

    checked_on: Day
    by: GivenName
    highest: MeasuredIrradiance


class Around(Table):
    """A plane across an axis, m: one of x, y, z."""

    x: Length | None = None
    y: Length | None = None
    z: Length | None = None

    @model_validator(mode="before")
    @classmethod
    def _a_table(cls, value: Any) -> Any:
        if not isinstance(value, dict):
            raise ValueError("write the axis too, as in around = { z = 840 }")
        return value

    @model_validator(mode="after")
    def _one_axis(self) -> "Around":
        if [self.x, self.y, self.z].count(None) != 2:
            raise ValueError("around takes one of x, y and z, as in around = { z = 840 }")
        return self

    @property
    def plane(self) -> tuple[int, float]:
        """Number of its axis, and where on it (m)."""
        ((axis, at),) = ((k, v) for k, v in enumerate((self.x, self.y, self.z)) if v is not None)
        return axis, at


class Gap(Table):
    """A slit through a wall: `from` and `to` end its middle line on the inside of the wall.

    In place of them: `points` of that line, closed where the last is the first; or `around`, a
    plane: the slit runs where it meets `wall`, or all walls.
    A "rabbet" goes straight for half the depth, then `step` sideways, then straight to the outside.
    """

    name: GivenName = "gap"
    wall: Name | None = None
    start: Point | None = Field(alias="from", default=None)
    end: Point | None = Field(alias="to", default=None)
    points: Annotated[list[Point], Field(min_length=2, max_length=1000)] | None = None
    around: Around | None = None
    width: PositiveLength
    depth: PositiveLength
    distance: PositiveLength
    kind: Literal["plain", "rabbet"] = "plain"
    step: PositiveLength | None = None
    reflectance: Share | None = None

    @model_validator(mode="after")
    def _line(self) -> "Gap":
        ends = self.start is not None or self.end is not None
        if [ends, self.points is not None, self.around is not None].count(True) > 1:
            raise ValueError("give from and to, or points, or around: one of the three")
        if self.around is None and (self.wall is None or len(self.corners) < 2):
            raise ValueError(
                "a gap needs wall, from and to, or around = { z = ... } for a seam that runs all "
                "round the box at that height"
            )
        if any(math.dist(p, q) < SMALLEST_LENGTH for p, q in pairwise(self.corners)):
            names = "from and to" if self.points is None else "two points that follow each other"
            raise ValueError(f"{names} are the same point, so the gap has no length")
        return self

    @property
    def corners(self) -> list[tuple[float, float, float]]:
        """Points that its middle line goes through; none with `around`, m (definition)."""
        return self.points or [p for p in (self.start, self.end) if p is not None]

    @model_validator(mode="after")
    def _passage(self) -> "Gap":
        if (self.kind == "rabbet") != (self.step is not None):
            raise ValueError('kind = "rabbet" and step (how far it goes sideways) go together')
        if self.step is not None and self.depth < 2.0 * self.width:
            raise ValueError("a rabbet must be at least two widths deep, or it has no bends")
        if self.step is not None and self.step < self.width:
            raise ValueError(step_too_small(self.width, self.depth))
        return self
