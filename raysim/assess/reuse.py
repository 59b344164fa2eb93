"""How often a respirator may go round: material, straps, donnings, policy; which limit binds."""

import math
from dataclasses import dataclass

import numpy as np

from raysim.base.cases import BRIGHT, EXPECTED
from raysim.base.figures import Figures
from raysim.base.units import J_M2_PER_J_CM2
from raysim.dose.result import Result
from raysim.estimate.discs import PATCH_AREA, discs_about
from raysim.library.assumptions import assumptions
from raysim.scene.file.written import Wear
from raysim.scene.triangles import SceneTriangles

FACEPIECE, STRAPS = "facepiece", "straps"
STRAP_WORD = "strap"  # in the name of a part


@dataclass(frozen=True)
class PartWear(Figures):
    """Best-lit place of one kind of part with new lamps, and its dose per cycle.

    `irradiance` W/m2, `dose` J/m2; for straps both sides are added, and side is None. Light on
    `face` that comes from unevenness alone is `spread`: best-lit over worst-lit, expected case.
    """

    part: str
    irradiance: float
    dose: float
    face: int
    side: int | None
    spread: float


@dataclass(frozen=True)
class Limit:
    """One limit of reuse, as a number of cycles (None where it does not bind), with its source."""

    what: str
    value: str
    cycles: int | None
    source: str


@dataclass(frozen=True)
class Reuse:
    """Cycles a respirator may go through, the limit that binds, and all limits.

    `fit_tested` are the cycles up to which the fit of a facepiece was tested on any model; what
    the limits allow beyond them rests on tests of material alone.
    """

    cycles: int
    binding: str
    parts: tuple[PartWear, ...]
    limits: tuple[Limit, ...]
    fit_tested: int


def cycles_within(limit: float, dose: float) -> int:
    """Whole cycles of `dose` that fit into `limit`, both J/m2: floor(limit / dose).

    Source: definition; a hair of rounding is forgiven, so that 0.3 / 0.1 is 3.
    """
    if not dose > 0.0:
        raise ValueError("a cycle without dose has no limit")
    return math.floor(limit / dose * (1.0 + 1e-12))


def part_wear(result: Result) -> tuple[PartWear, ...]:
    """Wear of facepieces and straps by the end of the timer; empty without a finite timer.

    Bright case: high end of every reflectance, new lamps at full output. Of a facepiece it is the
    best-lit face-side, chosen by the lower end of its error: the largest of many noisy values is
    mostly noise. A run of photons only, or one broken off, has not traced the best-lit spots
    again: then the best-lit square centimetre is taken. Straps, whose faces
    are small and noisier, are judged by square centimetres (or what there is of one across a
    strap), both sides added.
    """
    if not np.isfinite(result.needed):
        return ()
    triangles = result.triangles
    case, expected = result.cases[BRIGHT], result.cases[EXPECTED]
    is_strap = np.array([STRAP_WORD in part.name.casefold() for part in triangles.parts])
    strap = is_strap[triangles.face_part]
    judged = triangles.judged
    seconds = result.warm_up.effective_seconds(result.needed)
    worst = max(expected.worst.irradiance, 1e-300)
    found = []
    shell = np.argwhere(judged & ~strap[:, None])
    if len(shell):
        light, error, usual = _facepiece_light(result, shell)
        row = int((light - 2.0 * error).argmax())
        face, side = map(int, shell[row])
        best, spread = float(light[row]), float(usual[row]) / worst
        found.append(PartWear(FACEPIECE, best, best * seconds, face, side, spread))
    straps = np.flatnonzero(judged.any(axis=1) & strap)
    if len(straps):
        light = strap_light(triangles, straps, np.where(judged, case.irradiance, 0.0))
        row = int(light.argmax())
        usual = strap_light(triangles, straps, np.where(judged, expected.irradiance, 0.0))
        best, spread = float(light[row]), float(usual[row]) / worst
        found.append(PartWear(STRAPS, best, best * seconds, int(straps[row]), None, spread))
    return tuple(part for part in found if part.irradiance > 0.0)


def _facepiece_light(result: Result, shell: np.ndarray) -> tuple[np.ndarray, ...]:
    """Bright irradiance, its error and the expected one (W/m2) of face-sides (units, 2)."""
    faces, sides = shell.T
    case, expected = result.cases[BRIGHT], result.cases[EXPECTED]
    light, error = case.irradiance[faces, sides], case.standard_error[faces, sides]
    usual = expected.irradiance[faces, sides]
    if result.precision_asked is not None and not result.interrupted:
        return light, error, usual
    about = discs_about(result.triangles, faces, sides, PATCH_AREA)
    return about.means(light), about.errors(error), about.means(usual)


def strap_light(triangles: SceneTriangles, faces: np.ndarray, irradiance: np.ndarray) -> np.ndarray:
    """Mean over 1 cm2 around each of some faces of `irradiance` (faces, 2), sides added, W/m2.

    Source: definition, `Discs.means`.
    """
    about = discs_about(triangles, faces, np.zeros(len(faces), int), PATCH_AREA)
    return about.means(irradiance[faces].sum(axis=1))


def reuse(result: Result) -> Reuse | None:
    """Reuse limits of the judged respirators; None without a finite timer.

    N = min(floor(material dose / best-lit face per cycle), cycles, donnings, policy), straps apart.

    Source: rule composed of the limits, each with its own source.
    """
    parts = part_wear(result)
    if not parts:
        return None
    wear = result.written.wear if result.written else Wear()
    limits = (*_dose_limits(parts, wear), *_count_limits(wear))
    counted = [limit for limit in limits if limit.cycles is not None]
    binding = min(counted, key=lambda limit: limit.cycles or 0)
    most = max(part.dose for part in parts if part.part == FACEPIECE or len(parts) == 1)
    tested = assumptions()["fit_tested_dose_J_cm2"].value * J_M2_PER_J_CM2
    return Reuse(binding.cycles or 0, binding.what, parts, limits, cycles_within(tested, most))


def _dose_limits(parts: tuple[PartWear, ...], wear: Wear) -> list[Limit]:
    limits = []
    for part in parts:
        facepiece = part.part == FACEPIECE
        given = wear.material_dose if facepiece else wear.strap_dose
        key = "material_dose_J_cm2" if facepiece else "strap_dose_J_cm2"
        value, source = _value(key, given, J_M2_PER_J_CM2, wear)
        limits.append(
            Limit(
                f"dose on the {part.part}",
                f"{value / J_M2_PER_J_CM2:g} J/cm2",
                cycles_within(value, part.dose),
                source,
            )
        )
    return limits


def _count_limits(wear: Wear) -> list[Limit]:
    donnings, source = _value("donnings_limit", wear.donnings, 1.0, wear)
    limits = [Limit("donnings", f"{donnings:g} donnings", int(donnings), source)]
    cycles, source = _value("cycles_limit", wear.policy_cycles, 1.0, wear)
    what = "cycles" if wear.policy_cycles is None else "local policy"
    return [*limits, Limit(what, f"{cycles:g} cycles", int(cycles), source)]


def _value(key: str, given: float | None, scale: float, wear: Wear) -> tuple[float, str]:
    if given is not None:
        return float(given), _given(wear)
    assumption = assumptions()[key]
    return assumption.value * scale, f"{assumption.source} ({assumption.mark})"


def _given(wear: Wear) -> str:
    return "given in the scene" + (f": {wear.source}" if wear.source else ", without a source")
