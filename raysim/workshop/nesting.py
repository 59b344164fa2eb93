"""Rectangles laid out on stock sheets, and the offcuts that are left.

A sheet is filled by the rectangle packer `rpack` (package rectangle-packer); which pieces go on
which sheet, and whether they are turned, is tried first-fit, the largest first. Not optimal: for
the handful of panels of a box the next better layout is rarely a sheet less.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from raysim.base.errors import RaysimError

Steps2 = tuple[int, int]


@dataclass(frozen=True)
class Piece:
    """A rectangle to be cut, steps."""

    name: str
    size: Steps2


@dataclass(frozen=True)
class Laid:
    """A piece on a sheet: its lower left corner and size there, steps; `turned` by 90 degrees."""

    name: str
    at: Steps2
    size: Steps2
    turned: bool


@dataclass(frozen=True)
class Stock:
    """A sheet of stock with what is cut from it, and its offcuts (x, y, width, height); steps."""

    size: Steps2
    pieces: tuple[Laid, ...]
    offcuts: tuple[tuple[int, int, int, int], ...]

    @property
    def used(self) -> float:
        """Share of the sheet that becomes panels (definition)."""
        return sum(w * h for w, h in (one.size for one in self.pieces)) / (
            self.size[0] * self.size[1]
        )


def nested(pieces: Sequence[Piece], stock: Steps2, kerf: int, least: int) -> tuple[Stock, ...]:
    """Sheets of stock with all pieces on them, `kerf` (steps) apart.

    `least` is the shorter side of an offcut that is worth keeping, steps.

    Raises
    ------
    RaysimError
        Where a piece is larger than a sheet.

    Source: first-fit decreasing, Johnson 1973 (from memory).
    """
    sheets: list[list[Laid]] = []
    room = (stock[0] + kerf, stock[1] + kerf)  # the last cut of a row may fall off the sheet
    for piece in sorted(pieces, key=lambda one: (-max(one.size), -min(one.size), one.name)):
        for number, sheet in enumerate(sheets):
            laid = _with(sheet, piece, room, kerf)
            if laid is not None:
                sheets[number] = laid
                break
        else:
            laid = _with([], piece, room, kerf)
            if laid is None:
                raise RaysimError(
                    f'the panel "{piece.name}" is larger than a sheet of stock. Mend: give the '
                    "size that you can buy with --stock, or join sheets and give the joined size"
                )
            sheets.append(laid)
    return tuple(Stock(stock, tuple(sheet), offcuts(sheet, stock, kerf, least)) for sheet in sheets)


def _with(sheet: list[Laid], piece: Piece, room: Steps2, kerf: int) -> list[Laid] | None:
    """The sheet with one piece more, upright or turned; None where it has no room."""
    import rpack

    own = [(one.name, one.size, one.turned) for one in sheet]
    for turned in (False, True):
        size = piece.size[::-1] if turned else piece.size
        rows = [*own, (piece.name, (size[0], size[1]), turned)]
        grown = [(w + kerf, h + kerf) for _, (w, h), _ in rows]
        if any(w > room[0] or h > room[1] for w, h in grown):
            continue
        try:
            corners = rpack.pack(grown, max_width=room[0], max_height=room[1])
        except rpack.PackingImpossibleError:
            continue
        return [Laid(n, at, s, t) for at, (n, s, t) in zip(corners, rows, strict=True)]
    return None


def offcuts(
    sheet: Sequence[Laid], stock: Steps2, kerf: int, least: int
) -> tuple[tuple[int, int, int, int], ...]:
    """The largest empty rectangle of a sheet, then the largest of the rest, and so on; steps.

    Their shorter sides are at least `least`.
    """
    taken = [(*one.at, one.size[0] + kerf, one.size[1] + kerf) for one in sheet]
    found: list[tuple[int, int, int, int]] = []
    while (best := _largest_empty([*taken, *found], stock)) is not None:
        if min(best[2:]) < least:
            break
        found.append(best)
    return tuple(found)


def _largest_empty(
    taken: Sequence[tuple[int, int, int, int]], stock: Steps2
) -> tuple[int, int, int, int] | None:
    """Of the empty rectangles between the edges of all that is taken the one of most area."""
    xs = sorted({0, stock[0], *(min(x, stock[0]) for a, _, w, _ in taken for x in (a, a + w))})
    ys = sorted({0, stock[1], *(min(y, stock[1]) for _, b, _, h in taken for y in (b, b + h))})
    best, area = None, 0
    for i, left in enumerate(xs):
        for right in xs[i + 1 :]:
            inside = [(b, b + h) for a, b, w, h in taken if a < right and a + w > left]
            for low in ys:
                above = [b for b, top in inside if top > low]
                if any(b <= low for b in above):
                    continue
                high = min([stock[1], *above])
                size = (right - left, high - low)
                if size[0] * size[1] > area:
                    best, area = (left, low, *size), size[0] * size[1]
    return best
