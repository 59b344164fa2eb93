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
from raysim.workshop.door import Door, door_of
from raysim.workshop.fixings import DOOR as FRONT
from raysim.workshop.fixings import Held, Mark
from raysim.workshop.grid import Grid
from raysim.workshop.kit import CARE, DOOR, WIRING
from raysim.workshop.nesting import Stock
from raysim.workshop.shapes import Shape

PIECES, SQUARE_METRES, METRES = "pieces", "m2", "m"
FOOT = 0.3048  # m, exact: international foot (1959)
ENTRY = "cable entry with two bends"
MOST_T = 0.018  # m: sheet is bought for panels up to that, where none is given (own choice)
INTO = 3.0  # diameters of a bolt that goes on beyond its distance piece (own choice)
ENTRY_OF_METER = "cable entry with two bends, of the size of the meter's plug, with a metal cap"


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
    door, held = door_of(scene, grid), Counter(mark.held for mark in marks)
    found = [*_sheets(scene, stock, door, grid), *_linings(linings), *lamp_lines(scene.lamp)]
    cables = held[Held.HOLE] + held[Held.BRACKET]
    brackets = held[Held.BRACKET] + held[Held.SUPPORT]
    sleeve = "metal or glass sleeve for a cable in the light"
    blocks = sum((mark.room or 0.0) > 0.0 for mark in marks)
    found += _pieces({"bracket for a lamp end": brackets, "metal block under a holder": blocks})
    found += _pieces({ENTRY: cables, "grommet for a cable at an edge": cables, sleeve: cables})
    found += _pieces({ENTRY_OF_METER: held[Held.ENTRY] or 1})
    below = any(mark.held is Held.HOLE and mark.wall == "floor" for mark in marks)
    found += _pieces({"foot, longer than the entries under the floor": 4 * below})
    found += _pieces(Counter(_thing(e, shapes, grid) for e in scene.object if not e.judged))
    found += _pieces(Counter(_bolt(m, scene, grid) for m in marks if m.held is Held.HOOK))
    found += _white_tubes(scene.lamp)
    found += _pieces({"lamp indicator outside": len(scene.lamp)} | DOOR | WIRING)
    if scene.chamber.inside is not None:
        w, d, h = scene.chamber.inside
        edges = 4.0 * (w + d + h)  # all twelve: the frame of the front meets four panels
        found.append(
            Line(
                f"metal angle along all twelve edges{_leg(door, grid, scene)}",
                with_spare(edges),
                METRES,
            )
        )
        parts = [pair for g in scene.gap if g.wall == FRONT for pair in pairwise(g.corners)]
        around = math.fsum(math.dist(*pair) for pair in parts) or 2.0 * (w + h)
        found.append(Line("black seal for the seam of the door", with_spare(around), METRES))
    return (*found, *_pieces(CARE))


def _leg(door: Door | None, grid: Grid, scene: SceneAsWritten) -> str:
    """What of the angle must be narrow: its leg on the frame of the door."""
    if door is None:
        return ""
    sheet = scene.chamber.sheet
    wide = door.ring(door.halves[-1]) + (0 if sheet is None else grid.steps(sheet))
    more = " + t" if sheet is None else ""
    return f", its leg on the front no wider than {grid.text(wide)}{more} {grid.unit}"


def _thing(entry: Object, shapes: Mapping[str, Shape], grid: Grid) -> str:
    """What carries the load: its name by its mesh, with its size and what it is made of."""
    name, shape = PurePosixPath(entry.mesh).stem, shapes.get(entry.name)
    if shape is None:
        return f"{name}, as drawn in its mesh"
    size = " x ".join(grid.told(length) for length in shape.size)
    made = entry.surface if isinstance(entry.surface, str) else entry.surface.name
    bar = f", {shape.section}" if shape.section else ""
    return f"{name} {size} {grid.unit}{bar}, {made or 'as drawn in its mesh'}"


def _bolt(mark: Mark, scene: SceneAsWritten, grid: Grid) -> str:
    """A bolt that fills its hole: through the sheet and its distance piece, into what it holds."""
    off, wide = grid.steps(mark.off_wall or 0.0), 0.001 * assumptions()["hook_hole_mm"].value
    sheet = scene.chamber.sheet
    long = off + grid.steps((sheet or 0.0) + INTO * wide)
    told = f"bolt of {grid.words(wide)}, {grid.text(long)} {grid.unit}"
    told += " long" if sheet is not None else " + t long"
    return f"{told}, with a distance tube of {grid.text(off)} {grid.unit}" if off else told


