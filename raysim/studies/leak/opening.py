"""Light that comes to the inner opening of a gap, and what the walls of the gap make of it."""

from dataclasses import dataclass

import numpy as np

from raysim.studies.leak.inside import Inside
from raysim.studies.leak.passage import next_wall
from raysim.studies.leak.sight import FEW, Trace, lamp_light, lines_to_tube, scattered_light
from raysim.studies.leak.slit import INSIDE, Slit
from raysim.transport.starts import Start
from raysim.transport.streams import Ranges

GROUPS = 16  # independent sets of lines, for the error
POINTS, PATHS = 32, 64  # along the opening, and paths a batch from each
STREAM_STEP = 1 << 16  # words of the random counter: more than the lines traced at once


@dataclass(frozen=True)
class Opening:
    """Light on the inner opening and on the walls behind it.

    `light` (points,) is the irradiance (W/m2) at points along the opening; `walls`
    (GROUPS, strips) the radiosity (W/m2) of the strips from independent sets of lines. `closed`
    where the gap comes back to where it begins.
    """

    light: np.ndarray
    walls: np.ndarray
    closed: bool

    def on_strips(self, strip: np.ndarray, along: np.ndarray, groups: int) -> np.ndarray:
        """Radiosity (W/m2) of strips met by lines in so many groups, (lines,).

        `strip` (lines,), and where along the gap, from -0.5 to 0.5: walls shine there as the
        opening is lit.
        """
        group = np.arange(len(strip)) // (len(strip) // groups) % GROUPS
        mean = self.light.mean()
        if mean == 0.0:
            return self.walls[group, strip]
        place = (np.arange(len(self.light)) + 0.5) / len(self.light) - 0.5
        period = 1.0 if self.closed else None
        light = np.interp(along, place, self.light, period=period)
        return np.asarray(self.walls[group, strip] * light / mean)


class OpeningRun:
    """Finds the light on openings of one scene; `wall_lines` of a set, and so many to each tube."""

    def __init__(
        self,
        trace: Trace,
        inside: Inside,
        rng: np.random.Generator,
        streams: Ranges,
    ) -> None:
        self.trace, self.inside, self.rng, self.streams = trace, inside, rng, streams

    def opening(self, slit: Slit, lines: int, tube_lines: int) -> Opening:
        """Light on the inner opening of a gap; `lines` of a set into the box, and to each tube."""
        s = ((np.arange(POINTS) + 0.5) / POINTS - 0.5) * slit.length()
        leg, points = self._inside(slit, np.zeros(POINTS), s)
        stream, facing = self.streams.fresh(), -slit.axes[leg, 0]
        starts = [
            Start(stream + k, at=at, facing=way)
            for k, (at, way) in enumerate(zip(points, facing, strict=True))
        ]
        light = self.trace(starts, PATHS).batches[..., 0].sum(axis=2).mean(axis=1)
        walls = [self._walls(slit, lines, tube_lines) for _ in range(GROUPS)]
        return Opening(light, np.array(walls), slit.closed)

    def _walls(self, slit: Slit, lines: int, tube_lines: int) -> np.ndarray:
        """Radiosity (W/m2) of the strips, from one independent set of lines, (strips,).

        Lines go from the inner opening into the chamber after Lambert's law, and to the lamps for
        what comes straight from them; the light they bring travels on the other way, into the
        passage, and lands on its walls.

        Source: E = int L cos dA dw, and `passage.wall_reply`.
        """
        if not slit.reply.any():
            return np.zeros(len(slit.reply))
        side = int(np.sqrt(lines))
        cells = np.stack(np.meshgrid(np.arange(side), np.arange(side))).reshape(2, -1)
        u, v = (cells + self.rng.random(cells.shape)) / side
        angle, sine = 2.0 * np.pi * u, np.sqrt(v)
        d = np.stack([np.sqrt(1.0 - v), sine * np.cos(angle), sine * np.sin(angle)], axis=1)
        b, leg, origins = self._inner_points(slit, len(u))
        # d points outwards; the line of sight runs the other way
        back = slit.turned_back(leg, -d) @ slit.axes[0]
        stream = self.streams.fresh()
        light = scattered_light(
            self.trace, self.inside, origins, back, rng=self.rng, stream=stream, paths=FEW
        ) + lamp_light(self.inside, origins, back, self.rng, straight=False)
        power = self._landed(slit, b, d, light)
        for number, exitance in enumerate(self.inside.arrays.geometry.tube_exitance):
            b, leg, origins = self._inner_points(slit, tube_lines)
            facing = -slit.axes[leg, 0]
            towards, weight = lines_to_tube(self.inside, number, origins, facing, self.rng)
            d = slit.turned(leg, -towards @ slit.axes[0].T)
            power += self._landed(slit, b, d, weight * exitance)
        return np.asarray(slit.reply @ (power / slit.strips.sizes))

    def _inner_points(self, slit: Slit, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Random places on the inner opening: b (m), leg, and points (count, 3) just inside."""
        b = slit.gap.width * (self.rng.random(count) - 0.5)
        return b, *self._inside(slit, b, slit.length() * (self.rng.random(count) - 0.5))

    @staticmethod
    def _inside(slit: Slit, b: np.ndarray, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Legs, and points (n, 3) just inside the opening, at b (m) and s (m) along the gap."""
        leg, _ = slit.rolled(0.0, s)
        unrolled = np.stack([np.full(len(b), INSIDE), b, s], axis=1)
        return leg, slit.point(*slit.placed(unrolled).T)

    @staticmethod
    def _landed(slit: Slit, b: np.ndarray, d: np.ndarray, light: np.ndarray) -> np.ndarray:
        """Power per metre of slit (W/m) that lands on each strip, (strips,).

        `b` (lines,) are places on the inner opening, `d` (lines, 3) directions of travel, and the
        mean of `light` (lines,) is the irradiance they bring.
        """
        start = np.stack([np.zeros(len(b)), b], axis=1)
        inner = np.full(len(b), slit.passage.inner)
        hit, share = next_wall(slit.passage, start, d[:, :2], inner)
        landed = slit.strips.number(hit, share)
        power = np.bincount(landed, weights=light, minlength=len(slit.reply))
        return np.asarray(power * slit.gap.width / len(b))
