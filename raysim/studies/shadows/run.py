"""Which spots stay dark, what hides them, and what helps: changes are traced, not guessed."""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.figures import Figures
from raysim.dose.judge import place_words
from raysim.dose.result import Result, Spot
from raysim.dose.simulate import simulate
from raysim.estimate.bounds import batch_mean
from raysim.estimate.darkness import CLOSE_PATHS, DARK_ERRORS
from raysim.estimate.face_sides import Sites, judged_sites, weighted_percentile
from raysim.scene.build import BuiltScene
from raysim.scene.check.touching import set_aside
from raysim.scene.triangles import SIDES
from raysim.studies.asked import checked, in_one_pose, within
from raysim.studies.shadows.folds import fold_words
from raysim.studies.shadows.patches import DarkPatch, dark_patches, patch_of
from raysim.studies.shadows.remedies import PATCH_PATHS, Remedies, patch_batches, what_helps
from raysim.studies.shadows.view import InFront, Sight, Thing, View
from raysim.studies.tracer import Tracer
from raysim.transport.options import RunOptions

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
    worst : Spot or None
        The worst-lit spot of all, which sets the timer, where the patch is that.
    units : str
        Of the scene, in which its place is told.
    in_front : InFront or None
        What lies right before it.
    things : dict
        What the names of `sights` and `in_front` stand for; lamps are not in it.
    """

    patch: DarkPatch
    place: str
    irradiance: float
    error: float
    extra_time: float
    dark: bool
    worst: Spot | None
    units: str
    sights: tuple[Sight, ...]
    in_front: InFront | None
    things: dict[str, Thing]

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
    """Dark patches of a scene, and what helps the first few of them; they are those of `result`.

    The first is the one spot that sets the timer; then come the patches, the darkest first.
    """

    result: Result
    seed: int
    limit: float  # W/m2
    median: float  # W/m2
    shadows: tuple[Shadow, ...]
    left_out: int  # patches beyond the most that are shown
    dark_area: float  # m2, of all patches
    tried: tuple[Remedies, ...]  # for as many of the darkest patches as were asked for


def study(
    scene: BuiltScene,
    *,
    share: float = 0.5,
    smallest: float = 0.25e-4,
    patches: int = 1,
    photons: int | None = None,
    pose: str | None = None,
    options: RunOptions | None = None,
) -> ShadowStudy:
    """Dark patches of a scene in the cautious case, what hides them, and what helps.

    Parameters
    ----------
    share : float
        Spots below this share of the median of the judged area are dark, and those that are too
        dark to wait for.
    smallest : float
        Smallest patch, m2.
    patches : int
        For how many of the darkest patches changes are tried.
    photons : int, optional
        Only so many from the lamps, and no backward paths, to find the patches: a quick look.
        Without it the patches are those of a dose run of this seed, and so is the worst spot.
    pose : str, optional
        Which one of several; default the first.

    Raises
    ------
    RaysimError
        No scene, a pose that is not there, or numbers out of range.

    >>> import raysim
    >>> scene = raysim.load_scene("scenes/folded_shut.toml")
    >>> found = study(scene, photons=1, patches=0)  # few photons: quick and noisy
    >>> found.shadows[1].place.startswith("folded shut")
    True
    >>> found.shadows[1].irradiance < 0.5 * found.median  # W/m2
    True
    """
    options = checked(options)
    within("share", share, 0.0, 1.0)
    within("smallest", smallest, 0.0, math.inf)
    within("patches", patches, 0, MOST_PATCHES)
    scene = set_aside(in_one_pose(scene, pose))
    seed, threads, progress = options.seed, options.threads, options.progress
    result = simulate(scene, seed=seed, photons=photons, threads=threads, progress=progress)
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
    sites = judged_sites(result.triangles)
    field = smoothed_irradiance(result, sites)
    median = weighted_percentile(field[sites.faces, sites.sides], sites.areas, 0.5)
    # Where half of the surface is dark, what is too dark to wait for is dark all the same.
    limit = max(share * median, result.requirement.week_irradiance)
    found = dark_patches(result.triangles, field, limit, smallest)
    looked = [
        (patch, light)
        for patch, light in zip(found, _patch_light(scene, found, options), strict=True)
        if light.mean - 2.0 * light.error < limit  # the rest only looked dark by photon noise
    ]
    looked.sort(key=lambda row: row[1].mean)
    worst = result.cases[CAUTIOUS].worst
    shown = [_worst_spot(scene, result, options), *looked]
    shadows: list[Shadow] = []
    for patch, light in shown[: 1 + MOST_PATCHES]:
        shadows.append(_shadow(result, patch, light, median, None if shadows else worst))
        options.progress("looking for what hides the dark spots", len(shadows), len(shown))
    tried = tuple(
        what_helps(scene, one.patch, options, paths=CLOSE_PATHS if one.dark else PATCH_PATHS)
        for one in shadows[:patches]
    )
    return ShadowStudy(
        result=result,
        seed=options.seed,
        limit=limit,
        median=median,
        shadows=tuple(shadows),
        left_out=max(len(looked) - MOST_PATCHES, 0),
        dark_area=float(sum(patch.area for patch, _ in looked)),
        tried=tried,
    )


class _Light(NamedTuple):
    """Cautious irradiance of a patch and its standard error, W/m2; whether it is too dark."""

    mean: float
    error: float
    dark: bool


def _patch_light(scene: BuiltScene, patches: list[DarkPatch], options: RunOptions) -> list[_Light]:
    """Light on each patch; those that seem too dark to wait for get paths enough to tell."""
    tracer = Tracer(scene, options)
    mean, error = batch_mean(patch_batches(scene, patches, options))
    for number in np.flatnonzero(tracer.seems_dark(mean, error)):
        batches = patch_batches(scene, [patches[number]], options, CLOSE_PATHS)
        (mean[number],), (error[number],) = batch_mean(batches)
    dark = tracer.seems_dark(mean, error, DARK_ERRORS)
    lights = zip(mean.tolist(), error.tolist(), dark.tolist(), strict=True)
    return [_Light(*light) for light in lights]


def _worst_spot(scene: BuiltScene, result: Result, options: RunOptions) -> tuple[DarkPatch, _Light]:
    """The spot that sets the timer; its light as the result has it, where it was settled there."""
    worst = result.cases[CAUTIOUS].worst
    spot = patch_of(result.triangles, np.array([worst.face]), SIDES.index(worst.side))
    (light,) = _patch_light(scene, [spot], options)
    if result.precision_asked is not None and not light.dark:
        light = _Light(worst.irradiance, worst.standard_error, dark=False)
    return spot, light


def smoothed_irradiance(result: Result, sites: Sites) -> np.ndarray:
    """Cautious irradiance as the mean over 1 cm2 about each judged face-side, (faces, 2), W/m2.

    Counts of single faces are too noisy to draw the edge of a patch by.
    """
    field = result.cases[CAUTIOUS].irradiance.copy()
    at = (sites.faces, sites.sides)
    field[at] = sites.patches.means(field[at])
    return field


def _shadow(
    result: Result, patch: DarkPatch, light: _Light, median: float, worst: Spot | None
) -> Shadow:
    triangles, time = result.triangles, result.requirement.time
    part = triangles.parts[triangles.face_part[patch.faces[0]]].name
    words = [triangles.bodies[patch.body].name, part, SIDES[patch.side]]
    words.append(place_words(triangles, patch.body, patch.centroid))
    words.append(fold_words(triangles, patch.body, patch.centroid))
    own, view = time(light.mean), View(triangles, patch)
    return Shadow(
        patch=patch,
        place=", ".join(word for word in words if word),
        irradiance=light.mean,
        error=light.error,
        extra_time=max(own - time(median), 0.0) if math.isfinite(own) else math.inf,
        dark=light.dark,
        worst=worst,
        units=triangles.units,
        sights=view.sights(),
        in_front=view.in_front(),
        things=view.things(),
    )
