"""A layout as a picture: the box from the front, coloured by irradiance, and a plan to build by."""

from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.units import minutes_seconds, to_mm, to_mW_cm2
from raysim.output.pictures.hooks_chart import draw_plan
from raysim.output.pictures.page import INK, new_figure, save_figure
from raysim.output.pictures.pictures import OVERVIEW, Picture
from raysim.output.pictures.scale import COLOUR_MAP, tick_words
from raysim.output.pictures.shades import tube_triangles
from raysim.output.pictures.views import View, parallel_view
from raysim.output.words.hooks import mm
from raysim.scene.triangles import SceneTriangles
from raysim.studies.hooks.result import Ranked

SIZE = (1200, 760)  # px
VIEW = (620, 690)  # px, of the box
TOWARDS = np.array([-0.45, -1.0, 0.35])  # to the camera, from the front left
MOST_LISTED = 12
GREY, LAMP = (0.72, 0.74, 0.77), (0.62, 0.71, 0.93)


def write_layout_picture(layout: Ranked, title: str, path: Path) -> Picture:
    """Picture (PNG) of a layout; colours are means over cells of 1 cm2, mW/cm2."""
    from matplotlib.colors import LogNorm

    triangles = layout.triangles
    values = to_mW_cm2(layout.field)
    lit = values[triangles.judged & (values > 0.0)]
    low, high = np.quantile(lit, [0.01, 0.99]) if len(lit) else (0.1, 1.0)
    norm = LogNorm(max(low, high / 1e3), max(high, 1.01 * low))
    figure = new_figure(*SIZE)
    axes = figure.add_axes(
        (0, 0, VIEW[0] / SIZE[0], VIEW[1] / SIZE[1]), xlim=(0, VIEW[0]), ylim=(VIEW[1], 0)
    )
    axes.axis("off")
    towards = TOWARDS / np.linalg.norm(TOWARDS)
    view = parallel_view(triangles.corners[_walls(triangles)].reshape(-1, 3), towards, VIEW)
    _draw_edges(axes, triangles, view)
    _draw_things(axes, triangles, values, view, norm)
    plan = figure.add_axes((0.555, 0.25, 0.34, 0.6))
    _draw_hooks(plan, layout)
    draw_plan(plan, triangles)
    _list_hooks(figure, layout)
    _scale(figure, norm)
    figure.text(0.02, 0.965, title, fontsize=16, weight="bold", color=INK, parse_math=False)
    about = "" if layout.has_bound else "about "
    words = f"{about}{minutes_seconds(layout.time)} in the cautious case, from cold lamps"
    figure.text(0.02, 0.925, words, fontsize=12, color="#444b54")
    save_figure(figure, path, np.full((SIZE[1], SIZE[0], 3), 255, np.uint8))
    caption = (
        "Left: the box from the front left, walls left out; colours: irradiance in the cautious "
        "case, mean over cells of about 1 cm², logarithmic. Right: seen from above; below it the "
        "hook points in mm from the left wall / the door / the floor."
    )
    return Picture(path, title, caption, OVERVIEW)


def _walls(triangles: SceneTriangles) -> np.ndarray:
    kinds = np.array([body.kind == "wall" for body in triangles.bodies])
    return np.asarray(kinds[triangles.face_body])


def _draw_edges(axes: Any, triangles: SceneTriangles, view: View) -> None:
    from matplotlib.collections import LineCollection

    from raysim.output.pictures.shades import wall_edges

    lines = view.pixels(wall_edges(triangles).reshape(-1, 3)).reshape(-1, 2, 2)
    axes.add_collection(LineCollection(list(lines), colors="#8a9199", lw=1.0))


def _draw_things(
    axes: Any, triangles: SceneTriangles, values: np.ndarray, view: View, norm: Any
) -> None:
    """Draw everything except the walls, the farthest first."""
    from matplotlib import colormaps
    from matplotlib.collections import PolyCollection

    chosen = np.flatnonzero(~_walls(triangles))
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
    depth = np.argsort(corners.mean(axis=1) @ view.towards, kind="stable")
    pixels = view.pixels(corners.reshape(-1, 3)).reshape(-1, 3, 2)
    axes.add_collection(
        PolyCollection(
            list(pixels[depth]), facecolors=colours[depth], edgecolors=colours[depth], lw=0.3
        )
    )


def _draw_hooks(axes: Any, layout: Ranked) -> None:
    """Hook points and the outlines of what hangs there, from above."""
    from scipy.spatial import ConvexHull

    triangles = layout.triangles
    body = triangles.face_body
    for number in [k for k, entry in enumerate(triangles.bodies) if entry.judged]:
        points = to_mm(triangles.corners[body == number].reshape(-1, 3)[:, :2])
        hull = points[ConvexHull(points, qhull_options="QJ").vertices]
        axes.fill(*hull.T, facecolor="#d9dee3", edgecolor="#666d76", lw=1.0, alpha=0.7)
    groups: dict[tuple[float, float], list[str]] = {}
    for number, hang in enumerate(layout.layout, 1):
        place = (round(hang.at[0], 4), round(hang.at[1], 4))
        groups.setdefault(place, []).append(str(number))
    for place, words in groups.items():
        axes.plot(*to_mm(np.array(place)), "o", color="black", ms=4)
        axes.annotate(
            ", ".join(words),
            tuple(to_mm(np.array(place))),
            xytext=(0, 5),
            textcoords="offset points",
            ha="center",
            fontsize=10,
            weight="bold",
            color=INK,
        )


def _list_hooks(figure: Any, layout: Ranked) -> None:
    """Hook points with their numbers, in columns under the plan."""
    for k, hang in enumerate(layout.layout[:MOST_LISTED]):
        place = " / ".join(mm(value) for value in hang.at)
        turned = f", {hang.turn:g}°" if hang.turn else ""
        figure.text(
            0.555 + 0.19 * (k % 2),
            0.135 - 0.023 * (k // 2),
            f"{k + 1}:  {place}{turned}",
            fontsize=9.5,
            color=INK,
        )


def _scale(figure: Any, norm: Any) -> None:
    from matplotlib.cm import ScalarMappable
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    bar = figure.add_axes((0.93, 0.2, 0.018, 0.62))
    figure.colorbar(ScalarMappable(norm, COLOUR_MAP), cax=bar)
    bar.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    bar.yaxis.set_major_formatter(FuncFormatter(lambda value, _: tick_words(value)))
    bar.yaxis.set_minor_formatter(NullFormatter())
    bar.set_title("mW/cm²", fontsize=10)
