"""Stray light outside a gap, where it is brightest for a person, and how long one may stay.

Light leaves through a slit in two ways. *In sight*: lines from the eye that pass straight through
are followed into the chamber, to the lamps and to what scatters there. *Off the walls of the slit*:
the slit is a chain of strips whose radiosity follows from the light on its inner opening, and the
eye sees those strips. Every line is aimed at the opening, so that a share of 1e-6 of the lamps'
power costs no more than a large one.

The eye may be anywhere in the plane that lies `distance` off the outside of the wall, and faces the
light. People are protected by the bright case: new lamps, high end of every reflectance. The
chamber is traced with the slit closed, which keeps in it the little light that leaves.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from raysim.base.fault_codes import Code
from raysim.base.figures import Figures
from raysim.scene.build import BuiltScene
from raysim.scene.check.gaps import scene_fault
from raysim.scene.file.seams import Gap
from raysim.studies.asked import checked, in_one_pose
from raysim.studies.leak.aim import Lines, starts, wall_lines, window_lines
from raysim.studies.leak.brightest import eye_places, lamp_eyes
from raysim.studies.leak.exposure_limits import SKIN, exposure_limit, permissible_time
from raysim.studies.leak.inside import BRIGHT_COLUMN, Inside
from raysim.studies.leak.opening import GROUPS, STREAM_STEP, Opening, OpeningRun
from raysim.studies.leak.sight import FEW, lamp_light, scattered_light
from raysim.studies.leak.slit import Slit, slit_of
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.options import RunOptions
from raysim.transport.paths import traced_irradiance
from raysim.transport.streams import GAPS, Ranges

LINES = 64  # of a set, through the gap to what scatters there, and to its walls
LAMP_LINES = 32  # times as many are followed to lamps alone
SCAN_GROUPS = 4
# Lines of a set, paths from where each ends, and how many of the eyes are looked at again.
SCANS = ((16, FEW, 4), (64, 2 * FEW, 1))
PATHS = 64  # the same paths for the eye that is told
WALL_LINES = 784  # of a set, from the inner opening
TUBE_LINES = 1024  # of a set, from the inner opening to each tube
NONE_OF = 3.0  # what was met by none of n lines is met by fewer than 3 / n of all, 95 % sure


@dataclass(frozen=True)
class Look(Figures):
    """Light at one eye, as vectors (groups, lines, 3), W/m2, and how much there may be at all.

    `most` (W/m2) is the light if the brightest lamp filled all that the eye can see through the gap
    and of its walls; `unseen` (W/m2) bounds the light of lamps where no line met one, else 0.
    """

    in_sight: np.ndarray
    off_walls: np.ndarray
    most: float
    unseen: float

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

    @property
    def mean(self) -> float:
        """Irradiance of an eye that faces the light, W/m2."""
        return float((self.sight + self.walls).mean())

    @property
    def error(self) -> float:
        """Standard error of the mean, W/m2, with half of what may go unseen."""
        total = self.sight + self.walls
        return float(total.std(ddof=1) / np.sqrt(len(total))) + 0.5 * self.unseen


@dataclass(frozen=True)
class Leak(Figures):
    """Stray light of one gap at the brightest place of an eye, W/m2, unweighted 254 nm.

    `in_sight` and `off_walls` add up to `irradiance`; `error` is its standard error. `at_most` says
    that no line met any light, and that `irradiance` is an upper bound: the light if a lamp filled
    all that can be seen through the gap and of its walls. It is 0 only where no straight line leads
    through the gap and its walls send nothing back. `times` are permissible seconds in a day for
    the eye and for covered eyes (skin alone), safety factor divided in, from the irradiance plus
    two standard errors.
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

    def __init__(self, scene: BuiltScene, options: RunOptions) -> None:
        self.scene, seed = scene, options.seed
        arrays = kernel_scene(scene.triangles)
        columns = slice(BRIGHT_COLUMN, BRIGHT_COLUMN + 1)
        self.trace = partial(
            traced_irradiance, arrays, scene.triangles, options=options, cases=columns
        )
        self.inside = Inside(arrays)
        self.rng = np.random.default_rng(np.random.Philox(key=seed))
        self.streams = Ranges(GAPS, STREAM_STEP)

    def leak(self, slit: Slit) -> Leak:
        """Stray light of a slit at the brightest place of an eye."""
        opening = self.opening(slit)
        eyes = slit.placed(
            np.concatenate([lamp_eyes(slit, self.inside, self.rng), eye_places(slit)])
        )
        for lines, paths, kept in SCANS:
            looks = self.looks(slit, eyes, opening, SCAN_GROUPS, lines, paths=paths)
            order = np.lexsort([[-look.most for look in looks], [-look.mean for look in looks]])
            eyes = eyes[order[:kept]]
        (look,) = self.looks(slit, eyes, opening, GROUPS, LINES)
        light, error, sight = look.mean, look.error, float(look.sight.mean())
        at_most = light == 0.0 and look.most > 0.0
        if at_most:
            light, error, sight = look.most, 0.0, look.most
        return Leak(
            slit.gap,
            slit.point(*eyes[0]),
            light,
            error,
            sight,
            float(look.walls.mean()),
            float(opening.light.mean()),
            self._times(light + 2.0 * error),
            at_most,
        )

    def _times(self, irradiance: float) -> tuple[float, float]:
        factor = self.scene.written.target.safety_factor
        skin = permissible_time(irradiance, factor, exposure_limit(SKIN))
        return permissible_time(irradiance, factor), skin

    def opening(self, slit: Slit) -> Opening:
        """Light that comes in at the inner opening, and what the walls make of it."""
        run = OpeningRun(self.trace, self.inside, self.rng, self.streams)
        return run.opening(slit, WALL_LINES, TUBE_LINES)

    def at_eye(
        self, slit: Slit, eye: np.ndarray, opening: Opening, groups: int, lines: int
    ) -> tuple[np.ndarray, np.ndarray]:
        """Irradiance in sight and off the walls, W/m2, by group of lines; both (groups,).

        Of an eye at `eye` (3,), m, that faces the light. `opening` is what `opening` gave; `lines`
        in each of `groups` independent sets.
        """
        (look,) = self.looks(slit, slit.local(eye)[None], opening, groups, lines)
        return look.sight, look.walls

    def looks(
        self,
        slit: Slit,
        eyes: np.ndarray,
        opening: Opening,
        groups: int,
        lines: int,
        *,
        paths: int = PATHS,
    ) -> list[Look]:
        """The light at eyes (eyes, 3), coordinates of the gap; the others as in `at_eye`.

        `paths` backward from where each line of sight ends.

        Source: `aim`, `sight` and `passage.wall_reply`.
        """
        rng, sets = self.rng, np.repeat(eyes, groups, axis=0)
        lit = window_lines(slit, sets, LAMP_LINES * lines, rng)
        lamps = _light_along(slit, sets, lit, partial(lamp_light, self.inside, rng=rng))
        seen = window_lines(slit, sets, lines, rng)
        stream = self.streams.fresh()
        scattered = partial(
            scattered_light, self.trace, self.inside, rng=rng, stream=stream, paths=paths
        )
        sight = np.concatenate([lamps, _light_along(slit, sets, seen, scattered)], axis=1)
        brightest = float(self.inside.arrays.geometry.tube_exitance.max())
        found = []
        for k, eye in enumerate(eyes):
            of_eye = slice(k * groups, (k + 1) * groups)
            met, strip, along = wall_lines(slit, eye, groups, lines, rng)
            walls = met.light(opening.on_strips(strip, along / slit.length(), groups))
            whole = Lines(lit.directions[of_eye], lit.weights[of_eye], lit.leg[of_eye]).whole
            most = brightest * (whole + (met.whole if slit.reply.any() else 0.0))
            through = max(int(np.count_nonzero(lit.weights[of_eye])), 1)
            unseen = NONE_OF / through * brightest * whole
            if lamps[of_eye].any():
                unseen = 0.0
            found.append(Look(sight[of_eye], walls, most, unseen))
        return found


