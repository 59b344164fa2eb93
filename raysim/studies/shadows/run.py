"""Which spots stay dark, what hides them, and what helps: changes are traced, not guessed."""

import math
from dataclasses import dataclass, field

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.figures import Figures
from raysim.dose.judge import place_words
from raysim.dose.lamp_output import requirement_of
from raysim.dose.result import Result
from raysim.dose.simulate import simulate
from raysim.estimate.bounds import batch_mean
from raysim.estimate.darkness import CLOSE_PATHS, DARK_ERRORS, seems_dark
from raysim.estimate.discs import disc_means
from raysim.estimate.face_sides import Sites, judged_sites
from raysim.scene.build import BuiltScene
from raysim.scene.triangles import SIDES
from raysim.studies.asked import checked, in_one_pose, within
from raysim.studies.shadows.folds import fold_words
from raysim.studies.shadows.patches import (
    Close,
    DarkPatch,
    Sight,
    Thing,
    close_before,
    dark_patches,
    median_irradiance,
    sights,
    things,
)
from raysim.studies.shadows.remedies import PATCH_PATHS, Tried, patch_batches, what_helps
from raysim.transport.options import RunOptions

PHOTONS = 4_000_000
MOST_PATCHES = 12


@dataclass(frozen=True)
class Shadow(Figures):
    """One dark patch in the cautious case.

    Attributes
    ----------
    place : str
        Where to find it, in words.
    irradiance, error : float
        Mean over the patch and its standard error, W/m2.
    extra_time : float
        Seconds beyond those that the median spot needs; inf if no light comes at all.
    dark : bool
        Whether it was found too dark to wait for.
    close : Close or None
        What lies right before it.
    things : dict
        What the names of `sights` and `close` stand for; lamps are not in it.
    """

    patch: DarkPatch
    place: str
    irradiance: float
    error: float
    extra_time: float
    dark: bool
    sights: tuple[Sight, ...]
    close: Close | None = None
    things: dict[str, Thing] = field(default_factory=dict)

    @property
    def seen(self) -> float:
        """Share of all lamps seen directly, 0 to 1 (definition: mean over the lamps)."""
        return float(np.mean([sight.seen for sight in self.sights]))

    @property
    def hiding(self) -> dict[str, float]:
        """What hides the lamps, as a share of all sight lines, the largest first."""
        total: dict[str, float] = {}
        for sight in self.sights:
            for name, share in sight.hidden.items():
                total[name] = total.get(name, 0.0) + share / len(self.sights)
        return dict(sorted(total.items(), key=lambda item: -item[1]))


@dataclass(frozen=True)
class ShadowStudy(Figures):
    """Dark patches of a scene, the darkest first, and what helps the first few of them.

    They are those of `result`.
    """

    result: Result
    seed: int
    limit: float  # W/m2
    median: float  # W/m2
    shadows: tuple[Shadow, ...]
    left_out: int  # patches beyond the most that are shown
    dark_area: float  # m2, of all patches
    tried: tuple[Tried, ...]  # for as many of the darkest patches as were asked for


def study(
    scene: BuiltScene,
    *,
    share: float = 0.5,
    smallest: float = 0.25e-4,
    patches: int = 1,
    photons: int = PHOTONS,
    pose: str | None = None,
    options: RunOptions | None = None,
) -> ShadowStudy:
    """Dark patches of a scene in the cautious case, looked at closely.

    Parameters
    ----------
    scene : BuiltScene
    share : float
        Spots below this share of the median of the judged area are dark, and those that are too
        dark to wait for.
    smallest : float
        Smallest patch, m2.
    patches : int
        For how many of the darkest patches changes are tried.
    photons : int
        From the lamps; they find the patches.
    pose : str, optional
        Which one of several; default the first.
    options : RunOptions, optional

    Raises
    ------
    RaysimError
        No scene, a pose that is not there, or numbers out of range.

    >>> import raysim
    >>> scene = raysim.load_scene("scenes/folded_shut.toml")
    >>> found = study(scene, photons=1, patches=0)  # few photons: quick and noisy
    >>> found.shadows[0].place.startswith("folded shut")
    True
    >>> found.shadows[0].irradiance < 0.5 * found.median  # W/m2
    True
    """
    options = checked(options)
    within("share", share, 0.0, 1.0)
    within("smallest", smallest, 0.0, math.inf)
    within("patches", patches, 0, MOST_PATCHES)
    scene = in_one_pose(scene, pose)
    result = simulate(
        scene,
        seed=options.seed,
        photons=photons,
        threads=options.threads,
        progress=options.progress,
    )
    return shadows_of(scene, result, options, share=share, smallest=smallest, patches=patches)


