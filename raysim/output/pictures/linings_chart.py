"""Bar chart of the exposure time with each lining."""

import math
from pathlib import Path

import numpy as np

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.output.pictures.figure import INK, beside, new_figure, save_figure
from raysim.output.pictures.pictures import CHART, Picture
from raysim.output.words.linings import time_words
from raysim.studies.linings.run import LiningStudy

WIDTH = 1200
ROW = 46  # px per lining
LARGEST_RATIO = 8.0  # longest complete bar over the shortest
BEYOND = 1.1  # share of the longest complete bar at which longer ones are cut off
CUT = "  \u2192"
COLOURS = {CAUTIOUS: "#17465a", EXPECTED: "#9db9c6"}


def longest_drawn(study: LiningStudy) -> float:
    """Minutes at which bars are cut off, so that those of the good linings can be compared.

    One lining that is black at 254 nm takes thousands of times as long as a good one.
    """
    rows = [row.cases[CAUTIOUS].time / 60.0 for row in study.rows]
    finite = [t for t in rows if math.isfinite(t)]
    return max((t for t in finite if t <= LARGEST_RATIO * min(finite)), default=1.0)


def write_linings_chart(study: LiningStudy, path: Path) -> Picture:
    """Chart (PNG) of the exposure time with each lining, both cases."""
    rows = [*study.rows, study.black]
    height = 150 + ROW * len(rows)
    figure = new_figure(WIDTH, height)
    axes = figure.add_axes((0.33, 70 / height, 0.6, 1.0 - 120 / height))
    places, end = np.arange(len(rows)), longest_drawn(study)
    for offset, case in ((-0.19, CAUTIOUS), (0.19, EXPECTED)):
        times = [row.cases[case].time / 60.0 for row in rows]
        shown = [min(t, BEYOND * end) if math.isfinite(t) else 0.0 for t in times]
        axes.barh(places + offset, shown, 0.36, color=COLOURS[case], label=f"{case} case")
        for place, row in zip(places, rows, strict=True):
            at, words = shown[place], time_words(row.cases[case])
            words += CUT if BEYOND * end < times[place] < math.inf else ""
            style = {"va": "center", "fontsize": 10.5, "color": INK}
            beside(axes, words, (at, place + offset), (5, 0), **style)
    axes.set_yticks(places, [row.name for row in rows], fontsize=12, parse_math=False)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_xlim(0.0, 1.4 * end)
    axes.set_xlabel("minutes from cold lamps until the worst spot has its dose", fontsize=12)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(fontsize=12, loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, frameon=False)
    save_figure(figure, path)
    caption = (
        "Exposure time from the lower bound of the worst-lit face. The cautious case (low end of "
        "every reflectance, aged lamps) is the one to plan by. An arrow behind a time says that "
        "its bar is cut off."
    )
    return Picture(path, "How long with each lining", caption, CHART)
