"""Stray light outside a gap, where it is brightest for a person, and how long one may stay.

Light leaves through a slit in two ways. *In sight*: lines from the eye that pass straight through
are followed into the chamber. *Off the walls of the slit*: the slit is a chain of strips whose
radiosity follows from the light on its inner opening, and the eye sees those strips. Both aim
every line at the opening, so that a share of 1e-6 of the lamps' power costs no more than a large
one.

People are protected by the bright case: new lamps, high end of every reflectance. The chamber is
traced with the slit closed, which keeps in it the little light that leaves.
"""

from dataclasses import dataclass

import numpy as np

from raysim.base.figures import Figures
from raysim.scene.build import BuiltScene
from raysim.scene.file.written import Gap
from raysim.scene.triangles import SceneTriangles
from raysim.studies.leak.exposure_limits import SKIN, exposure_limit, permissible_time
from raysim.studies.leak.passage import next_wall
from raysim.studies.leak.sight import (
    BRIGHT_COLUMN,
    lines_to_tube,
    radiance_but_lamps,
    radiance_times_pi,
)
from raysim.studies.leak.slit import Slit, aimed_lines, eye_places, scene_fault, slit_of, through
from raysim.transport.tracing import AdjointRun, Target, default_threads, kernel_scene

GROUPS = 16  # independent sets of lines, for the error
LINES = 64  # of a set
SCAN_GROUPS, SCAN_LINES = 4, 16
OPENING_POINTS, OPENING_PATHS = 8, 256
WALL_LINES = 1024  # of a set, from the inner opening
TUBE_LINES = 1024  # of a set, from the inner opening to each tube
STREAM = 3 << 30  # words of the random counter from here on belong to gaps
STREAM_STEP = 1 << 12  # more than the lines traced at once


@dataclass(frozen=True)
class Opening:
    """Light on the inner opening and on the walls behind it.

    `light` (points,) is the irradiance (W/m2) at points along the opening; `walls`
    (groups, strips) the radiosity (W/m2) of the strips from independent sets of lines.
    """

    light: np.ndarray
    walls: np.ndarray


@dataclass(frozen=True)
class Leak(Figures):
    """Stray light of one gap at the brightest place of an eye tried, W/m2, unweighted 254 nm.

    `in_sight` and `off_walls` add up to `irradiance`; `error` is its standard error. `times` are
    permissible seconds in a day for the eye and for covered eyes (skin alone), safety factor
    divided in, from the irradiance plus two standard errors.
    """

    gap: Gap
    eye: np.ndarray  # (3,) m
    irradiance: float
    error: float
    in_sight: float
    off_walls: float
    inside: float  # mean irradiance on the inner opening
    times: tuple[float, float]


