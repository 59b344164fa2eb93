"""Straps: ribbons that continue a respirator's edge, over the hook or in a loop.

A strap ends on a line parallel to the edge it belongs to, `EDGE_GAP_MM` outside it, so that no
strap face lies flat before a face of the shell. Lengths are millimetres; the numbers are invented.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import trimesh

from raysim.starter.hooks import HOOK_RADIUS_MM
from raysim.starter.sheets import Array, Parts, arc_length, mirrored, resample, sheet, smoothstep

HOOK_CLEARANCE_MM = 2.0
EDGE_GAP_MM = 0.8
STRAP_WIDTH_MM = 6.0
STRAP_STEP_MM = 4.2
BEVEL_MM = 24.0
HOOK_STEPS = 5


class StrapEnd(NamedTuple):
    """Place on the left (x < 0) edge of a shell where a strap ends.

    Attributes
    ----------
    point : (3,) middle of the end line in mm
    edge : (3,) unit vector along the edge
    seat : (3,) unit normal of the shell at the edge, towards the wearer
    """

    point: Array
    edge: Array
    seat: Array


def strap_end(edge_points: Array, inner: Array) -> StrapEnd:
    """End line outside an edge.

    Parameters
    ----------
    edge_points : (3, 3) points along the edge in mm; the strap is to end at the second one
    inner : (3,) point of the shell inside the edge, next to the second one
    """
    edge = trimesh.unitize(edge_points[2] - edge_points[0])
    outward = edge_points[1] - inner
    outward = trimesh.unitize(outward - (outward @ edge) * edge)
    seat = np.cross(edge, outward)
    return StrapEnd(edge_points[1] + EDGE_GAP_MM * outward, edge, seat * np.sign(seat[1]))


def ribbon(
    half: Array, end: StrapEnd, middle: Array, twist: tuple[float, float]
) -> trimesh.Trimesh:
    """Strap whose end lies in the plane of the shell's edge and which turns on its way.

    Parameters
    ----------
    half : (n, 3) centre line in mm from the left end to the plane x = 0; the mirror is added
    end : where the strap ends
    middle : (3,) direction across the strap in its middle part
    twist : start and end of the turn, as fractions of half the length

    Returns
    -------
    trimesh.Trimesh
        Open sheet, `STRAP_WIDTH_MM` wide, cut along the shell's edge at its ends.
    """
    tangent = trimesh.unitize(np.gradient(mirrored(half), axis=0)[: len(half)])
    length = arc_length(half)
    on_seat = trimesh.unitize(np.cross(tangent, end.seat))
    on_edge = np.cross(tangent, on_seat)
    if on_seat[0] @ middle < 0.0:  # turn the short way
        middle = -middle
    angle = np.arctan2(on_edge @ middle, on_seat @ middle)
    angle = angle * smoothstep((length / length[-1] - twist[0]) / (twist[1] - twist[0]))
    across = np.cos(angle)[:, None] * on_seat + np.sin(angle)[:, None] * on_edge
    bevel = end.edge / (end.edge @ across[0]) - across[0]
    across = across + (1.0 - smoothstep(length / BEVEL_MM))[:, None] * bevel
    offsets = STRAP_WIDTH_MM * np.array([-0.5, 0.0, 0.5])
    return sheet(mirrored(half[:, None, :] + offsets[None, :, None] * across[:, None, :]))


def hung(parts: Parts, end: StrapEnd, y_mm: float, half_length_mm: float) -> Parts:
    """Parts moved so that they hang by a taut strap over the hook point, which is added.

    Parameters
    ----------
    parts : of the respirator, in mm; 'straps' is the lower one
    end : where the upper strap ends
    y_mm : where this end comes to lie; its x stays
    half_length_mm : from the hook point to this end
    """
    drop = np.sqrt(half_length_mm**2 - end.point[0] ** 2 - y_mm**2)
    shift = np.array([0.0, y_mm, -drop]) - end.point * [0.0, 1.0, 1.0]
    for mesh in parts.values():
        mesh.apply_translation(shift)
    upper = _upper_strap(end._replace(point=end.point + shift))
    return parts | {"straps": upper + parts["straps"]}


def sized(parts: Parts, end: StrapEnd, size: float) -> tuple[Parts, StrapEnd]:
    """Parts that do not hang yet, and the end of their upper strap, scaled by `size`."""
    for mesh in parts.values():
        mesh.vertices = size * mesh.vertices
    return parts, end._replace(point=size * end.point)


def bare(parts: Parts) -> Parts:
    """Parts that do not hang yet without their straps, held at their top by a clip, undrawn.

    The topmost point comes to lie `HOOK_CLEARANCE_MM` below the wire of the hook.
    """
    kept = {name: mesh for name, mesh in parts.items() if name != "straps"}
    points = np.concatenate([mesh.vertices for mesh in kept.values()])
    top = points[points[:, 2].argmax()]
    shift = np.array([0.0, -top[1], -top[2] - HOOK_RADIUS_MM - HOOK_CLEARANCE_MM])
    for mesh in kept.values():
        mesh.apply_translation(shift)
    return kept


def _upper_strap(end: StrapEnd) -> trimesh.Trimesh:
    """Taut strap from `end` over the hook to the mirrored end.

    The bend is drawn around a circle, so that its flat pieces keep `HOOK_CLEARANCE_MM`.
    """
    inner = HOOK_RADIUS_MM + HOOK_CLEARANCE_MM
    x, _, z = end.point
    touch = (np.arctan2(z, x) - np.arccos(inner / np.hypot(x, z))) % (2.0 * np.pi)
    step = (touch - 0.5 * np.pi) / (HOOK_STEPS - 0.5)
    angle = 0.5 * np.pi + step * (np.arange(HOOK_STEPS)[::-1] + 0.5)
    angle = np.append(angle, 0.5 * np.pi)
    radius = np.append(np.full(HOOK_STEPS, inner / np.cos(0.5 * step)), inner)
    bend = np.stack([radius * np.cos(angle), 0.0 * angle, radius * np.sin(angle)], axis=1)
    leg = bend[0] - end.point
    t = np.linspace(0.0, 1.0, round(np.linalg.norm(leg) / STRAP_STEP_MM) + 1)[:-1, None]
    half = np.concatenate([end.point + t * leg, bend])
    return ribbon(half, end, np.array([0.0, 1.0, 0.0]), (0.4, 0.92))


def even_path(dense: Array) -> Array:
    """Path (m, 3) in steps of about `STRAP_STEP_MM` from a dense one (n, 3)."""
    return resample(dense, round(arc_length(dense)[-1] / STRAP_STEP_MM) + 1)


def slack_loop(end: Array, sag_mm: float, back_mm: float) -> Array:
    """Half (n, 3) of a loop that hangs from `end` (3,), x < 0, down to its lowest point."""
    t = np.linspace(0.0, np.pi / 2.0, 2001)
    x, y = end[0] * np.cos(t), end[1] + back_mm * np.sin(t) ** 1.5
    return np.stack([x, y, end[2] - sag_mm * np.sin(t)], axis=1)


def bunched_loop(end: Array, behind_mm: float) -> Array:
    """Half (n, 3) of a strap that goes down and behind a folded shell, then in waves.

    Parameters
    ----------
    end : (3,) start of the path in mm, x < 0
    behind_mm : distance behind `end` from which the waves start
    """
    t = np.linspace(0.0, 1.0, 2001)
    x = end[0] * np.cos(0.5 * np.pi * t)
    waves = 0.5 * (1.0 - np.cos(7.0 * np.pi * (1.0 - x / end[0])))
    y = end[1] + smoothstep(t / 0.16) * (behind_mm + 9.0 * waves)
    down = 11.0 * np.sin(0.5 * np.pi * np.clip(t / 0.16, 0.0, 1.0))
    return np.stack([x, y, end[2] - down - 8.0 * t * (2.0 - t)], axis=1)
