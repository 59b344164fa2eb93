"""Moulded cup respirator with a flange, invented and generic, in millimetres."""

from __future__ import annotations

import numpy as np
import trimesh
from numpy.typing import NDArray

from raysim.starter import straps
from raysim.starter.sheets import (
    Array,
    Faces,
    Parts,
    band_faces,
    chosen_faces,
    raw_mesh,
    resample,
    smoothstep,
)

HALF_WIDTH_MM = 54.0
HALF_HEIGHT_MM = 60.0
DEPTH_MM = 47.0
FILLET_MM = 2.5
FLANGE_MM = 4.8
SECTORS = 8
RINGS = 18
FILLET_RINGS = 3
FLANGE_RINGS = 1
CLIP_RING = RINGS - 1
CLIP_ANGLE = np.pi / 4.0
UPPER_STRAP_ANGLE = -0.58
LOWER_STRAP_ANGLE = -2.25
STRAP_HALF_LENGTH_MM = 105.0
FALLEN_GAP_MM = 4.0


def _profile() -> tuple[Array, Array, Array]:
    """Radial profile of the cup, one entry per ring from the apex to the outer edge.

    Returns
    -------
    reach : fraction of the outline reached, 0 at the apex, 1 from the foot of the dome on
    out_mm : distance beyond the outline
    front_mm : distance in front of the rim plane
    """
    t = np.linspace(0.0, np.pi / 2.0, 2001)
    mean_mm = 0.5 * (HALF_WIDTH_MM + HALF_HEIGHT_MM)
    front = FILLET_MM + (DEPTH_MM - FILLET_MM) * np.cos(t) ** 1.25
    dome = resample(np.stack([mean_mm * np.sin(t) ** 0.9, front], axis=1), RINGS + 1)
    turn = np.linspace(0.0, np.pi / 2.0, FILLET_RINGS + 1)[1:]
    flat = FILLET_MM + np.linspace(0.0, FLANGE_MM, FLANGE_RINGS + 1)[1:]
    reach = np.concatenate([dome[:, 0] / mean_mm, np.ones(len(turn) + len(flat))])
    out = np.concatenate([np.zeros(len(dome)), FILLET_MM * (1.0 - np.cos(turn)), flat])
    foot = np.concatenate([FILLET_MM * (1.0 - np.sin(turn)), np.zeros(len(flat))])
    return reach, out, np.concatenate([dome[:, 1], foot])


def _outline(theta: Array, reach: Array) -> Array:
    """Egg-shaped outline (..., 2), x and z in mm, with a notch for the bridge of the nose.

    `theta` is 0 at the top and grows towards +x; `reach` scales the outline towards its centre
    and lets the notch fade out.
    """
    around = np.mod(theta + np.pi, 2.0 * np.pi) - np.pi
    notch = 5.0 * np.exp(-((around / 0.24) ** 2)) * reach**6
    x = reach * HALF_WIDTH_MM * np.sin(theta) * (1.0 - 0.2 * np.cos(theta))
    return np.stack([x, reach * HALF_HEIGHT_MM * np.cos(theta) - notch], axis=-1)


def _points(ring: NDArray[np.int64], theta: Array) -> Array:
    """Points (..., 3) of the cup at ring numbers and angles theta, centred on the outline."""
    reach, out, front = (column[ring] for column in _profile())
    plane = _outline(theta, reach)
    full = np.ones_like(theta)
    along = trimesh.unitize(_outline(theta + 1e-4, full) - _outline(theta - 1e-4, full))
    x = plane[..., 0] - out * along[..., 1]
    z = plane[..., 1] + out * along[..., 0]
    cheek = -4.0 * np.cos(2.0 * theta) * reach**2
    ridges = np.exp(-(((z - 19.0) / 9.5) ** 2)) + np.exp(-(((z + 19.0) / 9.5) ** 2))
    ridges = 2.0 * ridges * (1.0 - smoothstep((reach - 0.72) / 0.2))
    return np.stack([x, cheek - front - ridges, z], axis=-1)


def _fan_faces() -> Faces:
    """Triangles of a disc whose ring k has `SECTORS` k vertices (ring 0 is one vertex)."""
    faces = []
    for k in range(1, RINGS + 1):
        outer = 1 + SECTORS * k * (k - 1) // 2
        inner = outer - max(SECTORS * (k - 1), 1)
        for j in range(SECTORS * k):
            sector, step = divmod(j, k)
            a, b = outer + j, outer + (j + 1) % (SECTORS * k)
            c = inner + (sector * (k - 1) + step) % max(SECTORS * (k - 1), 1)
            faces.append((a, c, b))
            if step < k - 1:
                d = inner + (sector * (k - 1) + step + 1) % (SECTORS * (k - 1))
                faces.append((c, d, b))
    return np.array(faces)


