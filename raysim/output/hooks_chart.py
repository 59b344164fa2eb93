"""Map of the exposure time over the hook position, one respirator alone in the box."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from raysim.output.hooks_words import hang_key, mm
from raysim.output.pictures import CHART, Picture
from raysim.output.pictures_page import INK, new_figure, save_figure
from raysim.scene.triangles import SceneTriangles
from raysim.studies.hooks_race import FINALIST, WORSE
from raysim.studies.hooks_result import HookStudy, Tried
from raysim.units import to_mm

PANEL = (600, 520)  # px
MOST_PANELS = 6
SLOW_TO_FAST = "viridis_r"  # short times light


def write_hooks_map(study: HookStudy, path: Path) -> Picture:
    """Map (PNG) of the time of the worst face, min, over the hook position seen from above."""
    groups: dict[tuple[float, float], list[Tried]] = {}
    for point in study.points:
        groups.setdefault(hang_key(point.hang), []).append(point)
    shown = sorted(groups, key=lambda key: (-key[0], key[1]))[:MOST_PANELS]
    columns = min(len(shown), 2)
    rows = -(-len(shown) // columns)
    width, height = PANEL[0] * columns + 140, PANEL[1] * rows + 60
    figure = new_figure(width, height)
    times = np.array([p.time for p in study.points]) / 60.0
    norm = _norm(times[np.isfinite(times)])
    for k, key in enumerate(shown):
        left, row = PANEL[0] * (k % columns), k // columns
        box = (left + 75, height - 50 - PANEL[1] * (row + 1) + 75, PANEL[0] - 100, PANEL[1] - 115)
        axes = figure.add_axes((box[0] / width, box[1] / height, box[2] / width, box[3] / height))
        _panel(axes, study, groups[key], norm)
        turned = f", turned {key[1]:g}°" if key[1] else ""
        axes.set_title(f"hooks {mm(key[0])} mm above the floor{turned}", fontsize=12, color=INK)
    _scale(figure, norm, width)
    save_figure(figure, path, np.full((height, width, 3), 255, np.uint8))
    caption = (
        "One respirator alone in the box, cautious case, from cold lamps; estimates, so for "
        "comparing only. Crosses: shown to be worse than the best. Rings: among the best. Plus "
        "signs: the hooks as they are now. Blue: lamps."
    )
    if len(groups) > MOST_PANELS:
        caption += f" {len(groups) - MOST_PANELS} further heights or turns are not shown."
    return Picture(path, "How long with the hook where", caption, CHART)


def _norm(times: np.ndarray) -> Any:
    from matplotlib.colors import Normalize

    if not len(times):
        return Normalize(0.0, 1.0)
    low, high = float(times.min()), float(np.quantile(times, 0.98))
    return Normalize(low, max(high, 1.01 * low))


def _panel(axes: Any, study: HookStudy, points: Sequence[Tried], norm: Any) -> None:
    from matplotlib import colormaps
    from matplotlib.collections import PatchCollection
    from matplotlib.patches import Rectangle

    at = to_mm(np.array([point.hang.at[:2] for point in points]))
    squares = [
        Rectangle((x - side / 2, y - side / 2), side, side)
        for (x, y), side in zip(at, _sides(at), strict=True)
    ]
    colours = [
        colormaps[SLOW_TO_FAST](norm(p.time / 60.0)) if np.isfinite(p.time) else "#30343a"
        for p in points
    ]
    axes.add_collection(PatchCollection(squares, facecolors=colours, edgecolors="white", lw=0.4))
    for fate, style in (
        (WORSE, {"marker": "x", "s": 14, "c": "#8f1d1d", "linewidths": 0.8}),
        (FINALIST, {"marker": "o", "s": 110, "facecolors": "none", "edgecolors": "black"}),
    ):
        chosen = at[[point.fate == fate for point in points]]
        axes.scatter(*chosen.T, zorder=3, **style)
    key = hang_key(points[0].hang)
    now = [hang.at[:2] for hang in study.load.now if hang_key(hang) == key]
    if now:
        axes.scatter(*to_mm(np.array(now)).T, marker="+", s=90, c="black", zorder=4)
    draw_plan(axes, study.best.best.triangles)


def _sides(at: np.ndarray) -> np.ndarray:
    """Sides of the squares, mm: the usual distance of neighbours, half for what lies between."""
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

    walls = np.array([body.kind == "wall" for body in triangles.bodies])[triangles.face_body]
    low, high = (end(to_mm(triangles.corners[walls]), axis=(0, 1)) for end in (np.min, np.max))
    for tube in triangles.tubes:
        ends = to_mm(np.array([tube.start, tube.end]))[:, :2]
        axes.plot(*ends.T, color="#7f9bea", lw=2.5, zorder=2)
        for end in ends:
            axes.add_patch(
                Circle(end, to_mm(tube.radius), facecolor="#7f9bea", edgecolor="#2b50b8")
            )
    axes.set_xlim(low[0], high[0])
    axes.set_ylim(low[1], high[1])
    axes.set_aspect("equal")
    axes.set_xlabel("mm from the left wall", fontsize=11)
    axes.set_ylabel("mm from the door", fontsize=11)


def _scale(figure: Any, norm: Any, width: int) -> None:
    from matplotlib.cm import ScalarMappable

    bar = figure.add_axes(((width - 95) / width, 0.16, 24 / width, 0.68))
    figure.colorbar(ScalarMappable(norm, SLOW_TO_FAST), cax=bar)
    bar.set_title("minutes", fontsize=11)
