"""The operator's card as pictures (PNG, A4), for printers that know no HTML."""

import textwrap
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from raysim.dose.result import Result
from raysim.output.pages.card import Card, card_of, picture_of
from raysim.output.pictures.pictures import Picture
from raysim.output.words.cautions import CAUTION_LINE

A4 = (8.27, 11.69)  # inches
DPI = 150
LEFT, RIGHT, FOOT = 0.6, 7.67, 0.75  # inches from the left and from the lower edge
LETTER, BOLD = 0.56, 0.64  # width of a letter of DejaVu Sans over its size, on average
LINE = 1.3  # height of a line over the size of its letters
ROW, LOW_ROW = 0.3, 0.21  # inches: height of a row of the tally, and the least
PICTURE = 3.1  # inches: height of the picture
INK, DEEP, ALARM, RULE = "#1b1f24", "#17465a", "#8f1d1d", "#888888"


@dataclass
class _Page:
    """A page that is filled from the top; lengths in inches, `y` from its lower edge."""

    figure: Any
    y: float = A4[1] - 0.5

    def write(self, words: str, size: float, right: float = RIGHT, **style: Any) -> None:
        """A paragraph below what stands there, as wide as the page or up to `right`."""
        letter = BOLD if style.get("weight") == "bold" else LETTER
        lines = textwrap.wrap(words, int((right - LEFT) * 72.0 / (letter * size))) or [""]
        self.figure.text(
            LEFT / A4[0], self.y / A4[1], "\n".join(lines), va="top", size=size,
            linespacing=LINE, **({"color": INK, "parse_math": False} | style),
        )  # fmt: skip
        self.y -= len(lines) * size * LINE * 1.17 / 72.0 + 0.06


def write_card_png(result: Result, pictures: Sequence[Picture], path: Path) -> None:
    """Write the card; this needs no graphics library of the machine.

    Rows of the tally that find no place on it follow on further pages, beside the pictures.
    """
    card = card_of(result)
    page = _begun(card)
    if card.steps:
        _steps(page, card, picture_of(pictures))
    if card.rows:
        page.write(f"Tally. {card.cycles}", 10, weight="bold")
    rest = _tally(page, card, card.rows)
    _ended(page, card, path, 1 if rest else 0)
    number = 1
    while rest:
        number += 1
        page = _begun(card)
        rest = _tally(page, card, rest)
        _ended(page, card, path.parent / "pictures" / f"card_{number}.png", number)


def _begun(card: Card) -> _Page:
    """A new page with what heads each: title, timer, what is to be done, the caution."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=A4, dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    page = _Page(figure)
    page.write(card.title, 15, weight="bold")
    page.write(card.label, 10, weight="bold")
    page.write(card.timer, 26, weight="bold", color=ALARM if card.forbidden else DEEP)
    for doubt in card.doubts:
        page.write(doubt, 9, weight="bold", color=ALARM)
    page.write(CAUTION_LINE, 9, color=ALARM)
    return page


def _steps(page: _Page, card: Card, picture: Picture | None) -> None:
    """The steps at the left, the picture at the right of them."""
    top = page.y
    right = RIGHT if picture is None else 0.5 * (LEFT + RIGHT) - 0.1
    for number, step in enumerate(card.steps, 1):
        page.write(f"{number}. {step}", 9.5, right)
    if picture is not None:
        from matplotlib.image import imread

        place = (right + 0.2) / A4[0], (top - PICTURE) / A4[1], (RIGHT - right - 0.2) / A4[0]
        axes = page.figure.add_axes((*place, PICTURE / A4[1]))
        axes.imshow(imread(picture.file))
        axes.axis("off")
        page.y = min(page.y, top - PICTURE - 0.1)


def _tally(page: _Page, card: Card, rows: Sequence[tuple[int, str]]) -> Sequence[tuple[int, str]]:
    """Rows of tally boxes in the columns of the card; those that found no place."""
    if not rows:
        return ()
    room, columns = page.y - FOOT, card.columns
    each = min(-(-len(rows) // columns), int(room / LOW_ROW))
    height = min(ROW, room / each)
    width = (RIGHT - LEFT - 0.25 * (columns - 1)) / columns
    for k, (number, name) in enumerate(rows[: each * columns]):
        left = LEFT + (width + 0.25) * (k // each)
        low = page.y - height * (k % each + 1)
        _row(page.figure, (left, low, width, height), f"{number}  {name}", card.boxes)
    return rows[each * columns :]


def _row(figure: Any, place: tuple[float, float, float, float], words: str, boxes: int) -> None:
    """One row: number and name, a line for the owner, a box for each cycle."""
    from matplotlib.patches import Rectangle

    left, low, width, height = place
    side = min(0.8 * height, 0.25)
    first = left + width - boxes * 1.25 * side
    owner = left + 0.6 * (first - left)
    letters = int((owner - left) * 72.0 / (LETTER * 8.5))
    shown = words if len(words) <= letters else words[: letters - 1] + "…"
    style = {"size": 8.5, "color": INK, "va": "center", "parse_math": False}
    middle = (low + 0.5 * height) / A4[1]
    figure.text(left / A4[0], middle, shown, **style)
    figure.text(owner / A4[0], middle, "owner:", **(style | {"size": 7, "color": RULE}))
    for k in range(boxes):
        at = ((first + 1.25 * side * k) / A4[0], (low + 0.1 * height) / A4[1])
        box = Rectangle(at, side / A4[0], side / A4[1], fill=False, transform=figure.transFigure)
        figure.add_artist(box)


def _ended(page: _Page, card: Card, path: Path, number: int) -> None:
    """Foot of the page; `number` of those that there are several of, else 0."""
    fitted = "Lamps fitted on: _________   Meter check on: _________"
    page.y = FOOT - 0.1
    page.write(f"{card.lamps or 'Lamps changed on: '}_________   {fitted}", 8.5)
    more = f" Page {number}; more rows: pictures/card_2.png and on." if number else ""
    page.write(card.origin + more, 6.5)
    path.parent.mkdir(parents=True, exist_ok=True)
    with warnings.catch_warnings():
        # About letters that the font lacks; the HTML card shows them.
        warnings.simplefilter("ignore")
        page.figure.savefig(path, dpi=DPI)
