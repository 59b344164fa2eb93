"""What has to be bought for a box: each line with its quantity, and its price if one is known."""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import PurePosixPath
from types import MappingProxyType

from raysim.library.assumptions import assumptions
from raysim.scene.file.things import Object
from raysim.scene.file.written import Lamp, SceneAsWritten
from raysim.workshop.fixings import DOOR as FRONT
from raysim.workshop.fixings import Held, Mark, type_of
from raysim.workshop.grid import Grid
from raysim.workshop.nesting import Stock
from raysim.workshop.shapes import Shape

PIECES, SQUARE_METRES, METRES = "pieces", "m2", "m"
ENTRY = "cable entry with two bends"
# Two switches that each cut the lamps: ordinary practice [from memory].
DOOR = {
    "hinge": 2,
    "latch": 1,
    "door switch that cuts the lamps": 2,
    "timer": 1,
    "warning sign: UVC, injures eyes and skin, do not open while lit": 1,
    "bracket that holds the box to a wall or to the floor": 2,
    "tin of matt black paint for the light traps": 1,
    "sealant and glue that no light reaches": 1,
    "roll of black tape": 1,
}
# For two: one at the meter, and one who sees to it that nobody comes in. Common practice.
CARE = {
    "face shield of polycarbonate that covers neck and sides": 2,
    "coat or sleeves, collar and gloves that let no UVC through, set": 2,
    "clean cotton gloves for tubes and lining, pair": 2,
    "work gloves and glasses for sheet edges and drilling, set": 1,
    "nitrile gloves and a jar that closes tightly, for a broken lamp": 1,
    "alcohol and lint-free cloth": 1,
    "calibrated 254 nm meter with its head on a cable, bought or hired": 1,
    "ordinary white lamp for the test of the seams": 1,
}


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
    *,
    shapes: Mapping[str, Shape] = MappingProxyType({}),
) -> tuple[Line, ...]:
    """What to buy for a scene; `linings` are areas (m2) by name, `shapes` those of its objects.

    Source: the scene; what a door, a survey and a first light take, by common practice.
    """
    found = [*_sheets(scene, stock, grid), *_linings(linings), *lamp_lines(scene.lamp)]
    held = Counter(mark.held for mark in marks)
    cables = held[Held.HOLE] + held[Held.BRACKET]
    brackets = held[Held.BRACKET] + held[Held.SUPPORT]
    sleeve = "metal or glass sleeve for a cable in the light"
    found += _pieces({"bracket for a lamp end": brackets, ENTRY: cables, sleeve: cables})
    found += _pieces(Counter(_thing(e, shapes, grid) for e in scene.object if not e.judged))
    found += _pieces(Counter(_bolt(mark, grid) for mark in marks if mark.held is Held.HOOK))
    found += _pieces({"lamp indicator outside": len(scene.lamp)} | DOOR)
    if scene.chamber.inside is not None:
        w, d, h = scene.chamber.inside
        edges = 2.0 * (w + h) + 4.0 * d
        found.append(Line("metal angle along the seams of the panels", with_spare(edges), METRES))
        parts = [pair for g in scene.gap if g.wall == FRONT for pair in pairwise(g.corners)]
        around = math.fsum(math.dist(*pair) for pair in parts) or 2.0 * (w + h)
        found.append(Line("black seal for the seam of the door", with_spare(around), METRES))
    return (*found, *_pieces(CARE))


def _thing(entry: Object, shapes: Mapping[str, Shape], grid: Grid) -> str:
    """What carries the load: its name by its mesh, with its size and what it is made of."""
    name, shape = PurePosixPath(entry.mesh).stem, shapes.get(entry.name)
    if shape is None:
        return f"{name}, as drawn in its mesh"
    size = " x ".join(grid.text(grid.steps(length)) for length in shape.size)
    made = entry.surface if isinstance(entry.surface, str) else entry.surface.name
    return f"{name} {size} {grid.unit}, {made or 'as drawn in its mesh'}"


def _bolt(mark: Mark, grid: Grid) -> str:
    off = grid.steps(mark.off_wall or 0.0)
    return f"bolt with a distance piece of {grid.text(off)} {grid.unit}" if off else "bolt"


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
    elif scene.chamber.inside is not None:
        w, d, h = scene.chamber.inside
        area = with_spare(2.0 * (w * d + w * h + d * h))
        yield Line("panels: sheet of the thickness that you choose", area, SQUARE_METRES)


def _linings(linings: Mapping[str, float]) -> Iterator[Line]:
    for name, area in linings.items():
        yield Line(f"lining: {name}", with_spare(area), SQUARE_METRES)


def lamp_lines(lamps: Sequence[Lamp]) -> tuple[Line, ...]:
    """Lamps with their holders and ballasts."""
    return tuple(_lamps(lamps))


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


def with_spare(quantity: float) -> float:
    """A quantity with what overlaps and cuts take, up to the next tenth: what a shop cuts off.

    Source: `spare_share` of the assumptions; the tenth is our own choice.
    """
    more = 1.0 + assumptions()["spare_share"].value
    return math.ceil(10.0 * more * quantity - 1e-9) / 10.0