def _light_along(
    slit: Slit, eyes: np.ndarray, lines: Lines, radiance: Callable[..., np.ndarray]
) -> np.ndarray:
    """Light (W/m2) of lines from eyes (sets, 3), vectors (sets, lines, 3).

    `radiance` is asked for pi times that along the lines that come through, W/m2.
    """
    through = np.flatnonzero(lines.weights)
    found = np.zeros(lines.weights.size)
    if len(through):
        origins, directions = starts(slit, eyes, lines)
        found[through] = radiance(origins[through], directions[through])
    return lines.light(found)


@dataclass(frozen=True)
class LeakStudy:
    """Stray light of every gap of a scene, in its order; `poses` are the names of all poses."""

    scene: BuiltScene
    seed: int
    leaks: tuple[Leak, ...]
    poses: tuple[str, ...]


def study(
    scene: BuiltScene, *, pose: str | None = None, options: RunOptions | None = None
) -> LeakStudy:
    """Stray light outside of every gap of a scene.

    Parameters
    ----------
    scene : BuiltScene
    pose : str, optional
        Which one of several; default the first.
    options : RunOptions, optional

    Raises
    ------
    raysim.base.errors.SceneError
        Where a gap is not on its wall, or there is none.
    RaysimError
        No scene, a pose that is not there, or numbers out of range.

    >>> import raysim
    >>> from dataclasses import replace
    >>> from raysim.scene.file.seams import Gap
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")  # a [[gap]] in it would do as well
    >>> ends = {"from": (0.1, 0.0, 0.3), "to": (0.3, 0.0, 0.3)}  # m
    >>> gap = Gap(wall="front", width=0.002, depth=0.018, distance=0.3, **ends)
    >>> scene = replace(scene, written=scene.written.model_copy(update={"gap": [gap]}))
    >>> (found,) = study(scene).leaks
    >>> 0.0 < found.error < found.irradiance < found.inside  # W/m2
    True
    """
    options = checked(options)
    alone = in_one_pose(scene, pose)
    gaps = alone.written.gap
    if not gaps:
        raise scene_fault(
            alone, Code.NO_GAP, "gap", "the scene has no [[gap]]", "add one for each seam and hole"
        )
    slits = [slit_of(alone, gap, f"gap {k + 1}") for k, gap in enumerate(gaps)]
    run = LeakRun(alone, options)
    found = []
    for slit in slits:
        found.append(run.leak(slit))
        options.progress("looking through the gaps", len(found), len(slits))
    poses = tuple(entry.name for entry in scene.written.pose)
    return LeakStudy(alone, options.seed, tuple(found), poses)
