"""Map of the exposure time over the hook position, one respirator alone in the box."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.units import to_mm
from raysim.output.pictures.figure import (
    INK,
    SOFT_INK,
    colour_bar,
    halo,
    new_figure,
    save_figure,
)
from raysim.output.pictures.pictures import CHART, Picture
from raysim.output.words.numbers import OVER_A_WEEK, length_words
from raysim.scene.sides import sides_of
from raysim.scene.triangles import SceneTriangles
from raysim.studies.hooks.contestant import Fate
from raysim.studies.hooks.load import Hang
from raysim.studies.hooks.result import HookPoint, HookStudy

PANEL = (600, 480)  # px
HEAD, LEGEND, MARGIN = 76, 74, 150  # px: words above, legend below, colour bar on the right
MOST_PANELS = 6
SLOW_TO_FAST = "viridis_r"  # short times light
NO_TIME, LAMP = "#8b8f94", "#7f9bea"  # the grey is not a colour of the scale
# Marks of the map and of its legend; the cross must be visible on dark and on light colours.
BLACK: dict[str, Any] = {"linewidths": 1.4, "edgecolors": "black"}
BEST: dict[str, Any] = {"marker": "o", "s": 110, "facecolors": "none"} | BLACK
BEATEN = {"marker": "X", "s": 42, "facecolors": "#c22a2a", "edgecolors": "white", "linewidths": 0.7}
RIM = 2.2  # of the white rim about black marks
NOW: dict[str, Any] = {"marker": "+", "s": 90, "c": "black", "linewidths": 1.6}


def write_hooks_map(study: HookStudy, path: Path) -> Picture:
    """Map (PNG) of the time of the worst face, min, over the hook position seen from above."""
    groups: dict[tuple[float, float], list[HookPoint]] = {}
    for point in study.points:
        groups.setdefault(hang_key(point.hang), []).append(point)
    shown = sorted(groups, key=lambda key: (-key[0], key[1]))[:MOST_PANELS]
    columns = min(len(shown), 2)
    rows = -(-len(shown) // columns)
    width, height = PANEL[0] * columns + MARGIN, HEAD + PANEL[1] * rows + LEGEND
    figure = new_figure(width, height)
    times = np.array([p.time for p in study.points]) / 60.0
    units = study.load.scene.triangles.units
    norm = _norm(times[np.isfinite(times)])
    _heading(figure, width, height)
    for k, key in enumerate(shown):
        left, row = PANEL[0] * (k % columns), k // columns
        box = (left + 75, LEGEND + PANEL[1] * (rows - 1 - row) + 60, PANEL[0] - 100, PANEL[1] - 90)
        axes = figure.add_axes((box[0] / width, box[1] / height, box[2] / width, box[3] / height))
        _panel(axes, study, groups[key], norm)
        turned = f", turned {key[1]:g}°" if key[1] else ""
        level = f"{length_words(key[0], units)} {sides_of(study.load.scene.triangles).measured[2]}"
        axes.set_title(f"hooks {level}{turned}", fontsize=12, color=INK)
    if np.isfinite(times).any():
        _scale(figure, norm, width, bool((times[np.isfinite(times)] > norm.vmax).any()))
    drawn = [point for key in shown for point in groups[key]]
    _legend(figure, study, drawn, columns)
    save_figure(figure, path)
    caption = (
        "One respirator alone in the box, cautious case, from cold lamps; estimates, so for "
        "comparing only."
    )
    if len(groups) > MOST_PANELS:
        caption += f" {len(groups) - MOST_PANELS} further heights or turns are not shown."
    return Picture(path, "How long with the hook where", caption, CHART)


def hang_key(hang: Hang) -> tuple[float, float]:
    """Height (m) and turn (degrees); hook points that are equal in both share a map."""
    return round(hang.at[2], 5), round(hang.turn, 3)


def _norm(times: np.ndarray) -> Any:
    from matplotlib.colors import Normalize

    if not len(times):
        return Normalize(0.0, 1.0)
    low, high = float(times.min()), float(np.quantile(times, 0.98))
    return Normalize(low, max(high, 1.01 * low))


def _panel(axes: Any, study: HookStudy, points: Sequence[HookPoint], norm: Any) -> None:
    from matplotlib import colormaps
    from matplotlib.collections import PatchCollection
    from matplotlib.patches import Rectangle

    at = to_mm(np.array([point.hang.at[:2] for point in points]))
    squares = [
        Rectangle((x - side / 2, y - side / 2), side, side)
        for (x, y), side in zip(at, _sides(at), strict=True)
    ]
    colours = [
        colormaps[SLOW_TO_FAST](norm(p.time / 60.0)) if np.isfinite(p.time) else NO_TIME
        for p in points
    ]
    axes.add_collection(PatchCollection(squares, facecolors=colours, edgecolors="white", lw=0.4))
    rims = {Fate.WORSE: [], Fate.FINALIST: halo(BEST["linewidths"] + RIM)}  # on dark colours too
    for fate, style in ((Fate.WORSE, BEATEN), (Fate.FINALIST, BEST)):
        chosen = at[[point.fate is fate for point in points]]
        axes.scatter(*chosen.T, zorder=3, path_effects=rims[fate], **style)
    key = hang_key(points[0].hang)
    now = [hang.at[:2] for hang in study.load.now if hang_key(hang) == key]
    if now:
        rim = halo(NOW["linewidths"] + RIM)
        axes.scatter(*to_mm(np.array(now)).T, zorder=4, path_effects=rim, **NOW)
    draw_plan(axes, study.best.best.triangles)
    low = {"ha": "center", "va": "bottom", "transform": axes.transAxes}
    axes.text(0.5, 0.01, "door", color=SOFT_INK, **low)


def _sides(at: np.ndarray) -> np.ndarray:
    """Sides of the squares, mm: the usual distance of neighbours, half of it for points between."""
    if len(at) < 2:
        return np.full(len(at), 20.0)
    gaps = np.abs(at[:, None] - at[None]).max(axis=2)
    near = np.where(gaps > 0.0, gaps, np.inf).min(axis=1)
    usual = float(np.clip(np.median(near), 3.0, 80.0))
    order = np.arange(len(at))
    crowded = ((gaps < 0.9 * usual) & (order[None] < order[:, None])).any(axis=1)
    return np.where(crowded, 0.5 * usual, usual)


def draw_plan(axes: Any, triangles: SceneTriangles) -> None:
    """Outline of the box and its lamps as seen from above, mm, with axes to measure by."""
    from matplotlib.patches import Circle

    for tube in triangles.tubes:
        ends = to_mm(np.array([tube.start, tube.end]))[:, :2]
        axes.plot(*ends.T, color=LAMP, lw=2.5, zorder=2)
        for end in ends:
            axes.add_patch(Circle(end, to_mm(tube.radius), facecolor=LAMP, edgecolor="#2b50b8"))
    measure_box(axes, triangles, (0, 1))


def measure_box(axes: Any, triangles: SceneTriangles, seen: tuple[int, int]) -> None:
    """Axes as wide as the box, mm, of which two axes are `seen`."""
    low, high = (to_mm(end) for end in triangles.box)
    across, up = seen
    axes.set_xlim(low[across], high[across])
    axes.set_ylim(low[up], high[up])
    axes.set_aspect("equal")
    measured = sides_of(triangles).measured
    axes.set_xlabel(f"mm {measured[across]}", fontsize=11)
    axes.set_ylabel(f"mm {measured[up]}", fontsize=11)


def fill_load(
    axes: Any, triangles: SceneTriangles, seen: tuple[int, int] = (0, 1), **style: Any
) -> None:
    """Outlines of the judged objects, mm, where two axes are `seen`."""
    from scipy.spatial import ConvexHull

    for body in triangles.judged_bodies:
        points = to_mm(triangles.corners_of(body).reshape(-1, 3)[:, seen])
        hull = points[ConvexHull(points, qhull_options="QJ").vertices]
        axes.fill(*hull.T, **style)


def _heading(figure: Any, width: int, height: int) -> None:
    about = {"ha": "left", "va": "top", "color": INK}
    words = "One respirator alone in the box, by where its hook is (seen from above)"
    size = 15 if width > 1000 else 12
    figure.text(24 / width, 1.0 - 14 / height, words, fontsize=size, weight="bold", **about)
    words = "Minutes until its darkest spot has its dose (cautious case, from cold lamps)"
    figure.text(24 / width, 1.0 - 44 / height, words, fontsize=size - 3, **about)


def _scale(figure: Any, norm: Any, width: int, beyond: bool) -> None:
    """Colour bar, min; `beyond` if some times are longer than its end."""
    place = ((width - 105) / width, 0.24, 24 / width, 0.5)
    extend = "max" if beyond else "neither"
    bar = colour_bar(figure, place, norm, SLOW_TO_FAST, extend=extend)
    at = {"ha": "center", "transform": bar.transAxes, "fontsize": 11, "color": INK}
    bar.text(0.5, 1.09, "minutes\nslow", va="bottom", **at)
    bar.text(0.5, -0.04, "fast", va="top", **at)


def _legend(figure: Any, study: HookStudy, drawn: Sequence[HookPoint], columns: int) -> None:
    """Legend of the marks that are in the map."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    fates = {point.fate for point in drawn}
    keys = {hang_key(point.hang) for point in drawn}
    here = any(hang_key(hang) in keys for hang in study.load.now)
    endless = {point.fate for point in drawn if not np.isfinite(point.time)}
    dark = endless == {Fate.TOO_DARK}
    no_time = f"would take {OVER_A_WEEK}" if dark else "no time can be vouched for"
    bare = figure.add_axes((0, 0, 0.001, 0.001))  # holds the marks of the legend alone
    bare.axis("off")
    white = Patch(facecolor="white", edgecolor="#8a9199")
    entries: list[tuple[bool, Any, str]] = [
        (Fate.FINALIST in fates, bare.scatter([], [], **BEST), "among the best for one alone"),
        (Fate.WORSE in fates, bare.scatter([], [], **BEATEN), "shown to be worse than the best"),
        (here, bare.scatter([], [], **NOW), "hook as it is now"),
        (bool(endless), Patch(facecolor=NO_TIME), no_time),
        (True, Line2D([], [], marker="o", ls="", ms=11, mfc=LAMP, mec="#2b50b8"), "lamp"),
        (True, white, "left white: no room, or not tried"),
    ]
    _, handles, words = zip(*(entry for entry in entries if entry[0]), strict=True)
    size = {"ncols": 3, "fontsize": 11} if columns > 1 else {"ncols": 2, "fontsize": 10}
    figure.legend(handles, words, loc="lower center", frameon=False, **size)
