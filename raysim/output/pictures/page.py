"""One picture file: views side by side, heading, marks and the colour bar."""

from dataclasses import dataclass
from pathlib import Path
from textwrap import wrap
from typing import Any

import numpy as np

from raysim.output.pictures.figure import (
    BLANK,
    INK,
    SOFT_INK,
    halo,
    new_figure,
    pixel_axes,
    save_figure,
)
from raysim.output.pictures.render import HATCH_INK, HATCH_PAPER
from raysim.output.pictures.scale import COLOUR_MAP, DoseScale, round_ticks, tick_words

WIDTH, HEIGHT = 1200, 900  # px
AREA = (0, 70, 950, 830)  # left, top, width, height of the views, px
BAR = (1066, 150, 34, 630)  # left, top, width, height of the colour bar, px
TICK_ROOM = 100  # points of all letters of a number right of the bar
TITLE_LETTERS = 20  # letters of a line above the colour bar, which is 240 px wide


@dataclass(frozen=True)
class Label:
    """Words at a place in a view, px from its upper left corner, with a line to what they name."""

    at: tuple[float, float]
    words: str
    colour: str = INK
    size: float = 13.0
    line_to: tuple[float, float] | None = None


@dataclass(frozen=True)
class Mark:
    """The ring around a spot, px; dashed if something hides the spot."""

    at: tuple[float, float]
    words: str
    hidden: bool


@dataclass(frozen=True)
class Panel:
    """One view: its picture (height, width, 3) uint8 and what is written into it."""

    image: np.ndarray
    title: str = ""
    labels: tuple[Label, ...] = ()
    mark: Mark | None = None
    px_per_mm: float | None = None  # of the scale ruler, if one is drawn


def panel_size(count: int) -> tuple[int, int]:
    """Width and height (px) of each of `count` views (1, 2 or up to 4) of a page."""
    return AREA[2] // min(count, 2), AREA[3] // (2 if count > 2 else 1)


