"""From irradiance per face-side to the worst spot, its bound and the exposure time."""

from dataclasses import dataclass, replace

import numpy as np

from raysim.dose.exposure import Requirement
from raysim.dose.result import CaseResult, DoseSummary, EnergyAccount, Spot
from raysim.estimate.face_sides import GUESS_ERRORS, Estimate, Sites, upper_end, weighted_percentile
from raysim.scene.sides import sides_of
from raysim.scene.triangles import SIDES, SceneTriangles

# The same where one spot is named of thousands: some of them lie two errors low by chance.
NAMED_ERRORS = 4.0
UNSETTLED = 0.5  # a bound below so much of that of the worst known one was given up, not reached


@dataclass(frozen=True)
class CaseEstimate(Estimate):
    """The same, and in `even` what equal effort everywhere found: for means over many."""

    even: np.ndarray


def place_words(triangles: SceneTriangles, body: int, point: np.ndarray) -> str:
    """Where on a body a point (m) lies, in words: height, side and depth."""
    corners = triangles.corners_of(body).reshape(-1, 3)
    low, high = corners.min(axis=0), corners.max(axis=0)
    share = (point - low) / np.maximum(high - low, 1e-9)
    words, sides = [], sides_of(triangles).things
    for axis in (2, 0, 1):
        first, last = sides[axis]
        if share[axis] < 1 / 3:
            words.append(first)
        elif share[axis] > 2 / 3:
            words.append(last)
    return ", ".join(words) if words else "middle"


def spot(
    triangles: SceneTriangles, face: int, side: int, light: tuple[float, float, float]
) -> Spot:
    """Record of one face-side; `light` is its irradiance, standard error and bound, W/m2."""
    part = triangles.parts[triangles.face_part[face]]
    centroid = triangles.corners[face].mean(axis=0)
    irradiance, error, bound = light
    return Spot(
        object=triangles.bodies[part.body].name,
        part=part.name,
        side=SIDES[side],
        face=int(face),
        centroid=centroid,
        place=place_words(triangles, part.body, centroid),
        irradiance=float(irradiance),
        standard_error=float(error),
        lower_bound=float(bound),
        units=triangles.units,
    )


def site_spot(
    triangles: SceneTriangles, sites: Sites, site: int, light: tuple[np.ndarray, ...]
) -> Spot:
    """Record of one site; `light` are irradiance, standard error and bound of all, (sites,)."""
    mean, error, bound = (float(values[site]) for values in light)
    return spot(triangles, sites.faces[site], sites.sides[site], (mean, error, bound))


def _named_worst(
    taken: np.ndarray,
    lower: np.ndarray,
    sure: np.ndarray,
    bodies: np.ndarray,
    week_irradiance: float,
) -> tuple[int, dict[int, int]]:
    """The site that is named the worst of all, and that of each body, from arrays (sites,).

    Where some are known to get less than `week_irradiance` (W/m2), it is one of these; else one of
    those that can be vouched for no light at all; else one of the sure, or of those that are darker
    for certain and that the run ended too early to know well.
    """
    ways = (taken < week_irradiance, lower <= 0.0, sure)
    known = next((k for k in ways if k.any()), np.ones_like(sure))
    least = lower[known].min()
    known = known | ((taken < least) & (lower < UNSETTLED * least))
    darkest = int(np.where(known, taken, np.inf).argmin())
    of_body = {}
    for body in dict.fromkeys(bodies.tolist()):
        own = np.flatnonzero(bodies == body)
        of_body[body] = int(own[taken[own].argmin()])
    of_body[int(bodies[darkest])] = darkest
    return darkest, of_body


