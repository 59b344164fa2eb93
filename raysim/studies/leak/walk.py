"""Lines that go through a gap, from leg to leg, and what they meet there."""

from dataclasses import dataclass

import numpy as np

from raysim.studies.leak.passage import next_wall
from raysim.studies.leak.slit import NO_LEG, Slit

BESIDE = 1e-12  # m: rounding, of a line that starts at the end of a leg
BLOCKED = -1  # by solid wall beyond the end of a gap, or lost in a corner


@dataclass(frozen=True)
class Met:
    """Edge of the passage that each line meets, `BLOCKED` for none, and how far along it (0 to 1).

    Also the leg, and the place c along it, m; all (lines,).
    """

    edge: np.ndarray
    share: np.ndarray
    leg: np.ndarray
    c: np.ndarray


def walk(slit: Slit, leg: np.ndarray, at: np.ndarray, to: np.ndarray) -> Met:
    """Follow lines from the outer opening inwards.

    `at` (m) and `to` (lines, 3) are starts and directions of any length in coordinates of the legs
    (lines,) where they enter.

    Source: geometry.
    """
    count = len(leg)
    met = Met(np.full(count, BLOCKED), np.zeros(count), leg.copy(), np.zeros(count))
    at, to = at.copy(), to.copy()
    rows = np.flatnonzero((slit.within(leg, at) > -BESIDE).all(axis=1))
    skip = np.full(count, slit.passage.outer)
    for _ in range(len(slit.middles) + 1):
        own, p, d = met.leg[rows], at[rows], to[rows]
        edge, share = next_wall(slit.passage, p[:, :2], d[:, :2], skip[rows])
        first, last = slit.passage.corners[edge], slit.passage.ends[edge]
        reached = first + share[:, None] * (last - first)
        gone = np.linalg.norm(reached - p[:, :2], axis=1) / np.linalg.norm(d[:, :2], axis=1)
        gone[edge < 0] = np.inf
        ahead, side = _to_ends(slit, own, p, d)
        here = gone <= ahead
        done = rows[here]
        met.edge[done], met.share[done] = edge[here], share[here]
        met.c[done] = p[here, 2] + gone[here] * d[here, 2]
        other = slit.beyond[own, side]
        on = ~here & (other != NO_LEG)
        rows, own, other, side = rows[on], own[on], other[on], side[on]
        if not len(rows):
            break
        at[rows] += ahead[on, None] * d[on]
        to[rows] = slit.turned(other, slit.turned_back(own, d[on]))
        at[rows, 2] -= slit.within(other, at[rows])[np.arange(len(rows)), 1 - side] * (
            2.0 * side - 1.0
        )
        met.leg[rows], skip[rows] = other, BLOCKED
    return met


def _to_ends(
    slit: Slit, leg: np.ndarray, at: np.ndarray, to: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """How far, in lengths of `to`, to the end where each line leaves its leg, and which end."""
    left = slit.within(leg, at)
    rate = slit.within(leg, at + to) - left
    with np.errstate(divide="ignore", invalid="ignore"):
        ahead = np.where(rate < 0.0, np.maximum(left, 0.0) / -rate, np.inf)
    side = ahead.argmin(axis=1)
    return ahead[np.arange(len(leg)), side], side


def landed(
    slit: Slit, leg: np.ndarray, outer: np.ndarray, rise: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Where lines that leave the outer opening come to the places of eyes: leg, and a, b, c (m).

    `outer` (m) and `rise` (lines, 3), over the depth, are their starts and ways in coordinates of
    the legs (lines,) that they leave. A line that never comes there stays where it was last sought.
    """
    depth, distance = slit.gap.depth, slit.gap.distance
    at, heading = outer + rise * (distance / depth), np.zeros(len(leg))
    leg, outer, rise = leg.copy(), outer.copy(), rise.copy()
    for _ in range(len(slit.middles)):
        short = slit.within(leg, at)
        side = np.where(heading != 0.0, (heading > 0.0).astype(int), short.argmin(axis=1))
        rows = np.arange(len(leg))
        other = slit.beyond[leg, side]
        on = rows[(short[rows, side] < 0.0) & (other != NO_LEG)]
        if not len(on):
            break
        own, other = leg[on], other[on]
        start = slit.to_legs(other, slit.places[own] + slit.turned_back(own, outer[on]))
        way = slit.turned(other, slit.turned_back(own, rise[on]))
        rises = way[:, 0] > 0.0
        on, start, way, other = on[rises], start[rises], way[rises], other[rises]
        if not len(on):
            break
        gone = (depth + distance - start[:, 0]) / way[:, 0]
        at[on], leg[on] = start + gone[:, None] * way, other
        outer[on], rise[on], heading[on] = start, way, 2.0 * side[on] - 1.0
    return leg, at
