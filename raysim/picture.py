"""What an eye sees of bare lamp tubes through a gap, as a flat picture.

Coordinates (m) are those of a gap: a outwards, b sideways, c along. A line from an eye into the
chamber runs along (-1, -m, -n), and (m, n) is its place in the picture. There the gap is a
rectangle, its *window*, and a tube the convex hull of its two end circles: how much of a tube is
seen is the part of a convex polygon within a rectangle.

Source: perspective; E = int L d dw as a vector, whose length is the irradiance of an eye that
faces the light.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from raysim.kernels.glimpse import cuts_of_pairs, light_of_all, light_of_pairs, pairs_in_windows

RIM = 16  # corners of an end circle
LINES = 64  # that are aimed at a tube
GOLDEN = 0.5 * (np.sqrt(5.0) - 1.0)

_NEXT = np.roll(np.arange(RIM), -1)
# Pairs of rim points that are joined by a straight edge: both rims, and from one to the other.
EDGES = np.concatenate(
    [
        np.stack([np.arange(RIM), _NEXT], axis=1),
        np.stack([np.arange(RIM), _NEXT], axis=1) + RIM,
        np.stack([np.arange(RIM), np.arange(RIM) + RIM], axis=1),
    ]
)


def rims(ends: np.ndarray, radius: np.ndarray) -> np.ndarray:
    """Corners around both ends of tubes, (tubes, 2 * RIM, 3), m; the tube lies within them.

    `ends` (tubes, 2, 3), `radius` (tubes,). What stands before the inside of the wall is pressed
    onto it: no line of sight gets there.
    """
    axis = ends[:, 1] - ends[:, 0]
    axis = axis / np.linalg.norm(axis, axis=1)[:, None]
    first = np.cross(axis, np.eye(3)[np.abs(axis).argmin(axis=1)])
    first /= np.linalg.norm(first, axis=1)[:, None]
    turn = 2.0 * np.pi * np.arange(RIM)[:, None] / RIM
    around = np.cos(turn) * first[:, None] + np.sin(turn) * np.cross(axis, first)[:, None]
    around *= (radius / np.cos(np.pi / RIM))[:, None, None]
    points = (ends[:, :, None] + around[:, None]).reshape(len(ends), 2 * RIM, 3)
    points[..., 0] = np.minimum(points[..., 0], 0.0)
    return points


@dataclass(frozen=True)
class Tubes:
    """Tubes before a gap: `corners` (tubes, 2 * RIM, 3) by `rims`, `exitance` (tubes,) W/m2."""

    corners: np.ndarray
    exitance: np.ndarray

    def __len__(self) -> int:
        return len(self.corners)

    @cached_property
    def middles(self) -> np.ndarray:
        """Middles of both ends, (tubes, 2, 3), m."""
        return self.corners.reshape(-1, 2, RIM, 3).mean(axis=2)

    @cached_property
    def balls(self) -> np.ndarray:
        """Radii about the middles of both ends that hold their corners, (tubes, 2), m."""
        off = self.corners.reshape(-1, 2, RIM, 3) - self.middles[:, :, None]
        return np.asarray(np.linalg.norm(off, axis=3).max(axis=2))

    def bare_light(self, eyes: np.ndarray, windows: np.ndarray) -> np.ndarray:
        """Light (W/m2) of all tubes at eyes (eyes, 3) as vectors from the eye, (eyes, 3).

        `windows` (eyes, 4): from and to m, from and to n. A tube shines on its mantle alone: the
        end that faces the eye is dark. Nothing is taken to stand in the way.
        """
        shapes = (self.corners, self.middles, self.balls)
        return np.asarray(light_of_all(eyes, windows, *shapes, self.exitance, EDGES) / np.pi)

    def light_of(self, tube: np.ndarray, eyes: np.ndarray, windows: np.ndarray) -> np.ndarray:
        """The same of one `tube` (eyes,) at each eye."""
        light = light_of_pairs(eyes, windows, self.corners, self.middles, tube, EDGES)
        return np.asarray(light * (self.exitance[tube] / np.pi)[:, None])

    def in_windows(self, eyes: np.ndarray, windows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Eye and tube of each pair where the tube may stand in the window, by eye.

        A few pairs too many, none too few.
        """
        eye, tube = pairs_in_windows(eyes, windows, self.middles, self.balls).T
        return eye, tube

    def width(self, tube: np.ndarray, eyes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Least and greatest m of one `tube` (eyes,) as each eye (eyes, 3) sees it, (eyes,)."""
        away = eyes[:, None] - self.corners[tube]
        m = away[..., 1] / away[..., 0]
        return m.min(axis=1), m.max(axis=1)

    def cut(
        self, tube: np.ndarray, eyes: np.ndarray, windows: np.ndarray, m: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Lowest angle (n = tan) of a tube in a window where it is cut at m, and its reach.

        Both (eyes, cuts), 0 where there is nothing; `m` (eyes, cuts), the others as in `light_of`.
        """
        low, high = cuts_of_pairs(eyes, self.corners, tube, EDGES, m)
        low, high = np.maximum(low, windows[:, 2, None]), np.minimum(high, windows[:, 3, None])
        seen = low < high
        low = np.arctan(np.where(seen, low, 0.0))
        return low, np.where(seen, np.arctan(high) - low, 0.0)

    def aimed(
        self, tube: np.ndarray, eyes: np.ndarray, windows: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Lines from each eye spread over the part of one tube in its window, and their sizes.

        Unit vectors (eyes, LINES, 3), and solid angles (eyes, LINES), sr, 0 where there is nothing
        to see or a dark end; the others as in `light_of`.
        """
        first, last = self.width(tube, eyes)
        first = np.maximum(first, windows[:, 0])
        width = np.maximum(np.minimum(last, windows[:, 1]) - first, 0.0)[:, None] / LINES
        m = first[:, None] + width * (np.arange(LINES) + 0.5)
        low, size = self.cut(tube, eyes, windows, m)
        n = np.tan(low + size * (np.arange(LINES) * GOLDEN % 1.0))  # no two in one row or column
        long = np.sqrt(1.0 + m**2 + n**2)
        directions = -np.stack([np.ones_like(m), m, n], axis=-1) / long[..., None]
        area = width * size * (1.0 + n**2) / long**3
        for end in (0, 1):
            middle, other = self.middles[tube, end], self.middles[tube, 1 - end]
            outwards = (middle - other)[:, :, None]
            off, speed = (middle - eyes)[:, None], directions @ outwards
            gone = (off @ outwards) / np.where(speed < 0.0, speed, -np.inf)
            near = np.linalg.norm(gone * directions - off, axis=2) < self.balls[tube, end][:, None]
            area[near & (gone[..., 0] > 0.0)] = 0.0
        return directions, area
