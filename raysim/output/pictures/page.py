"""One picture file: views side by side, heading, marks and the colour bar."""

import warnings
from dataclasses import dataclass, field
from pathlib import Path
from textwrap import wrap
from typing import Any

import numpy as np

from raysim.output.pictures.render import HATCH_INK, HATCH_PAPER
from raysim.output.pictures.scale import COLOUR_MAP, DoseScale, tick_words

WIDTH, HEIGHT = 1200, 900  # px
AREA = (0, 70, 950, 830)  # left, top, width, height of the views, px
BAR = (1066, 150, 34, 630)  # left, top, width, height of the colour bar, px
TITLE_LETTERS = 20  # letters of a line above the colour bar, which is 240 px wide
DPI = 100
COMPRESSION = 7  # level 9 takes four times as long for files 2 % smaller
INK = "#1b1f24"


@dataclass(frozen=True)
class Label:
    """Words at a place in a view, px from its upper left corner."""

    at: tuple[float, float]
    words: str
    colour: str = INK
    size: float = 13.0


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


@dataclass
class _Page:
    """Figure with one set of axes in pixels, y downwards."""

    figure: Any
    axes: Any
    image: np.ndarray = field(repr=False)


def panel_size(count: int) -> tuple[int, int]:
    """Width and height (px) of each of `count` views (1, 2 or up to 4) of a page."""
    return AREA[2] // min(count, 2), AREA[3] // (2 if count > 2 else 1)