def _shell_and_clip() -> tuple[trimesh.Trimesh, trimesh.Trimesh]:
    """Cup as one sheet, cut into the shell and the nose clip, whose seam points are equal."""
    bands = FILLET_RINGS + FLANGE_RINGS
    rim = SECTORS * RINGS
    counts = [1] + [SECTORS * k for k in range(1, RINGS + 1)] + [rim] * bands
    ring = np.repeat(np.arange(len(counts)), counts)
    theta = np.concatenate([2.0 * np.pi * np.arange(n) / n for n in counts])
    faces = np.concatenate([_fan_faces(), band_faces(sum(counts[:RINGS]), bands, rim)])
    whole = raw_mesh(_points(ring, theta), faces)
    off_top = np.abs(np.mod(theta + np.pi, 2.0 * np.pi) - np.pi)
    of_ring = ring[faces]
    clip = (of_ring.min(axis=1) == CLIP_RING - 1) & (of_ring.max(axis=1) == CLIP_RING)
    clip &= off_top[faces].max(axis=1) < CLIP_ANGLE + 1e-9
    return chosen_faces(whole, ~clip), chosen_faces(whole, clip)


def _rim_end(theta: float) -> straps.StrapEnd:
    """Strap end outside the rim at angle theta."""
    last = RINGS + FILLET_RINGS + FLANGE_RINGS
    edge = _points(np.full(3, last), theta + np.array([-0.03, 0.0, 0.03]))
    return straps.strap_end(edge, _points(np.array([last - 1]), np.array([theta]))[0])


def _fallen_in(end: Array) -> tuple[Array, Array]:
    """Half (n, 3) of a strap that fell into the cup, and the way across it (3,) in the middle.

    From the rim it lies along the inside of the cup, `FALLEN_GAP_MM` off the cloth, down to the
    chin.
    """
    ring = np.array([RINGS + 1, RINGS, RINGS - 2, RINGS - 4, RINGS - 5, RINGS - 6])
    theta = np.linspace(LOWER_STRAP_ANGLE - 0.25, -np.pi, len(ring))
    inside = _points(ring, theta)
    inside = inside + FALLEN_GAP_MM * trimesh.unitize(np.array([0.0, 12.0, 0.0]) - inside)
    inside[0, 1] = end[1] + FALLEN_GAP_MM
    away = end + [0.0, 0.7 * FALLEN_GAP_MM, 0.0]  # clear of the flange's edge
    knots = np.concatenate([end[None], away[None], inside])
    steps = np.linspace(0.0, len(knots) - 1.0, 2001)
    dense = np.stack([np.interp(steps, np.arange(len(knots)), c) for c in knots.T], axis=1)
    above, below = _points(np.array([RINGS - 7, RINGS - 5]), np.full(2, -np.pi))
    return straps.even_path(dense), trimesh.unitize(above - below)


def cup_strap_fallen_in() -> Parts:
    """The cup with its lower strap fallen in, which covers the inside of the chin."""
    lower = _rim_end(LOWER_STRAP_ANGLE)
    path, across = _fallen_in(lower.point)
    return _hung(straps.ribbon(path, lower, across, (0.1, 0.5)))


def cup_respirator(size: float = 1.0, with_straps: bool = True) -> Parts:
    """Moulded cup with a flange, hanging by its upper strap.

    Parameters
    ----------
    size : factor on all of it but the width of the upper strap
    with_straps : False for one whose straps were cut off, held at its top
    """
    lower = _rim_end(LOWER_STRAP_ANGLE)
    loop = straps.even_path(straps.slack_loop(lower.point, 55.0, 22.0))
    strap = straps.ribbon(loop, lower, np.array([0.0, 1.0, 0.0]), (0.2, 0.7))
    return _hung(strap, size, with_straps)


def _hung(lower_strap: trimesh.Trimesh, size: float = 1.0, with_straps: bool = True) -> Parts:
    """The cup with its lower strap, moved to hang by its upper strap from the origin."""
    shell, clip = _shell_and_clip()
    parts = {"shell": shell, "straps": lower_strap, "nose clip": clip}
    parts, end = straps.sized(parts, _rim_end(UPPER_STRAP_ANGLE), size)
    if not with_straps:
        return straps.bare(parts)
    return straps.hung(parts, end, 0.0, size * STRAP_HALF_LENGTH_MM)
