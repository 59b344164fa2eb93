"""A round vessel among the meshes: its mantle unrolled, its ends as discs.

The mantle is drawn as one sees it from inside, from the front line round to the right, back to the
front line. The front line is the one on the low side of the second axis across: at y = low for an
upright drum. The vessel is bought, not built: its radius is not rounded, distances on it are.
"""

from collections import Counter
from dataclasses import dataclass
from math import atan2, cos, hypot, pi, sin

import numpy as np

from raysim.workshop.fixings import Walls
from raysim.workshop.frames import Steps3
from raysim.workshop.grid import Grid

Place = tuple[float, float, float]
MANTLE, BOTTOM, TOP = "mantle", "bottom", "top"
ROUND = 0.005  # of the radius: how far a corner of the mantle may lie off the circle
FACETED = 0.96  # of the radius: a mantle of twelve facets or more is taken for round
FLAT = 0.999  # cosine: how well the ends must face along the axis
UPRIGHT = 0.02  # cosine: how well the mantle must face across it


@dataclass(frozen=True)
class Drum:
    """A cylinder along one axis of the scene, m; `ends` are the low and the high one.

    `by_name` says which side a wall of this name is, where all of it lies on one.
    """

    axis: int
    centre: tuple[float, float]  # along the two other axes, in cyclic order
    radius: float
    ends: tuple[float, float]
    by_name: tuple[tuple[str, str], ...] = ()

    @property
    def across(self) -> tuple[int, int]:
        """The two other axes, in cyclic order (definition)."""
        return (self.axis + 1) % 3, (self.axis + 2) % 3

    def nearest(self, at: Place) -> str:
        """The side that a place is nearest to (definition)."""
        away = {side: self.measures(side, at)[2] for side in (MANTLE, BOTTOM, TOP)}
        return min(away, key=lambda side: away[side])

    def measures(self, side: str, at: Place) -> Place:
        """From the left edge, from the lower edge, and off a side, m.

        Source: definition of the drawing; u = radius x angle on the mantle.
        """
        a, b = (at[k] - c for k, c in zip(self.across, self.centre, strict=True))
        along = at[self.axis]
        if side == MANTLE:
            angle = atan2(-a, -b) % (2.0 * pi)
            return self.radius * angle, along - self.ends[0], self.radius - hypot(a, b)
        if side == BOTTOM:
            return self.radius + a, self.radius + b, along - self.ends[0]
        return self.radius + a, self.radius - b, self.ends[1] - along

    def place(self, side: str, u: float, v: float, off: float) -> Place:
        """The place that has these measures: the inverse of `measures`, m."""
        if side == MANTLE:
            angle, reach = u / self.radius, self.radius - off
            a, b, along = -reach * sin(angle), -reach * cos(angle), self.ends[0] + v
        elif side == BOTTOM:
            a, b, along = u - self.radius, v - self.radius, self.ends[0] + off
        else:
            a, b, along = u - self.radius, self.radius - v, self.ends[1] - off
        found = [0.0, 0.0, 0.0]
        found[self.axis] = along
        for axis, value, middle in zip(self.across, (a, b), self.centre, strict=True):
            found[axis] = middle + value
        return found[0], found[1], found[2]


def drum_of(walls: Walls) -> Drum | None:
    """The drum that some walls are, None where they are none (definition)."""
    for axis in (2, 0, 1):
        found = _along(walls, axis)
        if found is not None:
            return found
    return None


def _along(walls: Walls, axis: int) -> Drum | None:
    facing = walls.normals[:, axis]
    lids = np.abs(facing) > FLAT
    if not lids.any() or (np.abs(facing[~lids]) > UPRIGHT).any() or lids.all():
        return None
    low, high = walls.corners[..., axis].min(), walls.corners[..., axis].max()
    ends = np.where(facing[lids] > 0.0, low, high)
    if np.abs(walls.corners[lids][..., axis] - ends[:, None]).max() > ROUND * (high - low):
        return None
    across = [(axis + 1) % 3, (axis + 2) % 3]
    rim = walls.corners[~lids].reshape(-1, 3)[:, across]
    middle = 0.5 * (rim.min(axis=0) + rim.max(axis=0))
    away = np.linalg.norm(rim - middle, axis=1)
    flats = ((rim[::3] - middle) * walls.normals[~lids][:, across]).sum(axis=1)
    if np.ptp(away) > ROUND * away.max() or np.abs(flats).min() < FACETED * away.max():
        return None
    sides = np.where(lids, np.where(facing > 0.0, BOTTOM, TOP), MANTLE)
    centre = (float(middle[0]), float(middle[1]))
    return Drum(axis, centre, float(away.max()), (float(low), float(high)), _named(walls, sides))


def _named(walls: Walls, sides: np.ndarray) -> tuple[tuple[str, str], ...]:
    seen: dict[str, Counter[str]] = {}
    for face, side in enumerate(sides.tolist()):
        seen.setdefault(walls.name(face), Counter())[side] += 1
    return tuple((name, next(iter(on))) for name, on in seen.items() if len(on) == 1)


@dataclass(frozen=True)
class DrumSide:
    """One side of a drum laid flat, measured in steps of a grid."""

    drum: Drum
    wall: str
    grid: Grid

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of its drawing, to the nearest step (definition)."""
        if self.wall == MANTLE:
            width, height = 2.0 * pi * self.drum.radius, self.drum.ends[1] - self.drum.ends[0]
        else:
            width = height = 2.0 * self.drum.radius
        return self.grid.steps(width), self.grid.steps(height)

    @property
    def is_disc(self) -> bool:
        """Whether its outline is a circle (definition)."""
        return self.wall != MANTLE

    @property
    def edges(self) -> dict[str, str]:
        """What meets its edges, or lies there, in words (definition)."""
        if self.wall == MANTLE:
            line = "front line"
            return {"left": line, "right": line, "lower": BOTTOM, "upper": TOP}
        front, back = ("front", "back") if self.wall == BOTTOM else ("back", "front")
        return {"left": "left", "right": "right", "lower": front, "upper": back}

    def measured(self, at: Place) -> Steps3:
        """From the left and the lower edge, and off it, to the nearest steps (definition)."""
        u, v, off = map(self.grid.steps, self.drum.measures(self.wall, at))
        return u, v, off

    def at(self, u: int, v: int, off: int) -> Place:
        """The place (m) that is printed with these measures, steps (definition)."""
        return self.drum.place(self.wall, *map(self.grid.metres, (u, v, off)))


def drum_sides(drum: Drum, grid: Grid) -> dict[str, DrumSide]:
    """All sides of a drum by name (definition)."""
    return {side: DrumSide(drum, side, grid) for side in (MANTLE, BOTTOM, TOP)}