def write_page(path: Path, heading: str, below: str, panels: list[Panel], scale: DoseScale) -> None:
    """Write one picture file (PNG)."""
    figure, image = new_figure(WIDTH, HEIGHT), np.full((HEIGHT, WIDTH, 3), 255, np.uint8)
    axes = pixel_axes(figure, WIDTH, HEIGHT)
    width, height = panel_size(len(panels))
    places = [(AREA[0] + width * (k % 2), AREA[1] + height * (k // 2)) for k in range(len(panels))]
    if scale.wanting.any():
        _hatch_legend(axes, image, scale.wanting_words)
    _words(axes, 22, 32, heading, size=18, weight="bold")
    _words(axes, 22, 58, below, size=13, color=SOFT_INK)
    for panel, (left, top) in zip(panels, places, strict=True):
        image[top : top + height, left : left + width] = panel.image
        _annotate(axes, panel, (left, top))
    _colour_bar(figure, axes, scale)
    save_figure(figure, path, image)


def _words(axes: Any, x: float, y: float, words: str, **style: Any) -> None:
    """Text at a place of the page, never read as mathematics."""
    axes.text(x, y, words, **{"color": INK, "parse_math": False} | style)


def _annotate(axes: Any, panel: Panel, place: tuple[int, int]) -> None:
    left, top = place
    rimmed = {"path_effects": halo(3)}
    if panel.title:
        _words(axes, left + 22, top + 24, panel.title, size=14, **rimmed)
    for label in panel.labels:
        if label.line_to is not None:
            x, y = np.array([label.at, label.line_to]).T + np.array(place)[:, None]
            axes.plot(x, y, color=label.colour, lw=1.4, marker="o", markevery=[1], ms=4, **rimmed)
    for label in panel.labels:
        style: dict[str, Any] = {"size": label.size, "color": label.colour}
        style |= {"ha": "center", "va": "center", "zorder": 4}
        style |= {} if label.line_to is None else {"bbox": BLANK}
        _words(axes, left + label.at[0], top + label.at[1], label.words, **style, **rimmed)
    if panel.px_per_mm is not None:
        _ruler(axes, panel, place)
    if panel.mark is not None:
        _ring(axes, panel, panel.mark, place)


def _ruler(axes: Any, panel: Panel, place: tuple[int, int]) -> None:
    """Bar of a round length in mm in the lower left corner of a view."""
    height, width = panel.image.shape[:2]
    per_mm = float(panel.px_per_mm or 1.0)
    lengths = [step * 10.0**power for power in range(-2, 5) for step in (1, 2, 5)]
    length = max((one for one in lengths if one * per_mm <= 0.3 * width), default=lengths[0])
    x, y = place[0] + 24, place[1] + height - 18
    axes.plot([x, x + length * per_mm], [y, y], color=INK, lw=3, solid_capstyle="butt")
    _words(axes, x, y - 8, f"{length:g} mm", size=13, path_effects=halo(3))


def _ring(axes: Any, panel: Panel, mark: Mark, place: tuple[int, int]) -> None:
    """Black and white ring around a spot, with a label that covers as little as possible."""
    from matplotlib.patches import Circle

    spot, label = np.array(place) + mark.at, np.array(place) + _free_place(panel.image, mark)
    start = spot + 15 * (label - spot) / np.linalg.norm(label - spot)
    dashes: Any = (0, (2.2, 1.6)) if mark.hidden else "solid"
    for colour, width, style in (("white", 6.0, "solid"), ("black", 2.4, dashes)):
        axes.plot(*zip(start, label, strict=True), color=colour, lw=width - 1)
        ring = {"fill": False, "edgecolor": colour, "lw": width, "linestyle": style}
        axes.add_patch(Circle((spot[0], spot[1]), 15, zorder=3, **ring))
    box = {"boxstyle": "square,pad=0.35", "facecolor": "white", "edgecolor": "black", "lw": 1.6}
    middle = {"ha": "center", "va": "center", "size": 14, "weight": "bold"}
    _words(axes, label[0], label[1], mark.words, bbox=box, **middle)


def _free_place(image: np.ndarray, mark: Mark) -> tuple[float, float]:
    """Place (px) near a mark where a label hides least of the picture (height, width, 3)."""
    height, width = image.shape[:2]
    half_width, half_height = 6.2 * len(mark.words) + 12, 18.0
    blank = (image == 255).all(axis=2)
    best, found = -np.inf, (mark.at[0], mark.at[1] - 60)
    for reach in (70, 110, 160, 220):
        for angle in np.arange(0.0, 2.0 * np.pi, np.pi / 8.0):
            x = mark.at[0] + (reach + 0.6 * half_width) * np.cos(angle)
            y = mark.at[1] + reach * np.sin(angle)
            x = float(np.clip(x, half_width + 4, width - half_width - 4))
            y = float(np.clip(y, half_height + 40, height - half_height - 4))
            if max(abs(x - mark.at[0]) - half_width, abs(y - mark.at[1]) - half_height) < 22:
                continue
            under = blank[
                int(y - half_height) : int(y + half_height),
                int(x - half_width) : int(x + half_width),
            ]
            score = under.mean() - reach / 500.0
            if score > best:
                best, found = score, (x, y)
    return found


def _colour_bar(figure: Any, axes: Any, scale: DoseScale) -> None:
    """Scale of colours with the target on it."""
    from matplotlib.ticker import NullLocator

    left, top, width, height = BAR
    bar = figure.add_axes(
        (left / WIDTH, 1.0 - (top + height) / HEIGHT, width / WIDTH, height / HEIGHT), zorder=-1
    )
    spaced = np.geomspace if scale.logarithmic else np.linspace
    ends = spaced(scale.low, scale.high, 257)
    bar.pcolormesh([0, 1], ends, np.arange(256)[:, None], cmap=COLOUR_MAP)
    bar.set_yscale("log" if scale.logarithmic else "linear")
    bar.set(ylim=(scale.low, scale.high), xticks=[])
    bar.yaxis.tick_right()
    ticks = round_ticks(scale.low, scale.high, scale.logarithmic)
    words = [tick_words(value) for value in ticks]
    bar.set_yticks(ticks, words)
    bar.yaxis.set_minor_locator(NullLocator())
    size = min(14.0, TICK_ROOM / max(map(len, words), default=1))
    bar.tick_params(labelsize=size, length=5, color=INK, labelcolor=INK)
    title = [*wrap(f"{scale.quantity},", TITLE_LETTERS), scale.unit]
    for k, line in enumerate(title, -len(title)):
        _words(axes, WIDTH - 120, top + 4 + 23 * k, line, size=14, weight="bold", ha="center")
    _bar_marks(axes, scale)


def _bar_marks(axes: Any, scale: DoseScale) -> None:
    """Lines across the bar at the marked values, with words at its left that do not overlap."""
    left, top, width, height = BAR
    flat = {"solid_capstyle": "butt", "zorder": 10}
    lowest_text = float("inf")
    for value, words in scale.marks:
        y = top + height * (1.0 - float(scale.position(np.array(value))))
        text_y = min(y, lowest_text - 22)
        lowest_text = text_y
        for colour, thick in (("white", 5), ("black", 2.2)):
            axes.plot([left - 10, left + width + 4], [y, y], color=colour, lw=thick, **flat)
        if text_y != y:
            axes.plot([left - 14, left - 10], [text_y, y], color="black", lw=1.2, **flat)
        _words(axes, left - 16, text_y, words, size=13, weight="bold", ha="right", va="center")


def _hatch_legend(axes: Any, image: np.ndarray, words: str) -> None:
    """Sample of the hatching for spots that get less than the target."""
    from matplotlib.patches import Rectangle

    left, top = BAR[0] - 60, BAR[1] + BAR[3] + 36
    rows, columns = np.indices((30, 52))
    swatch = np.where(((rows + columns) % 9 < 3.5)[..., None], HATCH_INK, HATCH_PAPER)
    image[top : top + 30, left : left + 52] = swatch
    axes.add_patch(Rectangle((left, top), 52, 30, fill=False, edgecolor=INK, lw=1))
    _words(axes, left, top + 50, words, size=13, weight="bold", va="center")
