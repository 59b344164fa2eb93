"""Figures of matplotlib without window or global state, and what several of them draw alike."""

import warnings
from pathlib import Path
from typing import Any

import numpy as np

from raysim.output.pictures.scale import COLOUR_MAP, round_ticks, tick_words
from raysim.output.pictures.views import View

DPI = 100
COMPRESSION = 7  # level 9 takes four times as long for files 2 % smaller
INK, SOFT_INK = "#1b1f24", "#444b54"
BLANK = {"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none"}  # behind words


def new_figure(width: int, height: int) -> Any:
    """Matplotlib figure of a size in px."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width / DPI, height / DPI), dpi=DPI, facecolor="none")
    FigureCanvasAgg(figure)
    return figure


def save_figure(figure: Any, path: Path, under: np.ndarray | None = None) -> None:
    """Write a figure as a PNG over a picture (height, width, 3) uint8, over white by default.

    Colours are rounded to steps of five, too small to see; this halves the size of the file.
    """
    from PIL import Image

    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        figure.canvas.draw()
    drawn = Image.fromarray(np.asarray(figure.canvas.buffer_rgba()))
    paper = Image.new("RGB", drawn.size, "white") if under is None else Image.fromarray(under)
    image = paper.convert("RGBA")
    image.alpha_composite(drawn)
    steps = [(value + 2) // 5 * 5 for value in range(256)]
    image.convert("RGB").point(3 * steps).save(path, compress_level=COMPRESSION)


def pixel_axes(figure: Any, width: float, height: float) -> Any:
    """Bare axes in px, y downwards, in the lower left corner of a figure."""
    across, up = figure.get_size_inches() * DPI
    axes = figure.add_axes((0, 0, width / across, height / up), xlim=(0, width), ylim=(height, 0))
    axes.axis("off")
    return axes


def beside(axes: Any, words: str, at: tuple[float, float], shift: Any, **style: Any) -> None:
    """Words at a place of some axes, shifted by (x, y) points."""
    about = {"xytext": shift, "textcoords": "offset points", "fontsize": 12} | style
    axes.annotate(words, at, **about)


def halo(width: float) -> list[Any]:
    """A white rim about lines and letters, to be seen on all colours."""
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=width, foreground="white")]


def light_norm(values: np.ndarray) -> Any:
    """Logarithmic scale of irradiances: without the ends that only noise reaches."""
    from matplotlib.colors import LogNorm

    lit = values[values > 0.0]
    low, high = np.quantile(lit, [0.01, 0.99]) if len(lit) else (0.1, 1.0)
    low = max(low, high / 1e3)
    return LogNorm(low, max(high, 1.01 * low))


def colour_bar(figure: Any, place: Any, norm: Any, colours: str, **more: Any) -> Any:
    """The axes of a colour bar; `place` is left, bottom, width and height as shares."""
    from matplotlib.cm import ScalarMappable

    bar = figure.add_axes(place)
    figure.colorbar(ScalarMappable(norm, colours), cax=bar, **more)
    return bar


def light_bar(figure: Any, place: Any, norm: Any) -> Any:
    """The same of a logarithmic scale of irradiances, with round numbers beside it."""
    bar = colour_bar(figure, place, norm, COLOUR_MAP)
    ticks = round_ticks(norm.vmin, norm.vmax, True)
    bar.yaxis.set_ticks(ticks, [tick_words(value) for value in ticks])
    bar.yaxis.set_ticks([], minor=True)
    return bar


def draw_triangles(
    axes: Any, view: View, corners: np.ndarray, colours: np.ndarray, width: float
) -> None:
    """Fill triangles (n, 3, 3), m, in colours (n, 3 or 4), the farthest first."""
    from matplotlib.collections import PolyCollection

    depth = np.argsort(corners.mean(axis=1) @ view.towards, kind="stable")
    shown, paint = view.pixels(corners[depth].reshape(-1, 3)).reshape(-1, 3, 2), colours[depth]
    axes.add_collection(PolyCollection(list(shown), facecolors=paint, edgecolors=paint, lw=width))


def draw_lines(axes: Any, view: View, lines: np.ndarray, colour: str, width: float) -> None:
    """Draw lines (n, 2, 3), m."""
    from matplotlib.collections import LineCollection

    shown = view.pixels(lines.reshape(-1, 3)).reshape(-1, 2, 2)
    axes.add_collection(LineCollection(list(shown), colors=colour, lw=width))
