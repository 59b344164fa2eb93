"""What helps a dark patch: changes of the scene that are traced, not guessed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.errors import Fault, Level, RaysimError
from raysim.base.fault_codes import Code
from raysim.base.figures import Figures
from raysim.dose.lamp_output import lamp_factors, requirement_of
from raysim.estimate.bounds import batch_mean
from raysim.estimate.darkness import DARK_ERRORS, seems_dark
from raysim.scene.build import BuiltScene, build_scene
from raysim.scene.check.contact import contact_faults
from raysim.studies.shadows.extra_lamp import is_inside, lamp_places
from raysim.studies.shadows.patches import DarkPatch
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.options import RunOptions
from raysim.transport.paths import Start, traced_irradiance
from raysim.transport.streams import PATCHES

PATCH_PATHS = 96  # per batch, for each patch
TURNS = (30.0, -30.0, 90.0, -90.0, 180.0)  # degrees about the vertical
MOVES = (0.04, -0.04)  # m along x and along y
LININGS = ("aluminium foil, bright side", "expanded PTFE sheet, 0.5 mm or more")
CUTS = (Code.CUTS_WALL, Code.CUTS_OTHER)
Change = tuple[str, Callable[[], BuiltScene]]  # in words, and how to build the scene with it
MOST_LAMPS = 2  # places for a lamp more that are traced: those that the patch sees best


@dataclass(frozen=True)
class Remedy(Figures):
    """A change that was traced: irradiance of the patch after it, W/m2, and the gain.

    `gain_error` comes from the same random numbers before and after; `clear` says whether the
    change helps or harms beyond its noise, `dark` that the patch is too dark to wait for after it.
    """

    what: str
    irradiance: float
    error: float
    gain: float
    gain_error: float
    dark: bool = False

    @property
    def clear(self) -> bool:
        """Whether the gain differs from 1 by more than three of its errors."""
        return abs(self.gain - 1.0) > 3.0 * self.gain_error


@dataclass(frozen=True)
class Tried:
    """What was tried for one patch: what helps most first, and the changes that do not fit."""

    remedies: tuple[Remedy, ...]
    skipped: tuple[str, ...]


def patch_batches(
    scene: BuiltScene,
    patches: Sequence[DarkPatch],
    seed: int,
    threads: int,
    paths: int = PATCH_PATHS,
) -> np.ndarray:
    """Cautious irradiance of whole patches by batch, W/m2, (patches, batches).

    `paths` per batch, for each patch.
    """
    if not patches:
        return np.zeros((0, 2))
    arrays = kernel_scene(scene.triangles)
    starts = [
        Start(PATCHES.first + k, tuple(p.faces.tolist()), (p.side,) * len(p.faces))
        for k, p in enumerate(patches)
    ]
    options = RunOptions(seed, threads)
    traced = traced_irradiance(arrays, scene.triangles, starts, paths, options, cases=slice(0, 1))
    hours = [lamp.hours for lamp in scene.triangles.lamps]
    factors = lamp_factors(hours, scene.written.lamps_behaviour)[CAUTIOUS]
    return np.asarray(traced.batches[..., 0] @ factors)


def what_helps(
    scene: BuiltScene, patch: DarkPatch, options: RunOptions, *, paths: int = PATCH_PATHS
) -> Tried:
    """Every change that fits, traced with the random numbers of the patch as it is."""
    week_irradiance = requirement_of(scene.written).week_irradiance
    # The patch by itself, so that it has the same random numbers before and after.
    before = patch_batches(scene, [patch], options.seed, options.threads, paths)[0]
    name = scene.triangles.bodies[patch.body].name
    known = set(contact_faults(scene))
    changes = [*_changes(scene, name), *_lamps_more(scene, patch, known)]
    remedies, skipped = [], []
    for number, (what, change) in enumerate(changes):
        options.progress("trying what helps", number, len(changes))
        after = _traced_change(scene, patch, change, known, (options.seed, options.threads, paths))
        if after is None:
            skipped.append(what)
            continue
        mean, error = (float(value[0]) for value in batch_mean(after[None]))
        gain, gain_error = _gain(before, after)
        dark = bool(seems_dark(np.array(mean), np.array(error), week_irradiance, DARK_ERRORS))
        remedies.append(Remedy(what, mean, error, gain, gain_error, dark))
    return Tried(tuple(sorted(remedies, key=lambda remedy: -remedy.gain)), tuple(skipped))


def _lamps_more(scene: BuiltScene, patch: DarkPatch, known: set[Fault]) -> list[Change]:
    """The places for one lamp more that fit and that the patch sees best."""
    changes: list[Change] = []
    for place in lamp_places(scene, patch):
        if not is_inside(scene.triangles, place):
            continue
        lamps = [*scene.written.lamp, place.lamp]
        change = partial(build_scene, scene.path, scene.written.model_copy(update={"lamp": lamps}))
        if _new_trouble(change(), known):
            continue
        changes.append((place.words, change))
        if len(changes) == MOST_LAMPS:
            break
    return changes


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


def _changes(scene: BuiltScene, name: str) -> list[Change]:
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
    known: set[Fault],
    traced: tuple[int, int, int],
) -> np.ndarray | None:
    """Irradiance of the patch by batch (batches,) after a change; None where it does not fit.

    `known` are the faults of contact that were there before, `traced` is how to trace it: seed,
    threads, paths.
    """
    try:
        changed = change()
    except RaysimError:
        return None
    old, new = (one.triangles.faces_of(patch.body) for one in (scene, changed))
    if len(old) != len(new):
        return None
    if _new_trouble(changed, known):
        return None
    same = replace(patch, faces=patch.faces - old[0] + new[0])
    return np.asarray(patch_batches(changed, [same], *traced)[0])


def _new_trouble(scene: BuiltScene, known: set[Fault]) -> bool:
    """Whether anything lies outside the box or cuts into another that did not before."""
    return any(
        fault.level is Level.ERROR or fault.code in CUTS
        for fault in contact_faults(scene)
        if fault not in known
    )
