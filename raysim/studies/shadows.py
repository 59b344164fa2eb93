"""Which spots stay dark, what hides them, and what helps: changes are traced, not guessed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from raysim.behaviour import lamp_factors
from raysim.errors import Level, RaysimError
from raysim.exposure import exposure_time
from raysim.judge import Judged, judged_units, place_words
from raysim.patches import disc_means
from raysim.result import CAUTIOUS, Result
from raysim.scene.build import BuiltScene, build_scene
from raysim.scene.contact import contact_faults
from raysim.scene.triangles import SIDES
from raysim.statistics import batch_mean
from raysim.studies.patches_dark import (
    DarkPatch,
    Sight,
    dark_patches,
    median_irradiance,
    sights,
)
from raysim.tracing import AdjointRun, Progress, Target, default_threads, kernel_scene

PATCH_STREAM = 3 << 30  # above the streams of face-sides and meters
PATCH_PATHS = 96  # per batch, for each patch
MOST_PATCHES = 12
TURNS = (30.0, -30.0, 90.0, -90.0, 180.0)  # degrees about the vertical
MOVES = (0.04, -0.04)  # m along x and along y
LININGS = ("aluminium foil, bright side", "expanded PTFE sheet, 0.5 mm or more")


@dataclass(frozen=True)
class Shadow:
    """One dark patch in the cautious case.

    Attributes
    ----------
    place : str
        Where to find it, in words.
    irradiance, error : float
        Mean over the patch and its standard error, W/m2.
    extra_time : float
        Seconds beyond those that the median spot needs; inf if no light comes at all.
    """

    patch: DarkPatch
    place: str
    irradiance: float
    error: float
    extra_time: float
    sights: tuple[Sight, ...]

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
class Remedy:
    """A change that was traced: irradiance of the patch after it, W/m2, and the gain.

    `gain_error` comes from the same random numbers before and after; `clear` says whether the
    change helps or harms beyond its noise.
    """

    what: str
    irradiance: float
    error: float
    gain: float
    gain_error: float

    @property
    def clear(self) -> bool:
        """Whether the gain differs from 1 by more than three of its errors."""
        return abs(self.gain - 1.0) > 3.0 * self.gain_error


@dataclass(frozen=True)
class ShadowStudy:
    """Dark patches of a scene, the darkest first, and what helps the first of them."""

    limit: float  # W/m2
    median: float  # W/m2
    shadows: tuple[Shadow, ...]
    left_out: int  # patches beyond the most that are shown
    dark_area: float  # m2, of all patches
    remedies: tuple[Remedy, ...]
    skipped: tuple[str, ...]  # changes that do not fit in the box


def find_shadows(
    scene: BuiltScene,
    result: Result,
    *,
    share: float,
    smallest: float,
    seed: int,
    threads: int | None,
    progress: Progress,
) -> ShadowStudy:
    """Dark patches of the cautious case of a result, looked at closely.

    Parameters
    ----------
    share : float
        Spots below this share of the median of the judged area are dark.
    smallest : float
        Smallest patch, m2.
    """
    triangles, units = scene.triangles, judged_units(scene.triangles)
    field = smoothed_irradiance(result, units)
    median = median_irradiance(field[units.faces, units.sides], units)
    limit = share * median
    patches = dark_patches(triangles, field, limit, smallest)
    batches = patch_batches(scene, patches, seed, threads or default_threads())
    looked = []
    for number, patch in enumerate(patches):
        mean, error = (float(v[0]) for v in batch_mean(batches[number][None]))
        if mean - 2.0 * error < limit:  # the rest only looked dark by the noise of the counts
            looked.append((mean, error, patch, number))
    looked.sort(key=lambda row: row[0])
    shadows = []
    for mean, error, patch, _ in looked[:MOST_PATCHES]:
        shadows.append(_shadow(scene, result, patch, (mean, error), median))
        progress("looking for what hides the dark spots", len(shadows), len(looked))
    remedies: list[Remedy] = []
    skipped: list[str] = []
    if shadows:
        # The patch by itself, so that it has the same random numbers before and after.
        before = patch_batches(scene, [shadows[0].patch], seed, threads or default_threads())[0]
        remedies, skipped = _remedies(scene, shadows[0].patch, before, seed, threads, progress)
    return ShadowStudy(
        limit=limit,
        median=median,
        shadows=tuple(shadows),
        left_out=max(len(looked) - MOST_PATCHES, 0),
        dark_area=float(sum(row[2].area for row in looked)),
        remedies=tuple(sorted(remedies, key=lambda remedy: -remedy.gain)),
        skipped=tuple(skipped),
    )


def smoothed_irradiance(result: Result, units: Judged) -> np.ndarray:
    """Cautious irradiance as the mean over 1 cm2 about each judged face-side, (faces, 2), W/m2.

    Counts of single faces are too noisy to draw the edge of a patch by.
    """
    field = result.cases[CAUTIOUS].irradiance.copy()
    at = (units.faces, units.sides)
    field[at] = disc_means(field[at], units.areas, units.owner, units.member)
    return field


def patch_batches(
    scene: BuiltScene, patches: Sequence[DarkPatch], seed: int, threads: int
) -> np.ndarray:
    """Cautious irradiance of whole patches by batch, W/m2, (patches, batches)."""
    if not patches:
        return np.zeros((0, 2))
    arrays = kernel_scene(scene.triangles)
    run = AdjointRun(arrays, scene.triangles, seed, threads, cases=slice(0, 1))
    run.add_targets(
        [
            Target(PATCH_STREAM + k, tuple(p.faces.tolist()), (p.side,) * len(p.faces))
            for k, p in enumerate(patches)
        ]
    )
    everyone = np.arange(len(patches))
    run.add_paths(everyone, np.full(len(patches), PATCH_PATHS))
    hours = [lamp.hours for lamp in scene.triangles.lamps]
    factors = lamp_factors(hours, scene.written.lamps_behaviour)[CAUTIOUS]
    return np.asarray(run.batch_irradiance(everyone)[..., 0] @ factors)


def _shadow(
    scene: BuiltScene,
    result: Result,
    patch: DarkPatch,
    light: tuple[float, float],
    median: float,
) -> Shadow:
    triangles = scene.triangles
    asked = (result.target_dose, result.safety_factor, result.warm_up)
    part = triangles.parts[triangles.face_part[patch.faces[0]]].name
    words = [triangles.bodies[patch.body].name, part, SIDES[patch.side]]
    words.append(place_words(triangles, patch.body, patch.centroid))
    return Shadow(
        patch=patch,
        place=", ".join(word for word in words if word),
        irradiance=light[0],
        error=light[1],
        extra_time=exposure_time(light[0], *asked) - exposure_time(median, *asked),
        sights=sights(triangles, patch),
    )


def _remedies(
    scene: BuiltScene,
    patch: DarkPatch,
    before: np.ndarray,
    seed: int,
    threads: int | None,
    progress: Progress,
) -> tuple[list[Remedy], list[str]]:
    """Every change that fits, traced with the random numbers of the patch as it is."""
    name = scene.triangles.bodies[patch.body].name
    changes = list(_changes(scene, name))
    remedies, skipped = [], []
    for number, (what, change) in enumerate(changes):
        progress("trying what helps", number, len(changes))
        after = _traced_change(scene, patch, change, seed, threads or default_threads())
        if after is None:
            skipped.append(what)
            continue
        mean, error = (float(value[0]) for value in batch_mean(after[None]))
        gain, gain_error = _gain(before, after)
        remedies.append(Remedy(what, mean, error, gain, gain_error))
    return remedies, skipped


def _gain(before: np.ndarray, after: np.ndarray) -> tuple[float, float]:
    """Irradiance after over before, and its standard error, from paired batches (batches,).

    Source: error of a ratio by its linear part, e.g. Cochran, "Sampling Techniques", ch. 6.
    """
    base, then = float(before.mean()), float(after.mean())
    if base <= 0.0:
        return (np.inf if then > 0.0 else 1.0), 0.0
    gain = then / base
    off = (after - gain * before) / base
    return gain, float(off.std(ddof=1) / np.sqrt(len(off)))


def _changes(scene: BuiltScene, name: str) -> list[tuple[str, Callable[[], BuiltScene]]]:
    """Changes to try, in words, and how to make each; a hook at the same place moves along."""
    entry = next(one for one in scene.written.object if one.name == name)
    changes = []
    for turn in TURNS:
        a, b, c = entry.turn
        change = _with_objects(scene, {name: {"turn": (a, b, c + turn)}})
        changes.append((f"turn {name} by {turn:+.0f}° about the vertical", change))
    hung = [one.name for one in scene.written.object if one.at == entry.at and not one.judged]
    for axis, ways in ((0, ("to the right", "to the left")), (1, ("to the rear", "to the door"))):
        for step in MOVES:
            at = list(entry.at)
            at[axis] += step
            change = _with_objects(scene, dict.fromkeys([name, *hung], {"at": tuple(at)}))
            what = f"move {name} {1000 * abs(step):.0f} mm {ways[step < 0.0]}"
            changes.append((what, change))
    for lining in LININGS:
        chamber = scene.written.chamber.model_copy(update={"lining": lining, "walls": {}})
        written = scene.written.model_copy(update={"chamber": chamber})
        changes.append((f"line all walls with {lining}", partial(build_scene, scene.path, written)))
    return changes


def _with_objects(
    scene: BuiltScene, updates: dict[str, dict[str, tuple[float, ...]]]
) -> Callable[[], BuiltScene]:
    """How to build the scene with some keys of some objects changed."""
    objects = [
        one.model_copy(update=updates[one.name]) if one.name in updates else one
        for one in scene.written.object
    ]
    written = scene.written.model_copy(update={"object": objects})
    return partial(build_scene, scene.path, written)


def _traced_change(
    scene: BuiltScene,
    patch: DarkPatch,
    change: Callable[[], BuiltScene],
    seed: int,
    threads: int,
) -> np.ndarray | None:
    """Irradiance of the patch by batch (batches,) after a change; None where it does not fit."""
    try:
        changed = change()
    except RaysimError:
        return None
    old, new = (one.triangles.faces_of(patch.body) for one in (scene, changed))
    if len(old) != len(new):
        return None
    known = {str(fault) for fault in contact_faults(scene)}
    if any(
        fault.level is Level.ERROR or "cuts" in fault.what
        for fault in contact_faults(changed)
        if str(fault) not in known
    ):
        return None
    same = replace(patch, faces=patch.faces - old[0] + new[0])
    return np.asarray(patch_batches(changed, [same], seed, threads)[0])