def write_page(path: Path, heading: str, below: str, panels: list[Panel], scale: DoseScale) -> None:
    """Write one picture file (PNG)."""
    page = _blank_page()
    width, height = panel_size(len(panels))
    places = [(AREA[0] + width * (k % 2), AREA[1] + height * (k // 2)) for k in range(len(panels))]
    for panel, (left, top) in zip(panels, places, strict=True):
        page.image[top : top + height, left : left + width] = panel.image
    if scale.wanting.any():
        _hatch_legend(page, scale.wanting_words)
    _words(page, 22, 32, heading, size=18, weight="bold")
    _words(page, 22, 58, below, size=13, color="#444b54")
    for panel, place in zip(panels, places, strict=True):
        _annotate(page, panel, place)
    _colour_bar(page, scale)
    save_figure(page.figure, path, page.image)


def save_figure(figure: Any, path: Path, under: np.ndarray) -> None:
    """Write a matplotlib figure over a picture (height, width, 3) uint8 as a PNG.

    Colours are rounded to steps of five, too small to see; this halves the size of the file.
    """
    from PIL import Image

    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        figure.canvas.draw()
    image = Image.fromarray(under).convert("RGBA")
    image.alpha_composite(Image.fromarray(np.asarray(figure.canvas.buffer_rgba())))
    steps = [(value + 2) // 5 * 5 for value in range(256)]
    image.convert("RGB").point(3 * steps).save(path, compress_level=COMPRESSION)


def new_figure(width: int, height: int) -> Any:
    """Matplotlib figure of a size in px, without window or global state."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width / DPI, height / DPI), dpi=DPI, facecolor="none")
    FigureCanvasAgg(figure)
    return figure


def _blank_page() -> _Page:
    figure = new_figure(WIDTH, HEIGHT)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(0, WIDTH), ylim=(HEIGHT, 0))
    axes.axis("off")
    return _Page(figure, axes, np.full((HEIGHT, WIDTH, 3), 255, np.uint8))


def _words(page: _Page, x: float, y: float, words: str, **style: Any) -> Any:
    """Text at a place of the page, never read as mathematics."""
    return page.axes.text(x, y, words, **{"color": INK, "parse_math": False} | style)


def _haloed(width: float) -> list[Any]:
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=width, foreground="white")]


def _annotate(page: _Page, panel: Panel, place: tuple[int, int]) -> None:
    left, top = place
    if panel.title:
        _words(page, left + 22, top + 24, panel.title, size=14, path_effects=_haloed(3))
    for label in panel.labels:
        _words(
            page,
            left + label.at[0],
            top + label.at[1],
            label.words,
            size=label.size,
            color=label.colour,
            ha="center",
            va="center",
            path_effects=_haloed(3),
        )
    if panel.px_per_mm is not None:
        _ruler(page, panel, place)
    if panel.mark is not None:
        _ring(page, panel, panel.mark, place)


def _ruler(page: _Page, panel: Panel, place: tuple[int, int]) -> None:
    """Bar of a round length in mm in the lower left corner of a view."""
    height, width = panel.image.shape[:2]
    per_mm = float(panel.px_per_mm or 1.0)
    lengths = [step * 10.0**power for power in range(-2, 5) for step in (1, 2, 5)]
    length = max((one for one in lengths if one * per_mm <= 0.3 * width), default=lengths[0])
    x, y = place[0] + 24, place[1] + height - 18
    page.axes.plot([x, x + length * per_mm], [y, y], color=INK, lw=3, solid_capstyle="butt")
    _words(page, x, y - 8, f"{length:g} mm", size=13, path_effects=_haloed(3))


def _ring(page: _Page, panel: Panel, mark: Mark, place: tuple[int, int]) -> None:
    """Black and white ring around a spot, with a label that covers as little as possible."""
    from matplotlib.patches import Circle

    x, y = place[0] + mark.at[0], place[1] + mark.at[1]
    to_x, to_y = _free_place(panel.image, mark)
    to_x, to_y = place[0] + to_x, place[1] + to_y
    dashes = (0, (2.2, 1.6)) if mark.hidden else "solid"
    away = np.array([to_x - x, to_y - y])
    start = np.array([x, y]) + 15 * away / np.linalg.norm(away)
    for colour, width in (("white", 6.0), ("black", 2.4)):
        page.axes.plot([start[0], to_x], [start[1], to_y], color=colour, lw=width - 1)
        style: Any = "solid" if colour == "white" else dashes
        page.axes.add_patch(
            Circle((x, y), 15, fill=False, edgecolor=colour, lw=width, linestyle=style, zorder=3)
        )
    box = {"boxstyle": "square,pad=0.35", "facecolor": "white", "edgecolor": "black", "lw": 1.6}
    _words(page, to_x, to_y, mark.words, size=14, weight="bold", ha="center", va="center", bbox=box)


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


def _colour_bar(page: _Page, scale: DoseScale) -> None:
    """Scale of colours with the target on it."""
    from matplotlib import colormaps
    from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator, NullLocator

    left, top, width, height = BAR
    bar = page.figure.add_axes(
        (left / WIDTH, 1.0 - (top + height) / HEIGHT, width / WIDTH, height / HEIGHT)
    )
    spaced = np.geomspace if scale.logarithmic else np.linspace
    ends = spaced(scale.low, scale.high, 257)
    bar.pcolormesh([0, 1], ends, np.arange(256)[:, None], cmap=colormaps[COLOUR_MAP])
    bar.set_yscale("log" if scale.logarithmic else "linear")
    bar.set(ylim=(scale.low, scale.high), xticks=[])
    bar.yaxis.tick_right()
    subs = (1.0, 2.0, 5.0) if scale.high / max(scale.low, 1e-300) < 300 else (1.0,)
    bar.yaxis.set_major_locator(LogLocator(subs=subs) if scale.logarithmic else MaxNLocator(8))
    bar.yaxis.set_minor_locator(NullLocator())
    bar.yaxis.set_major_formatter(FuncFormatter(lambda value, _: tick_words(value)))
    bar.tick_params(labelsize=14, length=5, color=INK, labelcolor=INK)
    title = [*wrap(f"{scale.quantity},", TITLE_LETTERS), scale.unit]
    for k, words in enumerate(title, -len(title)):
        _words(page, WIDTH - 120, top + 4 + 23 * k, words, size=14, weight="bold", ha="center")
    _bar_marks(page, scale)


def _bar_marks(page: _Page, scale: DoseScale) -> None:
    """Lines across the bar at the marked values, with words at its left that do not overlap."""
    left, top, width, height = BAR
    lowest_text = float("inf")
    for value, words in scale.marks:
        y = top + height * (1.0 - float(scale.position(np.array(value))))
        text_y = min(y, lowest_text - 22)
        lowest_text = text_y
        page.figure.add_artist(_line([left - 10, left + width + 4], [y, y], "white", 5))
        page.figure.add_artist(_line([left - 10, left + width + 4], [y, y], "black", 2.2))
        if text_y != y:
            page.figure.add_artist(_line([left - 14, left - 10], [text_y, y], "black", 1.2))
        _words(page, left - 16, text_y, words, size=13, weight="bold", ha="right", va="center")


def _line(x: list[float], y: list[float], colour: str, width: float) -> Any:
    """Line in px of the page, drawn over all axes."""
    from matplotlib.lines import Line2D

    across = [value / WIDTH for value in x]
    up = [1.0 - value / HEIGHT for value in y]
    return Line2D(across, up, color=colour, lw=width, solid_capstyle="butt", zorder=10)


def _hatch_legend(page: _Page, words: str) -> None:
    """Sample of the hatching for spots that get less than the target."""
    left, top = BAR[0] - 60, BAR[1] + BAR[3] + 36
    rows, columns = np.indices((30, 52))
    swatch = np.where(((rows + columns) % 9 < 3.5)[..., None], HATCH_INK, HATCH_PAPER)
    page.image[top : top + 30, left : left + 52] = swatch
    page.axes.add_patch(_frame(left, top, 52, 30))
    _words(page, left, top + 50, words, size=13, weight="bold", va="center")


def _frame(left: float, top: float, width: float, height: float) -> Any:
    from matplotlib.patches import Rectangle

    return Rectangle((left, top), width, height, fill=False, edgecolor=INK, lw=1)
