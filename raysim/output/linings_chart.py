"""Bars of the exposure time with each lining."""

import math
from pathlib import Path

import numpy as np

from raysim.output.pictures import CHART, Picture
from raysim.output.pictures_page import INK, new_figure, save_figure
from raysim.result import CAUTIOUS, EXPECTED
from raysim.studies.linings import LiningStudy
from raysim.units import minutes_seconds

WIDTH = 1200
ROW = 46  # px per lining
COLOURS = {CAUTIOUS: "#17465a", EXPECTED: "#9db9c6"}


def write_linings_chart(study: LiningStudy, path: Path) -> Picture:
    """Chart (PNG) of the exposure time with each lining, both cases."""
    rows = [*study.rows, study.black]
    height = 120 + ROW * len(rows)
    figure = new_figure(WIDTH, height)
    axes = figure.add_axes((0.33, 70 / height, 0.6, 1.0 - 100 / height))
    places = np.arange(len(rows))
    for offset, case in ((-0.19, CAUTIOUS), (0.19, EXPECTED)):
        times = [row.cases[case].exposure_time / 60.0 for row in rows]
        shown = [t if math.isfinite(t) else 0.0 for t in times]
        axes.barh(places + offset, shown, 0.36, color=COLOURS[case], label=f"{case} case")
        for place, row in zip(places, rows, strict=True):
            words = minutes_seconds(row.cases[case].exposure_time)
            at = shown[place]
            axes.annotate(
                words,
                (at, place + offset),
                xytext=(5, 0),
                textcoords="offset points",
                va="center",
                fontsize=10.5,
                color=INK,
            )
    axes.set_yticks(places, [row.name for row in rows], fontsize=12, parse_math=False)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_xlim(0.0, 1.18 * axes.get_xlim()[1])
    axes.set_xlabel("minutes from cold lamps until the worst spot has its dose", fontsize=12)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(fontsize=12, loc="upper right")
    save_figure(figure, path, np.full((height, WIDTH, 3), 255, np.uint8))
    caption = (
        "Exposure time from the lower bound of the worst-lit face. The cautious case (low end of "
        "every reflectance, aged lamps) is the one to plan by."
    )
    return Picture(path, "How long with each lining", caption, CHART)
