"""Proposals: a box with lamps, a lining on each wall and the sheets it is cut from; what they cost.

The cost is that of the guide's bill: whole sheets, linings with their spare, lamps with all that
they take, and what the wish adds to every box.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache

from raysim.base.errors import RaysimError
from raysim.base.figures import Figures
from raysim.library.assumptions import assumptions
from raysim.studies.design.boxes import Box, Size, boxes
from raysim.studies.design.places import Lamps, with_lamps
from raysim.studies.design.shapes import Hung
from raysim.studies.design.wish import Wish
from raysim.workshop.bill import with_spare
from raysim.workshop.grid import Grid
from raysim.workshop.nesting import Piece, nested

WALLS = ("front", "back", "left", "right", "floor", "ceiling")
LARGEST_EXCESS = 1.6  # times a limit of size: what is larger is not looked at


@dataclass(frozen=True)
class Proposal(Figures):
    """A box that could be built; `linings` are names of the wish, in the order of `WALLS`.

    `sheet` and `offer` are places in the lists of the wish, `cost` is in its currency.
    """

    box: Box
    lamps: Lamps
    offer: int
    sheet: int
    linings: tuple[str, ...]
    cost: float

    @property
    def geometry(self) -> tuple[Box, Lamps]:
        """What has to be traced anew: all but linings and sheets (definition)."""
        return self.box, self.lamps

    @property
    def lining(self) -> str:
        """Name of the lining of most walls (definition)."""
        return max(self.linings, key=self.linings.count)


def proposals(wish: Wish, hung: tuple[Hung, ...]) -> Iterator[Proposal]:
    """Every proposal with one lining on all walls, and sheets that are large enough.

    Of sheets of one thickness only the cheapest way to cut a box is given.
    """
    limit = wish.limits.outside
    for bare in boxes(wish, hung):
        for offer, lamp in enumerate(wish.lamp):
            for box, lamps in with_lamps(bare, lamp.type, lamp.most):
                if excess(box, limit, min(s.thickness for s in wish.sheet)) > LARGEST_EXCESS:
                    continue
                for sheet in _sheets(wish, box):
                    for one in wish.lining:
                        linings = (one.surface.name,) * len(WALLS)
                        cost = cost_of(wish, box, lamps, offer=offer, sheet=sheet, linings=linings)
                        yield Proposal(box, lamps, offer, sheet, linings, cost)


def excess(box: Box, limit: Size, thickness: float) -> float:
    """Largest outer size over its limit (definition)."""
    sides = zip(box.outside(thickness), limit, strict=True)
    return max(side / most for side, most in sides)


def cost_of(
    wish: Wish, box: Box, lamps: Lamps, *, offer: int, sheet: int, linings: tuple[str, ...]
) -> float:
    """What a box costs, in the currency of the wish.

    Source: definition, see the head of this module.
    """
    stock = wish.sheet[sheet]
    count = sheets_needed(box.inside, stock.thickness, stock.size, box.grid) or 0
    areas: dict[str, float] = {}
    for wall, name in zip(WALLS, linings, strict=True):
        areas[name] = areas.get(name, 0.0) + wall_area(box.inside, wall)
    prices = {one.surface.name: wish.money(one.price) for one in wish.lining}
    found = count * wish.money(stock.price)
    found += sum(prices[name] * with_spare(area) for name, area in areas.items())
    found += len(lamps.arcs) * wish.money(wish.lamp[offer].price)
    return found + sum(wish.money(other.price) for other in wish.other)


def wall_area(inside: Size, wall: str) -> float:
    """Area of a wall of a box, m2 (definition)."""
    w, d, h = inside
    return {"front": w * h, "back": w * h, "left": d * h, "right": d * h}.get(wall, w * d)


def panel_sizes(inside: Size, thickness: float) -> Mapping[str, tuple[float, float]]:
    """Width and height of each panel, m, with the joints of `workshop.panels` (definition)."""
    (w, d, h), t = inside, 2.0 * thickness
    upright, level, side = (w + t, h + t), (w + t, d), (d, h)
    return dict(zip(WALLS, (upright, upright, side, side, level, level), strict=True))


@cache
def sheets_needed(
    inside: Size, thickness: float, size: tuple[float, float], grid: Grid
) -> int | None:
    """How many sheets of stock a box takes, None where a panel is larger than a sheet.

    Source: `workshop.nesting.nested`, with the kerf of the guide.
    """
    pieces = [
        Piece(wall, (grid.steps(a), grid.steps(b)))
        for wall, (a, b) in panel_sizes(inside, thickness).items()
    ]
    kerf, least = (grid.steps(0.001 * assumptions()[k].value) for k in ("saw_kerf_mm", "offcut_mm"))
    try:
        return len(nested(pieces, (grid.steps(size[0]), grid.steps(size[1])), kerf, least))
    except RaysimError:
        return None


def _sheets(wish: Wish, box: Box) -> list[int]:
    """The cheapest sheets to cut a box from, for each thickness."""
    costs: dict[float, list[tuple[float, int]]] = {}
    for place, one in enumerate(wish.sheet):
        count = sheets_needed(box.inside, one.thickness, one.size, box.grid)
        if count is not None:
            cost = count * wish.money(one.price)
            costs.setdefault(one.thickness, []).append((cost, place))
    return [min(rows)[1] for rows in costs.values()]
