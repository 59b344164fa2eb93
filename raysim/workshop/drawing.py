"""A drawing as a record: what is on it, in steps of the grid. How it looks is the writers' matter.

The origin is the lower left corner of what is drawn; x runs to the right and y upwards.
"""

from dataclasses import dataclass, field
from enum import StrEnum, unique

Point = tuple[float, float]


@unique
class Layer(StrEnum):
    """What a shape stands for; the layer of a DXF file, the class of an SVG element."""

    OUTLINE = "outline"  # to be cut
    INSIDE = "inside"  # edge of the inside, where the lining ends
    CUT = "cut"  # where the outline lies if the thickness is not known: not to scale
    HOLE = "hole"  # to be drilled, with its diameter
    MARK = "mark"  # a place without a hole
    GAP = "gap"  # middle line of a seam
    TUBE = "tube"  # of a lamp
    THING = "thing"  # outline of what is bought, not cut
    MEASURE = "measure"
    WORDS = "words"


@dataclass(frozen=True)
class Polyline:
    """Straight lines from point to point; `of` names the thing of which it is, here and below."""

    layer: Layer
    points: tuple[Point, ...]
    closed: bool = False
    of: str = ""


@dataclass(frozen=True)
class Circle:
    """A circle; `tag` says which place it is."""

    layer: Layer
    centre: Point
    diameter: float
    tag: str = ""
    of: str = ""


@dataclass(frozen=True)
class Words:
    """One line of words, of this height; `at` is where it starts, has its middle, or ends."""

    layer: Layer
    at: Point
    text: str
    height: float
    anchor: str = "middle"  # "start", "middle" or "end"
    upright: bool = False  # turned by 90 degrees, to be read from the right
    of: str = ""


Shape = Polyline | Circle | Words


@dataclass(frozen=True)
class Drawing:
    """Shapes within low and high (x, y); `notes` are lines that belong below it."""

    name: str
    title: str
    low: Point
    high: Point
    shapes: tuple[Shape, ...] = field(repr=False)
    notes: tuple[str, ...] = ()

    @property
    def size(self) -> Point:
        """Width and height of all that is on it (definition)."""
        return self.high[0] - self.low[0], self.high[1] - self.low[1]


def rectangle(layer: Layer, x: float, y: float, width: float, height: float) -> Polyline:
    """A rectangle from its lower left corner (definition)."""
    corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    return Polyline(layer, corners, closed=True)


def cross(
    layer: Layer, at: Point, reach: float, *, slanting: bool = False
) -> tuple[Polyline, Polyline]:
    """Two short lines that meet in a point (definition)."""
    x, y = at
    r, s = reach, reach * slanting
    return (
        Polyline(layer, ((x - r, y - s), (x + r, y + s))),
        Polyline(layer, ((x - s, y + r), (x + s, y - r))),
    )
