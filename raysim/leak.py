"""Stray light outside a gap, where it is brightest for a person, and how long one may stay.

Light leaves through a slit in two ways. *In sight*: lines from the eye that pass straight through
are followed into the chamber, many of them aimed at the lamp tubes and their images in mirrors.
*Off the walls of the slit*: the slit is a chain of strips whose radiosity follows from the light on
its inner opening, and the eye sees those strips. Every line is aimed at the opening, so that a
share of 1e-6 of the lamps' power costs no more than a large one.

The eye may be anywhere in the plane that lies `distance` off the outside of the wall, and faces the
light. People are protected by the bright case: new lamps, high end of every reflectance. The
chamber is traced with the slit closed, which keeps in it the little light that leaves.
"""

from dataclasses import dataclass

import numpy as np

from raysim.aim import Lines, picture_lines, wall_lines, window_lines
from raysim.brightest import LampView
from raysim.figures import Figures
from raysim.images import tube_images
from raysim.inside import BRIGHT_COLUMN, Inside
from raysim.opening import GROUPS, Opening, OpeningRun, Streams
from raysim.people import SKIN, exposure_limit, permissible_time
from raysim.scene.build import BuiltScene
from raysim.scene.gaps import scene_fault
from raysim.scene.written import Gap
from raysim.sight import lamp_light, scattered_light
from raysim.slit import Slit, eye_places, slit_of
from raysim.tracing import AdjointRun, default_threads, kernel_scene

LINES = 64  # of a set, through the gap to what scatters there, and to its walls
LAMP_LINES = 8  # times as many are followed to lamps alone
AIMED, AIMED_LINES = 8, 4  # tubes and images that are aimed at, with so many times the lines
SCAN_GROUPS, SCAN_LINES = 4, 16
WALL_LINES = 1024  # of a set, from the inner opening
TUBE_LINES = 1024  # of a set, from the inner opening to each tube
STREAMS = (3 << 30, 1 << 30)  # words of the random counter that belong to gaps
NONE_OF = 3.0  # what was met by none of n lines is met by fewer than 3 / n of all, 95 % sure


@dataclass(frozen=True)
class Look:
    """Light at one eye, as vectors (groups, lines, 3), W/m2, and what its lines could have missed.

    `unseen` (W/m2) bounds what shines in sight without any of the lines having met it.
    """

    in_sight: np.ndarray
    off_walls: np.ndarray
    unseen: float

    @property
    def total(self) -> np.ndarray:
        """Irradiance of an eye that faces the light, W/m2, (groups,)."""
        return self.sight + self.walls

    @property
    def facing(self) -> np.ndarray:
        """Direction of the light, (3,)."""
        light = self.in_sight.sum(axis=(0, 1)) + self.off_walls.sum(axis=(0, 1))
        return np.asarray(light / max(np.linalg.norm(light), 1e-300))

    @property
    def sight(self) -> np.ndarray:
        """Irradiance in sight of an eye that faces the light, W/m2, (groups,)."""
        return np.asarray((self.in_sight @ self.facing).clip(0.0).sum(axis=1))

    @property
    def walls(self) -> np.ndarray:
        """Irradiance off the walls of the gap, likewise."""
        return np.asarray((self.off_walls @ self.facing).clip(0.0).sum(axis=1))


@dataclass(frozen=True)
class Leak(Figures):
    """Stray light of one gap at the brightest place of an eye, W/m2, unweighted 254 nm.

    `in_sight` and `off_walls` add up to `irradiance`; `error` is its standard error, with half of
    what may shine there without any line having met it. `at_most` says that no line met any light,
    and that `irradiance` is the most that so many lines can have missed. It is 0 only where no
    straight line leads through the gap and its walls send nothing back. `times` are permissible
    seconds in a day for the eye and for covered eyes (skin alone), safety factor divided in, from
    the irradiance plus two standard errors.
    """

    gap: Gap
    eye: np.ndarray  # (3,) m
    irradiance: float
    error: float
    in_sight: float
    off_walls: float
    inside: float  # mean irradiance on the inner opening
    times: tuple[float, float]
    at_most: bool = False


