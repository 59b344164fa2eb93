"""A choice of lamps as a picture: the box from the front, coloured by irradiance, and a plan."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.units import minutes_seconds, to_mm
from raysim.output.pictures.figure import INK, beside, halo, new_figure
from raysim.output.pictures.hooks_chart import draw_plan, fill_load
from raysim.output.pictures.hooks_picture import LOAD, SIZE, coloured_box, titled
from raysim.output.pictures.pictures import Picture
from raysim.output.words.numbers import OVER_A_WEEK, length
from raysim.studies.lamps.places import Place
from raysim.studies.lamps.trace import TracedLamps
from raysim.workshop.grid import grid_of

MOST_LISTED = 6


def write_lamps_picture(
    traced: TracedLamps, places: Sequence[Place], title: str, path: Path
) -> Picture:
    """Picture (PNG) of a choice; colours are means over cells of 1 cm2, mW/cm2."""
    triangles = traced.scene.triangles
    figure = new_figure(*SIZE)
    coloured_box(figure, triangles, traced.field)
    plan = figure.add_axes((0.555, 0.27, 0.34, 0.58))
    fill_load(plan, triangles, **LOAD)
    draw_plan(plan, triangles)
    _number(plan, places)
    for k, place in enumerate(places[:MOST_LISTED]):
        both = (place.start, place.end)
        ends = (" / ".join(length(value, triangles.units) for value in end) for end in both)
        at = 0.555, 0.165 - 0.026 * k
        figure.text(*at, f"{k + 1}:  {' to '.join(ends)}", fontsize=9.5, color=INK)
    time = OVER_A_WEEK if not np.isfinite(traced.time) else minutes_seconds(traced.time)
    told = f"ends of the arcs, x / y / z in {grid_of(triangles.units).name}"
    return titled(figure, title, time, told, path)


def _number(axes: Any, places: Sequence[Place]) -> None:
    """Numbers beside the lamps; those above one another share theirs."""
    groups: dict[tuple[float, float], list[str]] = {}
    for number, place in enumerate(places, 1):
        middle = 0.5 * (np.array(place.start) + np.array(place.end))
        groups.setdefault((round(middle[0], 4), round(middle[1], 4)), []).append(str(number))
    for at, numbers in groups.items():
        style = {"weight": "bold", "color": INK, "path_effects": halo(2.5), "zorder": 6}
        beside(axes, ", ".join(numbers), to_mm(np.array(at)), (7, 5), fontsize=11, **style)
