"""Cloth of a three-panel flat-fold respirator: its cross-sections, folded shut or opened.

The cloth lies along u from the left end (-1) to the right end (1). Its cross-section runs from
the free edge of the lower panel over a crease, the centre panel and a second crease to the free
edge of the upper panel. Lengths are millimetres; the numbers are invented.
"""

from __future__ import annotations

import numpy as np

from raysim.starter.sheets import Array

LENGTH_MM = 200.0
CENTRE_MM = 56.0
PANEL_MM = 36.0
END_MM = 20.0
END_PANEL_MM = 18.0
TAB = 0.88
LAYER_GAP_MM = 3.0
OPEN_CREASE_MM = 2.5
BOW = np.radians(60.0)
OPEN_TURN = np.radians(55.0)
END_FREEDOM = 0.8
SEGMENTS = (7, 5, 8)
COLUMNS = 2 * sum(SEGMENTS) + 1


def _widths(u: Array) -> tuple[Array, Array, Array]:
    """Cloth sizes at stations u (n,).

    Returns
    -------
    half_centre_mm, panel_mm : half the centre panel, and each side panel with its crease
    freedom : how far the panels may open, from `END_FREEDOM` at their ends to 1 in the middle
    """
    inside = np.clip((TAB - np.abs(u)) / TAB, 0.0, 1.0)
    width = 1.0 - (1.0 - inside) ** 2.2
    half_centre = 0.5 * (END_MM + (CENTRE_MM - END_MM) * width)
    panel = END_PANEL_MM + (PANEL_MM - END_PANEL_MM) * width
    return half_centre, panel, 1.0 - (1.0 - END_FREEDOM) * (1.0 - inside) ** 4.0


def _half_section(
    half_centre: Array, panel: Array, radius: Array, turn: Array, puff: Array
) -> Array:
    """Cross-sections (n, m, 2), behind and away in mm, from mid-cloth to a free edge.

    Parameters
    ----------
    half_centre, panel : (n,) cloth lengths in mm; the crease takes its part from the panel
    radius, turn : (n,) radius in mm and angle of the crease
    puff : (n,) angle by which the centre panel bends before the crease
    """
    crease = radius * (turn - puff)
    # Per segment: its length, the angle at its start, and how far it bends.
    cloth_mm = np.stack([half_centre, crease, panel - crease], axis=1) / SEGMENTS
    begin = np.stack([np.zeros_like(puff), puff, turn], axis=1)
    bend = np.stack([puff, turn - puff, np.zeros_like(puff)], axis=1)
    lengths, begin, bend = (np.repeat(part, SEGMENTS, axis=1) for part in (cloth_mm, begin, bend))
    angles = begin + bend * np.concatenate([(np.arange(n) + 0.5) / n for n in SEGMENTS])
    steps = lengths[..., None] * np.stack([np.sin(angles), np.cos(angles)], axis=-1)
    start = np.zeros((len(half_centre), 1, 2))
    return np.concatenate([start, np.cumsum(steps, axis=1)], axis=1)


def _section(u: Array, open_fraction: float) -> Array:
    """Cross-sections (n, m, 2), behind and up in mm, from the lower to the upper free edge.

    The upper panel lies next to the centre panel and the lower panel behind it, so the lower
    one leads when the fold opens.
    """
    half_centre, panel, freedom = _widths(u)
    opened = open_fraction * freedom
    puff = np.radians(9.0) * opened
    nose = np.radians(10.0) * open_fraction * np.exp(-((u / 0.22) ** 2))
    halves = []
    for layer, lead, lift in ((1.0, 1.5, nose), (2.0, 1.0, np.zeros_like(nose))):
        share = opened**lead
        turn = np.pi - (np.pi - OPEN_TURN) * share - lift
        radius = 0.5 * layer * LAYER_GAP_MM * (1.0 - share) + OPEN_CREASE_MM * share
        halves.append(_half_section(half_centre, panel, radius, turn, puff))
    upper, lower = halves
    return np.concatenate([lower[:, :0:-1] * [1.0, -1.0], upper], axis=1)


def _plan(u: Array, open_fraction: float) -> tuple[Array, Array]:
    """Plan (n, 2), x and y in mm, of the bowed centre panel, and its bow angle (n,).

    The bow is a circular arc that keeps the length of the cloth; its ends lie on y = 0.
    """
    bow = max(open_fraction * BOW, 1e-9)
    radius = 0.5 * LENGTH_MM / bow
    x, y = radius * np.sin(bow * u), radius * (np.cos(bow) - np.cos(bow * u))
    return np.stack([x, y], axis=-1), bow * u


def cloth(u: Array, open_fraction: float) -> Array:
    """Grid (n, `COLUMNS`, 3) of cloth points in mm at stations u (n,)."""
    section = _section(u, open_fraction)
    behind, up = section[..., 0], section[..., 1]
    plan, angle = _plan(u, open_fraction)
    angle = angle * (1.0 - 0.7 * open_fraction * _widths(u)[2])
    x = plan[:, :1] - np.sin(angle)[:, None] * behind
    y = plan[:, 1:] + np.cos(angle)[:, None] * behind
    return np.stack([x, y, up], axis=-1)
