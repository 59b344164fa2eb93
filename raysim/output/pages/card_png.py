"""The operator's card as a picture (PNG, A4), for printers that know no HTML."""

import textwrap
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from raysim.dose.result import Result
from raysim.output.pages.sheets import (
    card_boxes,
    card_doubts,
    card_lines,
    card_origin,
    card_steps,
    judged_names,
)
from raysim.output.pictures.pictures import OVERVIEW, Picture
from raysim.output.words.cautions import CAUTION_LINE
from raysim.output.words.verdict import timer_label

A4 = (8.27, 11.69)  # inches
DPI = 150
MOST_ROWS = 14
LINE = 0.0145  # share of the height, for each line of cautions after the third
BOXES_FROM = 0.44  # share of the width: twelve boxes end at 0.92
INK, DEEP, ALARM = "#1b1f24", "#17465a", "#8f1d1d"


def write_card_png(result: Result, pictures: Sequence[Picture], path: Path) -> None:
    """Write the card; this needs no graphics library of the machine."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=A4, dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    timer, cycles, lamps = card_lines(result)
    _text(figure, 0.955, result.title, size=15, weight="bold", width=62)
    _text(figure, 0.915, timer_label(result), size=10, weight="bold", width=88)
    colour = DEEP if card_boxes(result) else ALARM
    _text(figure, 0.875, timer, size=27, weight="bold", color=colour)
    doubts = " ".join([*card_doubts(result), CAUTION_LINE])
    _text(figure, 0.835, doubts, size=9.5, color=ALARM, weight="bold", width=92)
    steps = "\n".join(
        textwrap.fill(f"{k}. {step}", 100) for k, step in enumerate(card_steps(result), 1)
    )
    lines = len(textwrap.wrap(doubts, 92))
    _text(figure, 0.765 - LINE * max(lines - 3, 0), steps, size=9.5)
    shown = next((p for p in pictures if p.kind == OVERVIEW), None)
    if shown is not None:
        from matplotlib.image import imread

        axes = figure.add_axes((0.07, 0.34, 0.86, 0.30))
        axes.imshow(imread(shown.file))
        axes.axis("off")
    _text(figure, 0.325, f"Tally. {cycles}", size=10, weight="bold", width=84)
    names = judged_names(result) if card_boxes(result) else []
    _boxes(figure, names[:MOST_ROWS], card_boxes(result))
    if len(names) > MOST_ROWS:
        more = f"{len(names) - MOST_ROWS} more respirators: print card.html"
        _text(figure, 0.068, more, size=8.5, weight="bold")
    fitted = "Lamps fitted on: __________   Meter check on: __________"
    _text(figure, 0.045, f"{lamps}__________   {fitted}", size=9.5)
    _text(figure, 0.025, card_origin(result), size=6.5)
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore"
        )  # about letters that the font lacks; the HTML card shows them
        figure.savefig(path, dpi=DPI)


def _text(figure: Any, y: float, words: str, width: int | None = None, **style: Any) -> None:
    shown = textwrap.fill(words, width) if width else words
    figure.text(0.07, y, shown, va="top", **({"color": INK, "parse_math": False} | style))


def _boxes(figure: Any, names: list[str], boxes: int) -> None:
    """Rows of tally boxes, one for each respirator."""
    from matplotlib.patches import Rectangle

    step = 0.22 / max(len(names), 8)
    for row, name in enumerate(names):
        y = 0.29 - step * (row + 1)
        label = name if len(name) < 24 else name[:22] + "…"
        figure.text(
            0.07, y + 0.2 * step, f"{label}   owner: ______", size=8.5, color=INK, parse_math=False
        )
        for k in range(boxes):
            box = Rectangle(
                (BOXES_FROM + 0.04 * k, y),
                0.03,
                0.75 * step,
                fill=False,
                transform=figure.transFigure,
            )
            figure.add_artist(box)