def shadows_of(
    scene: BuiltScene,
    result: Result,
    options: RunOptions,
    *,
    share: float,
    smallest: float,
    patches: int,
) -> ShadowStudy:
    """Dark patches of a result of a scene; the rest as in `study`."""
    triangles, sites = scene.triangles, judged_sites(scene.triangles)
    field = smoothed_irradiance(result, sites)
    median = median_irradiance(field[sites.faces, sites.sides], sites)
    # Where half of the surface is dark, what is too dark to wait for is dark all the same.
    limit = max(share * median, result.requirement.week_irradiance)
    found = dark_patches(triangles, field, limit, smallest)
    looked = []
    for patch, mean, error in _patch_light(scene, found, options.seed, options.threads):
        if mean - 2.0 * error < limit:  # the rest only looked dark by the noise of the counts
            looked.append((mean, error, patch))
    looked.sort(key=lambda row: row[0])
    shadows = []
    for mean, error, patch in looked[:MOST_PATCHES]:
        shadows.append(_shadow(scene, result, patch, (mean, error), median))
        options.progress("looking for what hides the dark spots", len(shadows), len(looked))
    tried = tuple(
        what_helps(
            scene,
            shadow.patch,
            options,
            paths=CLOSE_PATHS if shadow.dark else PATCH_PATHS,
        )
        for shadow in shadows[:patches]
    )
    return ShadowStudy(
        result=result,
        seed=options.seed,
        limit=limit,
        median=median,
        shadows=tuple(shadows),
        left_out=max(len(looked) - MOST_PATCHES, 0),
        dark_area=float(sum(row[2].area for row in looked)),
        tried=tried,
    )


def _patch_light(
    scene: BuiltScene, patches: list[DarkPatch], seed: int, threads: int
) -> list[tuple[DarkPatch, float, float]]:
    """Each patch with its cautious irradiance and standard error, W/m2.

    Those that look too dark to wait for get paths enough to tell.
    """
    week_irradiance = requirement_of(scene.written).week_irradiance
    mean, error = batch_mean(patch_batches(scene, patches, seed, threads))
    dim = np.flatnonzero(seems_dark(mean, error, week_irradiance))
    for number in dim:
        batches = patch_batches(scene, [patches[number]], seed, threads, CLOSE_PATHS)
        (mean[number],), (error[number],) = batch_mean(batches)
    return list(zip(patches, mean.tolist(), error.tolist(), strict=True))


def smoothed_irradiance(result: Result, sites: Sites) -> np.ndarray:
    """Cautious irradiance as the mean over 1 cm2 about each judged face-side, (faces, 2), W/m2.

    Counts of single faces are too noisy to draw the edge of a patch by.
    """
    field = result.cases[CAUTIOUS].irradiance.copy()
    at = (sites.faces, sites.sides)
    field[at] = disc_means(field[at], sites.areas, sites.owner, sites.member)
    return field


def _extra_time(own: float, usual: float) -> float:
    """Seconds that a patch takes longer than the median; inf where it never gets its dose."""
    return max(own - usual, 0.0) if math.isfinite(own) else math.inf


def _shadow(
    scene: BuiltScene,
    result: Result,
    patch: DarkPatch,
    light: tuple[float, float],
    median: float,
) -> Shadow:
    triangles = scene.triangles
    asked = result.requirement
    part = triangles.parts[triangles.face_part[patch.faces[0]]].name
    words = [triangles.bodies[patch.body].name, part, SIDES[patch.side]]
    words.append(place_words(triangles, patch.body, patch.centroid))
    words.append(fold_words(triangles, patch.body, patch.centroid))
    return Shadow(
        patch=patch,
        place=", ".join(word for word in words if word),
        irradiance=light[0],
        error=light[1],
        extra_time=_extra_time(asked.time(light[0]), asked.time(median)),
        dark=bool(
            seems_dark(np.array(light[0]), np.array(light[1]), asked.week_irradiance, DARK_ERRORS)
        ),
        sights=sights(triangles, patch),
        close=close_before(triangles, patch),
        things=things(triangles),
    )
