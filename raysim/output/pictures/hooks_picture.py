"""A layout as a picture: the box from the front, coloured by irradiance, and a plan to build by."""

from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.units import minutes_seconds, to_mm, to_mW_cm2
from raysim.output.pictures.figure import (
    INK,
    SOFT_INK,
    beside,
    draw_lines,
    draw_triangles,
    light_bar,
    light_norm,
    new_figure,
    pixel_axes,
    save_figure,
)
from raysim.output.pictures.hooks_chart import draw_plan, fill_load
from raysim.output.pictures.pictures import OVERVIEW, Picture
from raysim.output.pictures.scale import COLOUR_MAP
from raysim.output.pictures.shades import tube_triangles, wall_edges
from raysim.output.pictures.views import View, parallel_view
from raysim.output.words.numbers import length
from raysim.scene.triangles import SceneTriangles
from raysim.studies.hooks.result import Ranked
from raysim.workshop.grid import grid_of

SIZE = (1200, 760)  # px
VIEW = (620, 690)  # px, of the box
TOWARDS = np.array([-0.45, -1.0, 0.35])  # to the camera, from the front left
MOST_LISTED = 12
GREY, LAMP = (0.72, 0.74, 0.77), (0.62, 0.71, 0.93)
LOAD: dict[str, Any] = {"facecolor": "#d9dee3", "edgecolor": "#666d76", "lw": 1.0, "alpha": 0.7}


def write_layout_picture(layout: Ranked, title: str, path: Path) -> Picture:
    """Picture (PNG) of a layout; colours are means over cells of 1 cm2, mW/cm2."""
    triangles = layout.triangles
    figure = new_figure(*SIZE)
    coloured_box(figure, triangles, layout.field)
    plan = figure.add_axes((0.555, 0.25, 0.34, 0.6))
    _draw_hooks(plan, layout)
    draw_plan(plan, triangles)
    _list_hooks(figure, layout, triangles.units)
    time = f"{'' if layout.has_bound else 'about '}{minutes_seconds(layout.time)}"
    told = f"hook points, x / y / z in {grid_of(triangles.units).name}"
    return titled(figure, title, time, told, path)


def titled(figure: Any, title: str, time: str, told: str, path: Path) -> Picture:
    """Write a picture of a box beside its plan, with a title and the time that it takes.

    `told` says what is listed below the plan.
    """
    figure.text(0.02, 0.965, title, fontsize=16, weight="bold", color=INK, parse_math=False)
    words = f"{time} in the cautious case, from cold lamps"
    figure.text(0.02, 0.925, words, fontsize=12, color=SOFT_INK)
    save_figure(figure, path)
    caption = (
        "Left: the box from the front left, walls left out; colours: irradiance in the cautious "
        "case, mean over cells of about 1 cm², logarithmic. Right: seen from above; below it the "
        f"{told}."
    )
    return Picture(path, title, caption, OVERVIEW)


def coloured_box(figure: Any, triangles: SceneTriangles, field: np.ndarray) -> None:
    """The box from the front left, coloured by irradiance (faces, 2), W/m2, and its scale."""
    values = to_mW_cm2(field)
    norm = light_norm(values[triangles.judged])
    axes = pixel_axes(figure, *VIEW)
    towards = TOWARDS / np.linalg.norm(TOWARDS)
    walls = triangles.corners[triangles.on_wall].reshape(-1, 3)
    view = parallel_view(walls, towards, VIEW)
    draw_lines(axes, view, wall_edges(triangles), "#8a9199", 1.0)
    _draw_things(axes, triangles, values, view, norm)
    bar = light_bar(figure, (0.93, 0.2, 0.018, 0.62), norm)
    bar.set_title("mW/cm²", fontsize=10)


def _draw_things(
    axes: Any, triangles: SceneTriangles, values: np.ndarray, view: View, norm: Any
) -> None:
    """Draw everything except the walls, the farthest first."""
    from matplotlib import colormaps

    chosen = np.flatnonzero(~triangles.on_wall)
    facing = triangles.normals[chosen] @ view.towards
    side = (facing < 0.0).astype(int)  # an open sheet shows the side that faces the camera
    shade = 0.6 + 0.4 * np.abs(facing)[:, None]
    light = np.maximum(values[chosen, side], norm.vmin)
    colours = colormaps[COLOUR_MAP](norm(light))[:, :3]
    judged = triangles.judged[chosen, side]
    colours[~judged] = (np.array(GREY) * shade)[~judged]
    tubes = tube_triangles(triangles.tubes)
    corners = np.concatenate([triangles.corners[chosen], tubes])
    colours = np.concatenate([colours, np.tile(LAMP, (len(tubes), 1))])
    draw_triangles(axes, view, corners, colours, 0.3)


def _draw_hooks(axes: Any, layout: Ranked) -> None:
    """Hook points and the outlines of what hangs there, from above."""
    fill_load(axes, layout.triangles, **LOAD)
    groups: dict[tuple[float, float], list[str]] = {}
    for number, hang in enumerate(layout.layout, 1):
        place = (round(hang.at[0], 4), round(hang.at[1], 4))
        groups.setdefault(place, []).append(str(number))
    for place, words in groups.items():
        axes.plot(*to_mm(np.array(place)), "o", color="black", ms=4)
        style = {"ha": "center", "weight": "bold", "color": INK}
        beside(axes, ", ".join(words), to_mm(np.array(place)), (0, 5), fontsize=10, **style)


def _list_hooks(figure: Any, layout: Ranked, units: str) -> None:
    """Hook points with their numbers, in columns under the plan."""
    for k, hang in enumerate(layout.layout[:MOST_LISTED]):
        place = " / ".join(length(value, units) for value in hang.at)
        turned = f", {hang.turn:g}°" if hang.turn else ""
        at = 0.555 + 0.19 * (k % 2), 0.135 - 0.023 * (k // 2)
        figure.text(*at, f"{k + 1}:  {place}{turned}", fontsize=9.5, color=INK)
