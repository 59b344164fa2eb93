"""What helps a dark patch: changes of the scene that are traced, not guessed."""

from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

import numpy as np

from raysim.base.errors import Fault, Level, RaysimError
from raysim.base.fault_codes import Code
from raysim.base.figures import Figures
from raysim.estimate.bounds import batch_mean
from raysim.estimate.darkness import DARK_ERRORS
from raysim.scene.build import BuiltScene, build_scene
from raysim.scene.check.contact import contact_faults
from raysim.scene.file.written import SceneAsWritten
from raysim.scene.sides import Sides, sides_of
from raysim.studies.shadows.extra_lamp import lamp_places
from raysim.studies.shadows.patches import DarkPatch
from raysim.studies.tracer import Tracer
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.options import RunOptions
from raysim.transport.starts import Start
from raysim.transport.streams import PATCHES

PATCH_PATHS = 96  # per batch, for each patch
TURNS = (30.0, -30.0, 90.0, -90.0, 180.0)  # degrees about the vertical
MOVES = (0.04, -0.04)  # m along x and along y
LININGS = ("aluminium foil, bright side", "expanded PTFE sheet, 0.5 mm or more")
CUTS = (Code.CUTS_WALL, Code.CUTS_OTHER)
MOST_LAMPS = 2  # places for a lamp more that are traced: those that the patch sees best
Change = tuple[str, SceneAsWritten]  # in words, and the scene with it


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
class Remedies:
    """What was tried for one patch: what helps most first, and the changes that do not fit."""

    remedies: tuple[Remedy, ...]
    skipped: tuple[str, ...]


def patch_batches(
    scene: BuiltScene, patches: list[DarkPatch], options: RunOptions, paths: int = PATCH_PATHS
) -> np.ndarray:
    """Cautious irradiance of whole patches by batch, W/m2, (patches, batches).

    `paths` per batch, for each patch.
    """
    if not patches:
        return np.zeros((0, 2))
    starts = [
        Start(PATCHES.first + k, tuple(p.faces.tolist()), (p.side,) * len(p.faces))
        for k, p in enumerate(patches)
    ]
    triangles, tracer = scene.triangles, Tracer(scene, options)
    return tracer.batches(kernel_scene(triangles), triangles, starts, paths, options.seed)[0]


def what_helps(
    scene: BuiltScene, patch: DarkPatch, options: RunOptions, *, paths: int = PATCH_PATHS
) -> Remedies:
    """Every change that fits, traced with the random numbers of the patch as it is."""
    # The patch by itself, so that it has the same random numbers before and after.
    before = patch_batches(scene, [patch], options, paths)[0]
    name = scene.triangles.bodies[patch.body].name
    known = set(contact_faults(scene))
    changes = [
        *_changes(scene.written, name, sides_of(scene.triangles)),
        *_lamps_more(scene, patch, known),
    ]
    tracer = Tracer(scene, options)
    remedies, skipped = [], []
    for number, (what, written) in enumerate(changes):
        options.progress("trying what helps", number, len(changes))
        changed = _changed(scene, patch, written, known)
        if changed is None:
            skipped.append(what)
            continue
        after = patch_batches(changed[0], [changed[1]], options, paths)
        mean, error = batch_mean(after)
        dark = bool(tracer.seems_dark(mean, error, DARK_ERRORS)[0])
        gain = _gain(before, after[0])
        remedies.append(Remedy(what, float(mean[0]), float(error[0]), *gain, dark))
    return Remedies(tuple(sorted(remedies, key=lambda remedy: -remedy.gain)), tuple(skipped))


def _lamps_more(scene: BuiltScene, patch: DarkPatch, known: set[Fault]) -> list[Change]:
    """The places for one lamp more that fit and that the patch sees best."""
    lamps = scene.written.lamp
    changes = (
        (place.words, scene.written.model_copy(update={"lamp": [*lamps, place.lamp]}))
        for place in lamp_places(scene, patch)
    )
    fitting = (change for change in changes if _changed(scene, patch, change[1], known))
    return list(islice(fitting, MOST_LAMPS))


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


def _changes(written: SceneAsWritten, name: str, sides: Sides) -> list[Change]:
    """Changes to try for the object of that name; a hook at the same place moves along."""

    def with_keys(names: list[str], **keys: Any) -> SceneAsWritten:
        objects = [
            one.model_copy(update=keys) if one.name in names else one for one in written.object
        ]
        return written.model_copy(update={"object": objects})

    entry = next(one for one in written.object if one.name == name)
    changes = []
    a, b, c = entry.turn
    for turn in TURNS:
        what = f"turn {name} by {turn:+.0f}° about the vertical"
        changes.append((what, with_keys([name], turn=(a, b, c + turn))))
    hung = [one.name for one in written.object if one.at == entry.at and not one.judged]
    for axis, ways in enumerate(sides.ways[:2]):
        for step in MOVES:
            at = list(entry.at)
            at[axis] += step
            what = f"move {name} {1000 * abs(step):.0f} mm {ways[step > 0.0]}"
            changes.append((what, with_keys([name, *hung], at=tuple(at))))
    for lining in LININGS:
        chamber = written.chamber.model_copy(update={"lining": lining, "walls": {}})
        changed = written.model_copy(update={"chamber": chamber})
        changes.append((f"line all walls with {lining}", changed))
    return changes


def _changed(
    scene: BuiltScene, patch: DarkPatch, written: SceneAsWritten, known: set[Fault]
) -> tuple[BuiltScene, DarkPatch] | None:
    """A changed scene and the patch in it; None where it does not fit.

    That is where anything lies outside the box or cuts into another that did not before; `known`
    are the faults of contact that were there.
    """
    try:
        changed = build_scene(scene.path, written)
    except RaysimError:
        return None
    old, new = (one.triangles.faces_of(patch.body) for one in (scene, changed))
    trouble = (
        fault.level is Level.ERROR or fault.code in CUTS
        for fault in contact_faults(changed)
        if fault not in known
    )
    if len(old) != len(new) or any(trouble):
        return None
    return changed, replace(patch, faces=patch.faces - old[0] + new[0])