class LeakRun:
    """Leaks of all gaps of one scene."""

    def __init__(self, scene: BuiltScene, seed: int = 1, threads: int | None = None) -> None:
        self.scene = scene
        self.seed = seed
        arrays = kernel_scene(scene.triangles)
        columns = slice(BRIGHT_COLUMN, BRIGHT_COLUMN + 1)
        self.run = AdjointRun(
            arrays, scene.triangles, seed, threads or default_threads(), cases=columns
        )
        self.rng = np.random.default_rng(np.random.Philox(key=seed))
        self.stream = STREAM

    @property
    def triangles(self) -> SceneTriangles:
        """Triangles of the scene (definition)."""
        return self.scene.triangles

    def leak(self, slit: Slit) -> Leak:
        """Stray light of a slit at the brightest of the places tried for an eye."""
        opening = self.opening(slit)
        eyes = eye_places(slit)
        scanned = []
        for eye in eyes:
            sight, walls = self.at_eye(slit, eye, opening, SCAN_GROUPS, SCAN_LINES)
            scanned.append(float((sight + walls).mean()))
        eye = eyes[int(np.argmax(scanned))]
        sight, walls = self.at_eye(slit, eye, opening, GROUPS, LINES)
        total = sight + walls
        error = float(total.std(ddof=1) / np.sqrt(len(total)))
        safe = float(total.mean()) + 2.0 * error
        factor = self.scene.written.target.safety_factor
        times = (
            permissible_time(safe, factor),
            permissible_time(safe, factor, exposure_limit(SKIN)),
        )
        return Leak(
            slit.gap,
            eye,
            float(total.mean()),
            error,
            float(sight.mean()),
            float(walls.mean()),
            float(opening.light.mean()),
            times,
        )

    def opening(self, slit: Slit) -> Opening:
        """Light that comes in at the inner opening, and what the walls make of it."""
        c = ((np.arange(OPENING_POINTS) + 0.5) / OPENING_POINTS - 0.5) * slit.length
        zero = np.zeros(OPENING_POINTS)
        points = slit.point(zero - 1e-6, zero, c)
        first, stream = len(self.run.paths), self._streams()
        self.run.add_targets(
            [Target(stream + k, at=p, facing=-slit.outwards) for k, p in enumerate(points)]
        )
        chosen = first + np.arange(OPENING_POINTS)
        self.run.add_paths(chosen, np.full(OPENING_POINTS, OPENING_PATHS))
        light = self.run.batch_irradiance(chosen)[..., 0].sum(axis=2).mean(axis=1)
        return Opening(light, np.array([self._walls(slit) for _ in range(GROUPS)]))

    def _walls(self, slit: Slit) -> np.ndarray:
        """Radiosity (W/m2) of the strips, from one independent set of lines, (strips,).

        Lines go from the inner opening into the chamber after Lambert's law, and to the lamps for
        what comes straight from them; the light they bring travels on the other way, into the
        passage, and lands on its walls.

        Source: E = int L cos dA dw, and `passage.wall_reply`.
        """
        side = int(np.sqrt(WALL_LINES))
        cells = np.stack(np.meshgrid(np.arange(side), np.arange(side))).reshape(2, -1)
        u, v = (cells + self.rng.random(cells.shape)) / side
        angle, sine = 2.0 * np.pi * u, np.sqrt(v)
        d = np.stack([np.sqrt(1.0 - v), sine * np.cos(angle), sine * np.sin(angle)], axis=1)
        axes = np.stack([slit.outwards, slit.sideways, slit.along])
        b, origins = self._inner_points(slit, len(u))
        # d points outwards; the line of sight runs the other way.
        light = radiance_but_lamps(
            self.run, self.triangles, origins, -d @ axes, self.rng, self._streams()
        ).sum(axis=1)
        power = self._landed(slit, b, d, light)
        exitances = self.run.scene.geometry.tube_exitance
        for number, exitance in enumerate(exitances):
            b, origins = self._inner_points(slit, TUBE_LINES)
            towards, weight = lines_to_tube(
                self.triangles, number, origins, -slit.outwards, self.rng
            )
            power += self._landed(slit, b, -towards @ axes.T, weight * exitance)
        return slit.reply @ (power / slit.strips.sizes)

    def _inner_points(self, slit: Slit, count: int) -> tuple[np.ndarray, np.ndarray]:
        """Random places on the inner opening: sideways (m), and points (count, 3) just inside."""
        b = slit.gap.width * (self.rng.random(count) - 0.5)
        c = slit.length * (self.rng.random(count) - 0.5)
        return b, slit.point(np.full(count, -1e-6), b, c)

    def _landed(self, slit: Slit, b: np.ndarray, d: np.ndarray, light: np.ndarray) -> np.ndarray:
        """Power per metre of slit (W/m) that lands on each strip, (strips,).

        `b` (lines,) are places on the inner opening, `d` (lines, 3) directions of travel, and the
        mean of `light` (lines,) is the irradiance they bring.
        """
        start = np.stack([np.zeros(len(b)), b], axis=1)
        inner = np.full(len(b), slit.passage.inner)
        hit, share = next_wall(slit.passage, start, d[:, :2], inner)
        landed = slit.strips.number(hit, share)
        power = np.bincount(landed, weights=light, minlength=len(slit.reply))
        return power * slit.gap.width / len(b)

    def _streams(self) -> int:
        """A fresh range of words of the random counter."""
        self.stream += STREAM_STEP
        return STREAM + (self.stream - STREAM) % (1 << 30)

    def at_eye(
        self,
        slit: Slit,
        eye: np.ndarray,
        opening: Opening,
        groups: int,
        lines: int,
    ) -> tuple[np.ndarray, np.ndarray]:
        """Irradiance in sight and off the walls, W/m2, by group of lines; both (groups,).

        `opening` is what `opening` gave; `lines` in each of `groups` independent sets.

        Source: `aimed_lines`, `sight.radiance_times_pi` and `passage.wall_radiosity`.
        """
        b, c, weight, directions = aimed_lines(slit, eye, groups, lines, self.rng)
        hit, share, at_inner, c_inner = through(slit, eye, b, c)
        walls = np.zeros(len(b))
        wall = (hit >= 0) & (hit != slit.passage.inner) & (np.abs(c_inner) <= 0.5 * slit.length)
        place = (np.arange(OPENING_POINTS) + 0.5) / OPENING_POINTS
        group = np.arange(len(b)) // (len(b) // groups) % GROUPS
        radiosity = opening.walls[group[wall], slit.strips.number(hit[wall], share[wall])]
        light = np.interp(c_inner[wall] / slit.length + 0.5, place, opening.light)
        walls[wall] = weight[wall] * radiosity * light / opening.light.mean()
        sight = np.zeros(len(b))
        open_ = (hit == slit.passage.inner) & (np.abs(c_inner) <= 0.5 * slit.length)
        if open_.any():
            zero = np.zeros(open_.sum())
            origins = slit.point(zero - 1e-6, at_inner[open_], c_inner[open_])
            radiance = radiance_times_pi(
                self.run, self.triangles, origins, directions[open_], self.rng, self._streams()
            ).sum(axis=1)
            sight[open_] = weight[open_] * radiance
        return sight.reshape(groups, -1).mean(axis=1), walls.reshape(groups, -1).mean(axis=1)


def leaks(scene: BuiltScene, seed: int = 1, threads: int | None = None) -> tuple[Leak, ...]:
    """Stray light of every gap of a scene, in its order.

    Raises
    ------
    raysim.base.errors.SceneError
        Where a gap is not on its wall, or there is none.
    """
    gaps = scene.written.gap
    if not gaps:
        raise scene_fault(
            scene, "gap", "the scene has no [[gap]]", "add one for each seam and hole"
        )
    slits = [slit_of(scene, gap, f"gap {k + 1}") for k, gap in enumerate(gaps)]
    run = LeakRun(scene, seed, threads)
    return tuple(run.leak(slit) for slit in slits)