def _white_tubes(lamps: Sequence[Lamp]) -> Iterator[Line]:
    """White tubes in place of the lamps, for the test of the switches."""
    for name, number in Counter(map(lamp_name, lamps)).items():
        told = f"white tube of the size and cap of {name}, to test the door's switches"
        yield from _pieces({told: number})


def lamp_name(lamp: Lamp) -> str:
    """A lamp as one asks for it in a shop."""
    kind = lamp.kind
    if kind is not None:
        return kind.name
    arc = 1000.0 * math.dist(lamp.start, lamp.end)
    tubes = f"{lamp.tubes} tubes of " if lamp.tubes > 1 else ""
    return f"{tubes}{1000.0 * lamp.diameter:.0f} mm with an arc of {arc:.0f} mm"


def _sheets(
    scene: SceneAsWritten, stock: Sequence[Stock], door: Door | None, grid: Grid
) -> Iterator[Line]:
    if scene.chamber.inside is None:
        return
    w, d, h = scene.chamber.inside
    t = MOST_T if scene.chamber.sheet is None else scene.chamber.sheet
    outline = (w + 2.0 * t, h + 2.0 * t)
    if stock and scene.chamber.sheet is not None:
        across, up = (grid.text(length) for length in stock[0].size)
        thick = grid.told(t)
        yield Line(f"sheet, {across} x {up} x {thick} {grid.unit}", len(stock), PIECES)
    else:
        plain = 2.0 * d * (w + 2.0 * t + h) + math.prod(outline) * (2 if door is None else 1)
        told = f"panels: sheet of the thickness t that you choose, {grid.words(t)} at most"
        yield Line(told, with_spare(plain), SQUARE_METRES)
    if door is not None and not door.is_of(scene.chamber.sheet, grid):
        front = (grid.steps(outline[0]), grid.steps(outline[1]))
        cut = door.pieces(front, grid.steps(0.001 * assumptions()["saw_kerf_mm"].value))
        area = math.fsum(grid.metres(a) * grid.metres(b) for _, (a, b) in cut)
        least = f"{grid.text(door.layer)} {grid.unit} thick or more"
        told = f"front and leaf of the door, {len(door.halves)} layers: sheet {least}"
        yield Line(told, with_spare(area), SQUARE_METRES)


def _linings(linings: Mapping[str, float]) -> Iterator[Line]:
    for name, area in linings.items():
        yield Line(f"lining: {name}", with_spare(area), SQUARE_METRES)


def lamp_lines(lamps: Sequence[Lamp]) -> tuple[Line, ...]:
    """Lamps with their holders and ballasts."""
    return tuple(_lamps(lamps))


def _lamps(lamps: Sequence[Lamp]) -> Iterator[Line]:
    for name, number in Counter(map(lamp_name, lamps)).items():
        lamp = next(lamp for lamp in lamps if lamp_name(lamp) == name)
        kind = lamp.kind
        caps = kind.caps if kind else (2 if lamp.tubes == 1 else 1)
        cap = f"lamp holder {kind.cap}" if kind else f"lamp holder for {name}"
        yield from _pieces({f"lamp, {name}, ozone-free": number, cap: caps * number})
        yield from _pieces({f"ballast for {name}, outside the box": number})


def _pieces(counts: Mapping[str, int]) -> list[Line]:
    return [Line(name, number, PIECES) for name, number in counts.items() if number]


def feet_words(line: Line) -> str:
    """A quantity of what is sold by area or length in feet, rounded up (definition).

    >>> feet_words(Line("foil", 1.2, SQUARE_METRES)), feet_words(Line("angle", 5.0, METRES))
    ('13 sq ft', '17 ft')
    """
    if line.unit == SQUARE_METRES:
        return f"{math.ceil(line.quantity / FOOT**2 - 1e-9)} sq ft"
    return f"{math.ceil(line.quantity / FOOT - 1e-9)} ft"


def with_spare(quantity: float) -> float:
    """A quantity with what overlaps and cuts take, up to the next tenth: what a shop cuts off.

    Source: `spare_share` of the assumptions; the tenth is our own choice.
    """
    more = 1.0 + assumptions()["spare_share"].value
    return math.ceil(10.0 * more * quantity - 1e-9) / 10.0