class LeakRun:
    """Leaks of all gaps of one scene."""

    def __init__(self, scene: BuiltScene, seed: int = 1, threads: int | None = None) -> None:
        self.scene = scene
        arrays = kernel_scene(scene.triangles)
        columns = slice(BRIGHT_COLUMN, BRIGHT_COLUMN + 1)
        self.run = AdjointRun(
            arrays, scene.triangles, seed, threads or default_threads(), cases=columns
        )
        self.inside = Inside(arrays)
        self.images = tube_images(scene.triangles, arrays)
        self.rng = np.random.default_rng(np.random.Philox(key=seed))
        self.streams = Streams(*STREAMS)

    def leak(self, slit: Slit) -> Leak:
        """Stray light of a slit at the brightest of the places found for an eye."""
        opening, view = self.opening(slit), self.view(slit)
        eyes = np.concatenate([view.eyes(), eye_places(slit)])
        looks = [self.look(view, eye, opening, SCAN_GROUPS, SCAN_LINES) for eye in eyes]
        best = max(range(len(eyes)), key=lambda k: (looks[k].total.mean(), looks[k].unseen))
        look = self.look(view, eyes[best], opening, GROUPS, LINES)
        total, sight = look.total, float(look.sight.mean())
        light = float(total.mean())
        error = float(total.std(ddof=1) / np.sqrt(len(total))) + 0.5 * look.unseen
        if light == 0.0:
            light, sight, error = look.unseen, look.unseen, 0.0
        factor = self.scene.written.target.safety_factor
        safe = light + 2.0 * error
        return Leak(
            slit.gap,
            slit.point(*eyes[best]),
            light,
            error,
            sight,
            float(look.walls.mean()),
            float(opening.light.mean()),
            (
                permissible_time(safe, factor),
                permissible_time(safe, factor, exposure_limit(SKIN)),
            ),
            at_most=bool(total.max() == 0.0 and light > 0.0),
        )

    def opening(self, slit: Slit) -> Opening:
        """Light that comes in at the inner opening, and what the walls make of it."""
        run = OpeningRun(self.run, self.inside, self.rng, self.streams)
        return run.opening(slit, WALL_LINES, TUBE_LINES)

    def view(self, slit: Slit) -> LampView:
        """Tubes and their images as they stand before a gap."""
        return LampView(slit, self.inside, self.images)

    def at_eye(
        self, slit: Slit, eye: np.ndarray, opening: Opening, groups: int, lines: int
    ) -> tuple[np.ndarray, np.ndarray]:
        """Irradiance in sight and off the walls, W/m2, by group of lines; both (groups,).

        Of an eye at `eye` (3,), m, that faces the light. `opening` is what `opening` gave; `lines`
        in each of `groups` independent sets.

        Source: `aim`, `sight` and `passage.wall_reply`.
        """
        look = self.look(self.view(slit), slit.local(eye), opening, groups, lines)
        return look.sight, look.walls

    def look(
        self, view: LampView, eye: np.ndarray, opening: Opening, groups: int, lines: int
    ) -> Look:
        """The light at an eye (3,), coordinates of the gap; the others as in `at_eye`."""
        slit, rng = view.slit, self.rng
        tubes = view.brightest_at(eye, AIMED)
        counts = (LAMP_LINES * lines, AIMED_LINES * lines)
        aimed = picture_lines(slit, eye, tubes, groups, counts, rng)
        lamps = aimed.light(lamp_light(self.inside, *_starts(slit, eye, aimed), rng))
        seen = window_lines(slit, eye, groups, lines, rng)
        starts = _starts(slit, eye, seen)
        scattered = seen.light(
            scattered_light(self.run, self.inside, *starts, rng, self.streams.fresh())
        )
        met, strip, along = wall_lines(slit, eye, groups, lines, rng)
        walls = met.light(opening.on_strips(strip, along / slit.length, groups))
        unseen = 0.0
        if not lamps.any():
            unseen += seen.whole / (groups * counts[0])
        if not opening.light.any() and slit.reply.any():
            unseen += met.whole / (GROUPS * WALL_LINES)
        brightest = float(self.inside.arrays.geometry.tube_exitance.max())
        in_sight = np.concatenate([lamps, scattered], axis=1)
        return Look(in_sight, walls, NONE_OF * brightest * unseen)


def _starts(slit: Slit, eye: np.ndarray, lines: Lines) -> tuple[np.ndarray, np.ndarray]:
    """Where lines from an eye (3,) enter the chamber, m, and their directions, both (lines, 3)."""
    directions = lines.directions.reshape(-1, 3)
    eyes = np.broadcast_to(eye, directions.shape)
    return slit.just_inside(eyes, directions), directions @ slit.axes


def leaks(scene: BuiltScene, seed: int = 1, threads: int | None = None) -> tuple[Leak, ...]:
    """Stray light of every gap of a scene, in its order.

    Raises
    ------
    raysim.errors.SceneError
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
