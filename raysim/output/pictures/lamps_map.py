"""Map of places for lamps: what the darkest spot gets if one lamp of the best choice goes there."""

from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.units import to_mm
from raysim.output.pictures.figure import INK, colour_bar, halo, new_figure, save_figure
from raysim.output.pictures.hooks_chart import fill_load, measure_box
from raysim.output.pictures.pictures import CHART, Picture
from raysim.scene.sides import sides_of
from raysim.studies.lamps.places import Place
from raysim.studies.lamps.result import LampStudy

PANEL = (560, 520)  # px
HEAD, FOOT, MARGIN = 76, 46, 120
COLOURS, NONE = "viridis", "#c9cdd2"
ACROSS_UP = {2: (0, 1), 0: (1, 2), 1: (0, 2), -1: (0, 1)}  # axes, for lamps along each axis


def write_lamps_map(study: LampStudy, path: Path) -> Picture:
    """Map (PNG) of the share of light with a lamp at each place; a panel for each direction."""
    kinds = [_direction(place) for place in study.places]
    shown = [kind for kind in ACROSS_UP if kind in kinds]
    width, height = max(PANEL[0] * len(shown) + MARGIN, 820), HEAD + PANEL[1] + FOOT
    figure = new_figure(width, height)
    best = study.best
    most = 100.0 * float(best.swaps.max())
    from matplotlib.colors import Normalize

    norm = Normalize(0.0, max(100.0, most))
    for k, kind in enumerate(shown):
        left, low = PANEL[0] * k + 70, FOOT + 50
        place = (left / width, low / height, (PANEL[0] - 95) / width, (PANEL[1] - 80) / height)
        axes = figure.add_axes(place)
        _panel(axes, study, kind, [j for j, one in enumerate(kinds) if one == kind], norm)
    bar = colour_bar(figure, ((width - 95) / width, 0.2, 24 / width, 0.55), norm, COLOURS)
    bar.set_title("%", fontsize=11)
    about = {"ha": "left", "va": "top", "color": INK}
    words = "Light at the darkest spot with one lamp moved to here, % of the best choice"
    figure.text(24 / width, 1.0 - 14 / height, words, fontsize=13, weight="bold", **about)
    words = "Circles: lamps of the best choice. Grey: no room beside them. A sketch, to compare by."
    figure.text(24 / width, 1.0 - 42 / height, words, fontsize=11, **about)
    save_figure(figure, path)
    caption = (
        f"The best choice of {best.number} with the lamp that helps least put elsewhere: light at "
        "its darkest spot, lamps as sources alone, cautious case. A sketch for comparing only."
    )
    return Picture(path, "A lamp moved to where", caption, CHART)


def _direction(place: Place) -> int:
    """Axis that a lamp lies along, -1 for none."""
    way = np.abs(np.subtract(place.end, place.start))
    k = int(way.argmax())
    return k if way[k] > 0.999 * np.linalg.norm(way) else -1


def _panel(axes: Any, study: LampStudy, kind: int, these: list[int], norm: Any) -> None:
    """One map: the places `these` of lamps along axis `kind`, by the words of `sides_of`."""
    across, up = ACROSS_UP[kind]
    sides = sides_of(study.scene.triangles)
    titles = {2: "upright lamps, from above", -1: "other lamps, from above"}
    lying = "lamps from {} to {}".format(*sides.things[kind])
    triangles, shares = study.scene.triangles, 100.0 * study.best.swaps
    fill_load(
        axes, triangles, (across, up), facecolor="#e7eaee", edgecolor="#8a9199", lw=0.8, zorder=1
    )
    middle = np.array([np.add(p.start, p.end) for p in study.places]) * 0.5
    at = to_mm(middle[:, [across, up]])
    # Places behind one another share a dot: that of the best.
    order = sorted(these, key=lambda j: shares[j])
    free = [j for j in order if shares[j] > 0.0]
    taken = [j for j in order if shares[j] <= 0.0]
    axes.scatter(*at[taken].T, s=40, c=NONE, zorder=2)
    axes.scatter(*at[free].T, s=70, c=shares[free], cmap=COLOURS, norm=norm, zorder=3)
    chosen = [j for j in these if j in study.best.choices[0]]
    rim: dict[str, Any] = {"facecolors": "none", "edgecolors": "black", "linewidths": 1.6}
    axes.scatter(*at[chosen].T, s=170, zorder=4, path_effects=halo(3.4), **rim)
    measure_box(axes, triangles, (across, up))
    axes.set_title(titles.get(kind, lying), fontsize=12, color=INK)
