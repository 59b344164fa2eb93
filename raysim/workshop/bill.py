"""What has to be bought for a box: each line with its quantity, and its price if one is known."""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

from raysim.scene.file.written import Lamp, SceneAsWritten
from raysim.workshop.fixings import Held, Mark, type_of
from raysim.workshop.grid import Grid
from raysim.workshop.nesting import Stock

PIECES, SQUARE_METRES, METRES = "pieces", "m2", "m"
# Two switches that each cut the lamps: ordinary practice [from memory].
DOOR = {"hinge": 2, "latch": 1, "door switch that cuts the lamps": 2, "timer": 1}
CARE = (
    "face shield of polycarbonate",
    "gloves, pair",
    "calibrated 254 nm meter, bought or hired",
    "ordinary white lamp for the test of the seams",
)


@dataclass(frozen=True)
class Line:
    """One thing to buy, how much of it, and its price for one; None where no price is known."""

    name: str
    quantity: float
    unit: str
    price: float | None = None

    @property
    def cost(self) -> float | None:
        """Price of all of it, None where it has no price (definition)."""
        return None if self.price is None else self.quantity * self.price


@dataclass(frozen=True)
class Bill:
    """All lines, and the currency of their prices, "" where none is known."""

    lines: tuple[Line, ...]
    currency: str = ""

    @property
    def cost(self) -> float:
        """Cost of all that has a price (definition)."""
        return math.fsum(line.cost or 0.0 for line in self.lines)

    @property
    def unpriced(self) -> int:
        """How many lines have no price, and are missing in the cost (definition)."""
        return sum(line.price is None for line in self.lines)


def lines(
    scene: SceneAsWritten,
    marks: Sequence[Mark],
    linings: Mapping[str, float],
    stock: Sequence[Stock],
    grid: Grid,
) -> tuple[Line, ...]:
    """What to buy for a scene; `linings` are areas (m2) by name.

    Source: the scene; what a door, a survey and a first light take, by common practice.
    """
    found = [*_sheets(scene, stock, grid), *_linings(linings), *_lamps(scene.lamp)]
    held = Counter(mark.held for mark in marks)
    brackets = held[Held.BRACKET] + held[Held.SUPPORT]
    cables = held[Held.HOLE] + held[Held.BRACKET]
    found += _pieces({"bracket for a lamp end": brackets, "cable entry with a bend": cables})
    fittings = Counter(PurePosixPath(entry.mesh).stem for entry in scene.object if not entry.judged)
    found += _pieces({f"{name}, as drawn in its mesh": n for name, n in fittings.items()})
    found += _pieces({"lamp indicator outside": len(scene.lamp)} | DOOR)
    if scene.chamber.inside is not None:
        w, _, h = scene.chamber.inside
        found.append(Line("black seal for the seam of the door", _up(2.0 * (w + h)), METRES))
    return (*found, *_pieces(dict.fromkeys(CARE, 1)))


def lamp_name(lamp: Lamp) -> str:
    """A lamp as one asks for it in a shop."""
    kind = type_of(lamp)
    if kind is not None:
        return kind.name
    arc = 1000.0 * math.dist(lamp.start, lamp.end)
    tubes = f"{lamp.tubes} tubes of " if lamp.tubes > 1 else ""
    return f"{tubes}{1000.0 * lamp.diameter:.0f} mm with an arc of {arc:.0f} mm"


def _sheets(scene: SceneAsWritten, stock: Sequence[Stock], grid: Grid) -> Iterator[Line]:
    if stock and scene.chamber.sheet is not None:
        across, up = (grid.text(length) for length in stock[0].size)
        thick = grid.text(grid.steps(scene.chamber.sheet))
        yield Line(f"sheet, {across} x {up} x {thick} {grid.unit}", len(stock), PIECES)


def _linings(linings: Mapping[str, float]) -> Iterator[Line]:
    for name, area in linings.items():
        yield Line(f"lining: {name}", _up(area), SQUARE_METRES)


def _lamps(lamps: Sequence[Lamp]) -> Iterator[Line]:
    for name, number in Counter(map(lamp_name, lamps)).items():
        lamp = next(lamp for lamp in lamps if lamp_name(lamp) == name)
        kind = type_of(lamp)
        caps = kind.caps if kind else (2 if lamp.tubes == 1 else 1)
        cap = f"lamp holder {kind.cap}" if kind else f"lamp holder for {name}"
        yield from _pieces({f"lamp, {name}, ozone-free": number, cap: caps * number})
        yield from _pieces({f"ballast for {name}, outside the box": number})


def _pieces(counts: Mapping[str, int]) -> list[Line]:
    return [Line(name, number, PIECES) for name, number in counts.items() if number]


def _up(quantity: float) -> float:
    """To the next tenth: what a shop cuts off."""
    return math.ceil(10.0 * quantity - 1e-9) / 10.0