@dataclass(frozen=True)
class _Light:
    """Irradiance of the judged face-sides and of the 1 cm2 about each, W/m2; all (sites,)."""

    values: np.ndarray
    errors: np.ndarray
    lower: np.ndarray
    even: np.ndarray
    discs: np.ndarray
    discs_errors: np.ndarray

    @classmethod
    def on(cls, sites: Sites, estimate: CaseEstimate) -> "_Light":
        at = (sites.faces, sites.sides)
        values, errors = estimate.irradiance[at], estimate.standard_error[at]
        discs = sites.patches.means(values), sites.patches.errors(errors)
        return cls(values, errors, estimate.lower_bound[at], estimate.even[at], *discs)

    def best(self, own: np.ndarray, bright: np.ndarray) -> tuple[int, float, float]:
        """Unit of `own` that is best-lit, its irradiance and error; `bright` as in `judge_case`."""
        lit = own[bright[own]]
        if len(lit):
            site, light, error = lit[self.values[lit].argmax()], self.values, self.errors
        else:
            light, error = self.discs, self.discs_errors
            site = own[(light - GUESS_ERRORS * error)[own].argmax()]
        return int(site), float(light[site]), float(error[site])

    def darkest_disc(self, own: np.ndarray) -> float:
        """Mean over the darkest 1 cm2 of `own`; none is known for sure."""
        nobody = np.zeros(len(own), bool)
        taken = upper_end(self.discs[own], self.discs_errors[own], nobody)
        return float(self.discs[own[taken.argmin()]])


def judge_case(
    triangles: SceneTriangles,
    sites: Sites,
    estimate: CaseEstimate,
    requirement: Requirement,
    *,
    name: str,
    lamp_factor: float,
    sure: np.ndarray,
    bright: np.ndarray,
    energy: EnergyAccount,
) -> CaseResult:
    """Everything reported of one case.

    `sure` (sites,) bool marks the face-sides that are known as well as asked, among which the
    worst is named; `bright` (sites,) bool those known well enough to be named the best-lit. Where
    there is none, 1 cm2 stands for it: the brightest of many noisy faces would show the noise.
    """
    light = _Light.on(sites, estimate)
    taken = upper_end(light.values, light.errors, sure, NAMED_ERRORS)
    everyone = np.arange(len(taken))
    best_site, best_light, best_error = light.best(everyone, bright)

    def spot_of(site: int) -> Spot:
        return site_spot(triangles, sites, site, (light.values, light.errors, light.lower))

    def summary(title: str, own: np.ndarray, darkest: int) -> DoseSummary:
        areas, values = sites.areas[own], light.values[own]
        return DoseSummary(
            name=title,
            area_m2=float(areas.sum()),
            worst=float(light.values[darkest]),
            bound=float(light.lower[own].min()),
            worst_1cm2=light.darkest_disc(own),
            percentile_1=weighted_percentile(values, areas, 0.01),
            percentile_5=weighted_percentile(values, areas, 0.05),
            mean=float((light.even[own] * areas).sum() / areas.sum()),
            best=min(light.best(own, bright)[1], best_light),
        )

    darkest_of_all, darkest = _named_worst(
        taken, light.lower, sure, sites.bodies, requirement.week_irradiance
    )
    worst = spot_of(darkest_of_all)
    bound = float(light.lower.min())
    return CaseResult(
        name=name,
        lamp_factor=lamp_factor,
        irradiance=estimate.irradiance,
        standard_error=estimate.standard_error,
        worst=worst,
        best=replace(spot_of(best_site), irradiance=best_light, standard_error=best_error),
        bound=bound,
        exposure_time=requirement.time(bound),
        precision=1.0 - bound / worst.irradiance if worst.irradiance > 0.0 else 1.0,
        summary=summary("all judged faces", everyone, darkest_of_all),
        per_object=tuple(
            summary(triangles.bodies[body].name, np.flatnonzero(sites.bodies == body), site)
            for body, site in darkest.items()
        ),
        worst_per_object=tuple(spot_of(site) for site in darkest.values()),
        energy=energy,
        worst_per_part=tuple(spot_of(site) for site in _darkest_of_parts(triangles, sites, taken)),
    )


def _darkest_of_parts(triangles: SceneTriangles, sites: Sites, taken: np.ndarray) -> list[int]:
    """The darkest site of each part of each body, by `taken` (sites,), W/m2; darkest first."""
    names = [part.name.casefold() for part in triangles.parts]
    kinds = {name: number for number, name in enumerate(dict.fromkeys(names))}
    kind = np.array([kinds[name] for name in names])[triangles.face_part[sites.faces]]
    order = np.argsort(taken, kind="stable")
    _, first = np.unique((sites.bodies * len(kinds) + kind)[order], return_index=True)
    return [int(site) for site in order[np.sort(first)]]
