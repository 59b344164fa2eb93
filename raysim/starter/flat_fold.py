"""Three-panel flat-fold respirator, invented and generic, shut, open or between, in millimetres.

A panel that is folded over is turned with its normals. Beyond the ends of the upper and lower
panels the centre panel goes on as a tab, and the straps start at the tabs' edges.
"""

from __future__ import annotations

import numpy as np
import trimesh
from numpy.typing import NDArray

from raysim.starter import straps
from raysim.starter.fold_cloth import COLUMNS, SEGMENTS, TAB, cloth
from raysim.starter.sheets import Array, Parts, chosen_faces, sheet

PANEL_ROWS = 44
TAB_ROWS = 3
STRAP_AT = -0.95
STRAP_HALF_LENGTH_MM = 145.0
CLIP_HALF_ROWS = 10
CLIP_COLUMN = COLUMNS - 3
CENTRE_COLUMNS = (SEGMENTS[2] + SEGMENTS[1], SEGMENTS[2] + SEGMENTS[1] + 2 * SEGMENTS[0])


def stations() -> Array:
    """Stations u (n,) of the rows of triangles, with one at each end of the side panels."""
    tab = np.linspace(-1.0, -TAB, TAB_ROWS + 1)
    return np.concatenate([tab[:-1], np.linspace(-TAB, TAB, PANEL_ROWS + 1), -tab[-2::-1]])


def _cell_masks() -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Cells (rows - 1, cols - 1) that carry cloth, and those of the nose clip among them."""
    rows = PANEL_ROWS + 2 * TAB_ROWS
    row, column = np.indices((rows, COLUMNS - 1))
    first, last = CENTRE_COLUMNS
    panels = (row >= TAB_ROWS) & (row < rows - TAB_ROWS)
    clip = (np.abs(row - 0.5 * (rows - 1)) < CLIP_HALF_ROWS) & (column == CLIP_COLUMN)
    return panels | ((column >= first) & (column < last)), clip


def _shell_and_clip(open_fraction: float) -> tuple[trimesh.Trimesh, trimesh.Trimesh]:
    """Cloth as one sheet, cut into the shell and the nose clip, whose seam points are equal."""
    whole = sheet(cloth(stations(), open_fraction))
    carried, clip = (np.tile(mask.ravel(), 2) for mask in _cell_masks())
    return chosen_faces(whole, carried & ~clip), chosen_faces(whole, clip)


def _tab_end(upper: bool, open_fraction: float) -> straps.StrapEnd:
    """Strap end outside the upper or lower edge of the left tab."""
    points = cloth(STRAP_AT + np.array([-0.03, 0.0, 0.03]), open_fraction)
    column = CENTRE_COLUMNS[1] if upper else CENTRE_COLUMNS[0]
    inner = column - 1 if upper else column + 1
    return straps.strap_end(points[:, column], points[1, inner])


def _lower_strap(end: straps.StrapEnd, open_fraction: float) -> trimesh.Trimesh:
    """Slack loop of the open fold, bunched behind the layers of the shut fold."""
    slack = straps.slack_loop(end.point, 62.0, 22.0)
    bunched = straps.bunched_loop(end.point, 11.0)
    path = straps.even_path(open_fraction * slack + (1.0 - open_fraction) * bunched)
    middle = np.array([0.0, open_fraction, open_fraction - 1.0])
    return straps.ribbon(path, end, middle, (0.2, 0.7))


def flat_fold(open_fraction: float, size: float = 1.0, with_straps: bool = True) -> Parts:
    """Three-panel flat-fold respirator, hanging by its upper strap.

    Parameters
    ----------
    open_fraction : 0 for shut (upper and lower panel folded behind the centre panel, the lower
        strap bunched behind them) to 1 for open to its chamber
    size : factor on all of it but the width of the upper strap
    with_straps : False for one whose straps were cut off, held at its top
    """
    if not 0.0 <= open_fraction <= 1.0:
        raise ValueError(f"open_fraction must lie in 0 to 1, not {open_fraction}")
    upper, lower = (_tab_end(is_upper, open_fraction) for is_upper in (True, False))
    shell, clip = _shell_and_clip(open_fraction)
    parts = {"shell": shell, "straps": _lower_strap(lower, open_fraction), "nose clip": clip}
    parts, upper = straps.sized(parts, upper, size)
    if not with_straps:
        return straps.bare(parts)
    y_mm = -4.0 * size * (1.0 - open_fraction)
    return straps.hung(parts, upper, y_mm, size * STRAP_HALF_LENGTH_MM)
