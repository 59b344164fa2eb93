"""From irradiance per face-side to the worst spot, its bound and the exposure time."""

from dataclasses import dataclass

import numpy as np

from raysim.exposure import WarmUpCurve, exposure_time
from raysim.patches import PATCH_AREA, disc_means, disc_members
from raysim.result import CaseResult, DoseSummary, EnergyAccount, Spot
from raysim.scene.triangles import SIDES, SceneTriangles
from raysim.tracing import Target


@dataclass(frozen=True)
class Judged:
    """The face-sides that are judged; all (units,).

    `owner` and `member` list the face-sides within 1 cm2 of each (see `disc_members`).
    """

    faces: np.ndarray
    sides: np.ndarray
    areas: np.ndarray
    bodies: np.ndarray
    owner: np.ndarray
    member: np.ndarray

    def target(self, unit: int) -> Target:
        """Where backward paths from one unit start."""
        face, side = int(self.faces[unit]), int(self.sides[unit])
        return Target(2 * face + side, (face,), (side,))

    def averaged(self, mean: np.ndarray, variance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What stands for each judged face-side (..., faces, 2): its own mean and variance."""
        return mean, variance


@dataclass(frozen=True)
class JudgedDiscs(Judged):
    """The discs of some area about each judged face-side, judged in its place.

    `first` (units + 1,) and `within` (members,) list the face-sides of each disc, as rows.
    """

    first: np.ndarray
    within: np.ndarray

    def target(self, unit: int) -> Target:
        """Where backward paths from one disc start: anywhere on it, even by area."""
        own = self.within[self.first[unit] : self.first[unit + 1]]
        lead = Judged.target(self, unit)
        return Target(lead.stream, tuple(self.faces[own].tolist()), tuple(self.sides[own].tolist()))

    def averaged(self, mean: np.ndarray, variance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance over the disc of each judged face-side, (..., faces, 2).

        One photon may count on several faces of a disc, so their errors are taken as if all erred
        together, which is never too small: the error of the mean is the mean of the errors.
        """
        from scipy.sparse import csr_array

        count = len(self.faces)
        share = csr_array((self.areas[self.within], self.within, self.first), (count, count))
        whole = share.sum(axis=1)
        at = (..., self.faces, self.sides)
        found = []
        for field in (mean, np.sqrt(variance)):
            rows = field[at].reshape(-1, count)
            smooth = field.copy()
            smooth[at] = ((share @ rows.T).T / whole).reshape(field[at].shape)
            found.append(smooth)
        return found[0], found[1] ** 2


@dataclass(frozen=True)
class Estimate:
    """Irradiance of one case, W/m2; all (faces, 2) float64."""

    irradiance: np.ndarray
    standard_error: np.ndarray
    lower_bound: np.ndarray


def judged_units(triangles: SceneTriangles, area: float | None = None) -> Judged:
    """Judged face-sides of a scene, and the 1 cm2 around each; or discs of `area` (m2) instead.

    The 1 cm2 about a disc is the disc itself where that is no smaller.
    """
    faces, sides = np.nonzero(triangles.judged)
    owner, member = disc_members(triangles, faces, sides, PATCH_AREA)
    areas, bodies = triangles.areas[faces], triangles.face_body[faces]
    if area is None:
        return Judged(faces, sides, areas, bodies, owner, member)
    if area >= PATCH_AREA:
        owner = member = np.arange(len(faces))
    disc, within = disc_members(triangles, faces, sides, area)
    first = np.searchsorted(disc, np.arange(len(faces) + 1))
    return JudgedDiscs(faces, sides, areas, bodies, owner, member, first, within)


def weighted_percentile(values: np.ndarray, weights: np.ndarray, share: float) -> float:
    """Value below which `share` of the weight lies (definition)."""
    order = np.argsort(values, kind="stable")
    below = np.cumsum(weights[order])
    where = np.searchsorted(below, share * below[-1])
    return float(values[order][min(where, len(values) - 1)])


def place_words(triangles: SceneTriangles, body: int, point: np.ndarray) -> str:
    """Where on a body a point (m) lies, in words: height, side and depth seen from the front."""
    corners = triangles.corners[triangles.faces_of(body)].reshape(-1, 3)
    low, high = corners.min(axis=0), corners.max(axis=0)
    share = (point - low) / np.maximum(high - low, 1e-9)
    words = []
    for axis, (first, last) in (
        (2, ("bottom", "top")),
        (0, ("left", "right")),
        (1, ("door side", "rear side")),
    ):
        if share[axis] < 1 / 3:
            words.append(first)
        elif share[axis] > 2 / 3:
            words.append(last)
    return ", ".join(words) if words else "middle"


def spot(triangles: SceneTriangles, estimate: Estimate, face: int, side: int) -> Spot:
    """Record of one face-side."""
    part = triangles.parts[triangles.face_part[face]]
    centroid = triangles.centroids[face]
    return Spot(
        object=triangles.bodies[part.body].name,
        part=part.name,
        side=SIDES[side],
        face=int(face),
        centroid=centroid,
        place=place_words(triangles, part.body, centroid),
        irradiance=float(estimate.irradiance[face, side]),
        standard_error=float(estimate.standard_error[face, side]),
        lower_bound=float(estimate.lower_bound[face, side]),
    )


def summarise(
    name: str, values: np.ndarray, lower: np.ndarray, discs: np.ndarray, areas: np.ndarray
) -> DoseSummary:
    """Distribution of the irradiance (W/m2) over face-sides of the given areas (m2).

    `lower` are their lower bounds: the best-lit is that of the largest bound, since the largest
    of many noisy values would show the noise.
    """
    return DoseSummary(
        name=name,
        area_m2=float(areas.sum()),
        worst=float(values.min()),
        worst_1cm2=float(discs.min()),
        percentile_1=weighted_percentile(values, areas, 0.01),
        percentile_5=weighted_percentile(values, areas, 0.05),
        mean=float((values * areas).sum() / areas.sum()),
        best=float(values[lower.argmax()]),
    )


def judge_case(
    name: str,
    lamp_factor: float,
    triangles: SceneTriangles,
    units: Judged,
    estimate: Estimate,
    named: np.ndarray,
    bright: np.ndarray,
    energy: EnergyAccount,
    target_dose: float,
    safety_factor: float,
    warm_up: WarmUpCurve,
) -> CaseResult:
    """Everything reported of one case.

    `named` (units,) bool marks the face-sides among which the worst is named: those that are known
    well enough, or all; `bright` (units,) bool those among which the best-lit is named.
    """
    values = estimate.irradiance[units.faces, units.sides]
    lower = estimate.lower_bound[units.faces, units.sides]
    discs = disc_means(values, units.areas, units.owner, units.member)

    def spot_of(chosen: np.ndarray, pick: int) -> Spot:
        unit = chosen[pick]
        return spot(triangles, estimate, units.faces[unit], units.sides[unit])

    known = np.flatnonzero(named)
    worst = spot_of(known, int(values[known].argmin()))
    lit = np.flatnonzero(bright)
    best = spot_of(lit, int(values[lit].argmax()))
    bound = float(lower.min())
    per_object, worst_per_object = [], []
    for body in dict.fromkeys(units.bodies.tolist()):
        own = np.flatnonzero(units.bodies == body)
        title = triangles.bodies[body].name
        per_object.append(summarise(title, values[own], lower[own], discs[own], units.areas[own]))
        worst_per_object.append(spot_of(own, int(values[own].argmin())))
    return CaseResult(
        name=name,
        lamp_factor=lamp_factor,
        irradiance=estimate.irradiance,
        standard_error=estimate.standard_error,
        worst=worst,
        best=best,
        bound=bound,
        exposure_time=exposure_time(bound, target_dose, safety_factor, warm_up),
        precision=1.0 - bound / worst.irradiance if worst.irradiance > 0.0 else 1.0,
        summary=summarise("all judged faces", values, lower, discs, units.areas),
        per_object=tuple(per_object),
        worst_per_object=tuple(worst_per_object),
        energy=energy,
    )
