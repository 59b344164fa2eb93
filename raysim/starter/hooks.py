"""Hook that carries a respirator by its strap, and the rail that carries the hooks.

Both are closed solids in millimetres, z up, -y towards the door of the box. All dimensions are
invented for the demo scenes.
"""

from __future__ import annotations

import numpy as np
import trimesh

from raysim.starter.sheets import Array, band_faces, raw_mesh

HOOK_RADIUS_MM = 1.5
HOOK_SIDES = 16
HOOK_BEND_MM = 8.0
HOOK_STRAIGHT_MM = 12.0
HOOK_TIP_MM = 5.0
HOOK_LENGTH_MM = 70.0
RAIL_LENGTH_MM = 400.0
RAIL_RADIUS_MM = 5.0
RAIL_SIDES = 24
RAIL_SECTIONS = 10


def _tube(path: Array, side: Array, radius_mm: Array, sides: int) -> trimesh.Trimesh:
    """Make a closed solid of circular rings around a path.

    Parameters
    ----------
    path : (n, 3) centre line in mm, in a plane
    side : (3,) unit normal of that plane
    radius_mm : (n,) ring radii
    sides : vertices of each ring
    """
    legs = trimesh.unitize(np.diff(path, axis=0))
    tangent = trimesh.unitize(np.concatenate([legs[:1], legs[:-1] + legs[1:], legs[-1:]]))
    mitre = (tangent * np.concatenate([legs, legs[-1:]])).sum(axis=1, keepdims=True)
    other = np.cross(tangent, side) / mitre
    angle = 2.0 * np.pi * np.arange(sides) / sides
    ring = np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * other[:, None, :]
    points = (path[:, None, :] + radius_mm[:, None, None] * ring).reshape(-1, 3)
    first, last = len(points), len(points) + 1
    j, k = np.arange(sides), (np.arange(sides) + 1) % sides
    end = (len(path) - 1) * sides
    caps = [
        np.stack([np.full(sides, first), k, j], axis=1),
        np.stack([np.full(sides, last), end + j, end + k], axis=1),
    ]
    faces = np.concatenate([band_faces(0, len(path) - 1, sides), *caps])
    return raw_mesh(np.concatenate([points, path[:1], path[-1:]]), faces)


def hook() -> trimesh.Trimesh:
    """Closed hook: a wire along y, `HOOK_LENGTH_MM`, whose end towards the door (-y) turns up.

    The strap rests above the origin, which lies on the wire's axis.
    """
    turn = np.linspace(0.0, np.radians(60.0), 6)
    arc = HOOK_BEND_MM * np.stack([-np.sin(turn), 1.0 - np.cos(turn)], 1) - [HOOK_STRAIGHT_MM, 0.0]
    along = np.array([-np.cos(turn[-1]), np.sin(turn[-1])])
    dome = np.linspace(0.0, 0.4 * np.pi, 3)
    tip = arc[-1] + (HOOK_TIP_MM + HOOK_RADIUS_MM * np.sin(dome))[:, None] * along
    tip_radius = HOOK_RADIUS_MM * np.cos(dome)
    rear_mm = HOOK_LENGTH_MM + np.min(tip[:, 0] - tip_radius * along[1])
    rod_y = np.linspace(rear_mm, -HOOK_STRAIGHT_MM, 6)
    rod = np.stack([rod_y, np.zeros_like(rod_y)], axis=1)
    plane = np.concatenate([rod[:-1], arc, tip])
    path = np.concatenate([np.zeros((len(plane), 1)), plane], axis=1)
    radius = np.concatenate([np.full(len(path) - len(tip), HOOK_RADIUS_MM), tip_radius])
    return _tube(path, np.array([1.0, 0.0, 0.0]), radius, HOOK_SIDES)


def rail(length_mm: float = RAIL_LENGTH_MM) -> trimesh.Trimesh:
    """Closed round rail along x, centred on the origin."""
    x = np.linspace(-0.5 * length_mm, 0.5 * length_mm, RAIL_SECTIONS + 1)
    path = np.stack([x, np.zeros_like(x), np.zeros_like(x)], axis=1)
    return _tube(path, np.array([0.0, 1.0, 0.0]), np.full(len(x), RAIL_RADIUS_MM), RAIL_SIDES)
