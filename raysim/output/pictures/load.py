"""How the load hangs, for the operator's card: what is judged, with the numbers of the tally."""

from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

from raysim.output.pictures.figure import INK, new_figure, pixel_axes, save_figure
from raysim.output.pictures.render import Canvas, Sheet
from raysim.output.pictures.shades import (
    flat_colours,
    lamp_colours,
    tube_triangles,
    wall_edges,
)
from raysim.output.pictures.views import View, perspective_view
from raysim.scene.triangles import INSIDE, OUTSIDE, SceneTriangles

SIZE = (800, 900)  # px; 84 mm high on the card, so that letters of 26 px are 2.4 mm high
TOWARDS = np.array([-0.3, -1.0, 0.3])  # as one stands before the open door
DISC, LETTERS = 19.0, 17.0  # px: radius of the discs; points of the letters


def write_load(triangles: SceneTriangles, canvas: Canvas, path: Path) -> None:
    """Draw the loaded box as seen from its door, judged objects numbered in their order (PNG)."""
    ends = [end(triangles.corners, axis=(0, 1)) for end in (np.min, np.max)]
    view = perspective_view(np.array(list(product(*zip(*ends, strict=True)))), TOWARDS, SIZE)
    image = canvas.drawn(view, _sheets(triangles, view), wall_edges(triangles))
    figure = new_figure(*SIZE)
    axes = pixel_axes(figure, *SIZE)
    places = lower_ends(triangles, view)
    for number, (place, disc) in enumerate(zip(places, apart(places), strict=True), 1):
        _number(axes, number, place, disc)
    save_figure(figure, path, image)


def _sheets(triangles: SceneTriangles, view: View) -> list[Sheet]:
    """Everything in plain colours; walls show their inner side only, so near ones are invisible."""
    colours, solid = flat_colours(triangles, view), ~triangles.on_wall
    tubes = tube_triangles(triangles.tubes)
    return [
        Sheet(triangles.corners, colours, OUTSIDE),
        Sheet(triangles.corners[solid], colours[solid], INSIDE),
        Sheet(tubes, lamp_colours(tubes, view), OUTSIDE),
    ]


def lower_ends(triangles: SceneTriangles, view: View) -> np.ndarray:
    """Where the lower end of each judged object is in a view, (objects, 2), px (definition)."""
    judged = [triangles.corners_of(k) for k in triangles.judged_bodies]
    shown = [view.pixels(corners.reshape(-1, 3)) for corners in judged]
    ends = [(0.5 * (x.min() + x.max()), y.max()) for x, y in (points.T for points in shown)]
    return np.array(ends).reshape(-1, 2)


def apart(places: np.ndarray, radius: float = DISC) -> np.ndarray:
    """Places (n, 2), px, moved until discs of this radius about them overlap no more (definition).

    With far more of them than there is room for, some overlap is left.
    """
    moved = places + 1e-3 * np.arange(len(places))[:, None]  # equal places part too
    for _ in range(200):
        between = moved[:, None] - moved[None]
        away = np.linalg.norm(between, axis=2)
        np.fill_diagonal(away, np.inf)
        push = np.clip(2.0 * radius + 1.0 - away, 0.0, None)
        if not push.any():
            break
        moved = moved + 0.5 * (push[..., None] * between / away[..., None]).sum(axis=1)
    return np.asarray(np.clip(moved, radius + 2.0, np.array(SIZE) - radius - 2.0))


def _number(axes: Any, number: int, place: np.ndarray, disc: np.ndarray) -> None:
    from matplotlib.patches import Circle

    axes.plot(*zip(place, disc, strict=True), color=INK, lw=1.6, zorder=2)
    circle = Circle((disc[0], disc[1]), DISC, facecolor="white", edgecolor=INK, lw=1.6, zorder=3)
    axes.add_patch(circle)
    words = str(number)
    size = LETTERS * min(1.0, 2.0 / len(words))
    axes.text(disc[0], disc[1], words, color=INK, size=size, weight="bold", zorder=4,
              ha="center", va="center_baseline")  # fmt: skip
