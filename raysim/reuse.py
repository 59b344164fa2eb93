"""How often a respirator may go round: material, straps, donnings, policy; which limit binds."""

import math
from dataclasses import dataclass

import numpy as np

from raysim.library import assumptions
from raysim.result import BRIGHT, Result
from raysim.scene.written import Wear
from raysim.units import J_M2_PER_J_CM2

FACEPIECE, STRAPS = "facepiece", "straps"
STRAP_WORD = "strap"  # in the name of a part


@dataclass(frozen=True)
class PartWear:
    """Best-lit face of one kind of part with new lamps, and its dose per cycle.

    `irradiance` W/m2, `dose` J/m2; for straps both sides of a face are added.
    """

    part: str
    irradiance: float
    dose: float


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

    `tested` is the count of cycles if the material were allowed the lowest dose tried on it.
    """

    cycles: int
    binding: str
    parts: tuple[PartWear, ...]
    limits: tuple[Limit, ...]
    tested: int


def cycles_within(limit: float, dose: float) -> int:
    """Whole cycles of `dose` that fit into `limit`, both J/m2: floor(limit / dose).

    Source: definition; a hair of rounding is forgiven, so that 0.3 / 0.1 is 3.
    """
    if not dose > 0.0:
        raise ValueError("a cycle without dose has no limit")
    return math.floor(limit / dose * (1.0 + 1e-12))


def part_wear(result: Result) -> tuple[PartWear, ...]:
    """Wear of facepieces and straps by the end of the timer; empty without a finite timer.

    Bright case: high end of every reflectance, new lamps at full output. The best-lit place is the
    one with the largest lower end of its error: the largest of many noisy values is mostly noise.
    """
    if not np.isfinite(result.timer):
        return ()
    triangles = result.triangles
    case = result.cases[BRIGHT]
    irradiance = np.where(triangles.judged, case.irradiance, 0.0)
    error = np.where(triangles.judged, case.standard_error, 0.0)
    is_strap = np.array([STRAP_WORD in part.name.casefold() for part in triangles.parts])
    strap = is_strap[triangles.face_part]
    seconds = result.warm_up.effective_seconds(result.timer)
    found = []
    for part, values, errors in (
        (FACEPIECE, irradiance[~strap].ravel(), error[~strap].ravel()),
        (STRAPS, irradiance[strap].sum(axis=1), np.hypot(*error[strap].T)),
    ):
        if len(values) and values.max() > 0.0:
            best = float(values[(values - 2.0 * errors).argmax()])
            found.append(PartWear(part, best, best * seconds))
    return tuple(found)


def reuse(result: Result) -> Reuse | None:
    """Reuse limits of the judged respirators; None without a finite timer.

    N = min(floor(material dose / best-lit face per cycle), donnings, policy), straps apart.

    Source: rule composed of the limits, each with its own source.
    """
    parts = part_wear(result)
    if not parts:
        return None
    wear = result.written.wear if result.written else Wear()
    limits = (*_dose_limits(parts, wear), *_count_limits(wear))
    counted = [limit for limit in limits if limit.cycles is not None]
    binding = min(counted, key=lambda limit: limit.cycles or 0)
    lowest = assumptions()["lowest_tested_material_dose_J_cm2"].value * J_M2_PER_J_CM2
    tested = min(
        *(cycles_within(lowest, part.dose) for part in parts),
        *(limit.cycles or 0 for limit in _count_limits(wear) if limit.cycles is not None),
    )
    return Reuse(binding.cycles or 0, binding.what, parts, limits, tested)


def _dose_limits(parts: tuple[PartWear, ...], wear: Wear) -> list[Limit]:
    limits = []
    for part in parts:
        given = wear.material_dose if part.part == FACEPIECE else wear.strap_dose
        value, source = _value("material_dose_J_cm2", given, J_M2_PER_J_CM2)
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
    donnings, source = _value("donnings_limit", wear.donnings, 1.0)
    limits = [Limit("donnings", f"{donnings:g} donnings", int(donnings), source)]
    if wear.policy_cycles is not None:
        cycles = wear.policy_cycles
        limits.append(Limit("local policy", f"{cycles} cycles", cycles, "given in the scene"))
    return limits


def _value(key: str, given: float | None, scale: float) -> tuple[float, str]:
    if given is not None:
        return float(given), "given in the scene"
    assumption = assumptions()[key]
    return assumption.value * scale, f"{assumption.source} ({assumption.mark})"
