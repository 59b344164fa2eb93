"""From irradiance per face-side to the worst spot, its bound and the exposure time."""

from dataclasses import dataclass, replace

import numpy as np

from raysim.exposure import WarmUpCurve, exposure_time, least_useful
from raysim.patches import PATCH_AREA, disc_errors, disc_means, disc_members
from raysim.result import CaseResult, DoseSummary, EnergyAccount, Spot
from raysim.scene.triangles import SIDES, SceneTriangles
from raysim.tracing import Target

# Standard errors that an irradiance may lie too low: of what is hardly known, noise is not to pass
# for darkness. Common practice, no source.
GUESS_ERRORS = 2.0
# The same where one spot is named of thousands: some of them lie two errors low by chance.
NAMED_ERRORS = 4.0
UNSETTLED = 0.5  # a bound below so much of that of the worst known one was given up, not reached


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

    def targets(self, units: np.ndarray) -> list[Target]:
        """Where backward paths from some units start."""
        both = zip(self.faces[units].tolist(), self.sides[units].tolist(), strict=True)
        return [Target(2 * face + side, (face,), (side,)) for face, side in both]

    def averaged(self, mean: np.ndarray, variance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What stands for each judged face-side (..., faces, 2): its own mean and variance."""
        return mean, variance


def spread_targets(leads: list[Target], members: list[np.ndarray], of: Judged) -> list[Target]:
    """The streams of `leads`, each spread over several face-sides, given as rows of `of`."""
    return [
        Target(lead.stream, tuple(of.faces[own].tolist()), tuple(of.sides[own].tolist()))
        for lead, own in zip(leads, members, strict=True)
    ]


@dataclass(frozen=True)
class JudgedDiscs(Judged):
    """The discs of some area about each judged face-side, judged in its place.

    `first` (units + 1,) and `within` (members,) list the face-sides of each disc, as rows.
    """

    first: np.ndarray
    within: np.ndarray

    def targets(self, units: np.ndarray) -> list[Target]:
        """Where backward paths from some discs start: anywhere on each, even by area."""
        members = [self.within[self.first[unit] : self.first[unit + 1]] for unit in units]
        return spread_targets(Judged.targets(self, units), members, self)

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


@dataclass(frozen=True)
class CaseEstimate(Estimate):
    """The same, and in `even` what equal effort everywhere found: for means over many."""

    even: np.ndarray


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
    centroid = triangles.corners[face].mean(axis=0)
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
    name: str,
    values: np.ndarray,
    lower: np.ndarray,
    even: np.ndarray,
    areas: np.ndarray,
    worst: float,
    worst_1cm2: float,
    best: float,
) -> DoseSummary:
    """Distribution of the irradiance (W/m2) over face-sides of the given areas (m2).

    `lower` are their lower bounds, `even` as in `CaseEstimate`.
    """
    return DoseSummary(
        name=name,
        area_m2=float(areas.sum()),
        worst=worst,
        bound=float(lower.min()),
        worst_1cm2=worst_1cm2,
        percentile_1=weighted_percentile(values, areas, 0.01),
        percentile_5=weighted_percentile(values, areas, 0.05),
        mean=float((even * areas).sum() / areas.sum()),
        best=best,
    )


def taken_at(
    mean: np.ndarray, error: np.ndarray, sure: np.ndarray, errors: float = GUESS_ERRORS
) -> np.ndarray:
    """Irradiance (W/m2) at which each face-side is compared when the darkest is named.

    The lowest of many noisy values would show the noise: one that is not `sure` is taken at the
    upper end of its error, so many standard `errors` above it.
    """
    return mean + np.where(sure, 0.0, errors * error)


def _named_worst(
    taken: np.ndarray, lower: np.ndarray, sure: np.ndarray, bodies: np.ndarray, floor: float
) -> tuple[int, dict[int, int]]:
    """The unit that is named the worst of all, and that of each body, from arrays (units,).

    Where some are known to get less than `floor` (W/m2), it is one of these; else one of those that
    can be vouched for no light at all; else one of the sure, or of those that are darker for
    certain and that the run ended too early to settle.
    """
    ways = (taken < floor, lower <= 0.0, sure)
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
    """Irradiance of the judged face-sides and of the 1 cm2 about each, W/m2; all (units,)."""

    values: np.ndarray
    errors: np.ndarray
    lower: np.ndarray
    even: np.ndarray
    discs: np.ndarray
    discs_errors: np.ndarray

    @classmethod
    def on(cls, units: Judged, estimate: CaseEstimate) -> "_Light":
        at = (units.faces, units.sides)
        values, errors = estimate.irradiance[at], estimate.standard_error[at]
        about = (units.areas, units.owner, units.member)
        discs = disc_means(values, *about), disc_errors(errors, *about)
        return cls(values, errors, estimate.lower_bound[at], estimate.even[at], *discs)

    def best(self, own: np.ndarray, bright: np.ndarray) -> tuple[int, float, float]:
        """Unit of `own` that is best-lit, its irradiance and error; `bright` as in `judge_case`."""
        lit = own[bright[own]]
        if len(lit):
            unit, light, error = lit[self.values[lit].argmax()], self.values, self.errors
        else:
            light, error = self.discs, self.discs_errors
            unit = own[(light - GUESS_ERRORS * error)[own].argmax()]
        return int(unit), float(light[unit]), float(error[unit])

    def darkest_disc(self, own: np.ndarray) -> float:
        """Mean over the darkest 1 cm2 of `own`; none is known for sure."""
        nobody = np.zeros(len(own), bool)
        taken = taken_at(self.discs[own], self.discs_errors[own], nobody)
        return float(self.discs[own[taken.argmin()]])


def judge_case(
    name: str,
    lamp_factor: float,
    triangles: SceneTriangles,
    units: Judged,
    estimate: CaseEstimate,
    sure: np.ndarray,
    bright: np.ndarray,
    energy: EnergyAccount,
    target_dose: float,
    safety_factor: float,
    warm_up: WarmUpCurve,
) -> CaseResult:
    """Everything reported of one case.

    `sure` (units,) bool marks the face-sides that are known as well as asked, among which the
    worst is named; `bright` (units,) bool those known well enough to be named the best-lit. Where
    there is none, 1 cm2 stands for it: the brightest of many noisy faces would show the noise.
    """
    light = _Light.on(units, estimate)
    taken = taken_at(light.values, light.errors, sure, NAMED_ERRORS)
    everyone = np.arange(len(taken))
    best_unit, best_light, best_error = light.best(everyone, bright)

    def spot_of(unit: int) -> Spot:
        return spot(triangles, estimate, units.faces[unit], units.sides[unit])

    def summary(title: str, own: np.ndarray, darkest: int) -> DoseSummary:
        return summarise(
            title,
            light.values[own],
            light.lower[own],
            light.even[own],
            units.areas[own],
            worst=float(light.values[darkest]),
            worst_1cm2=light.darkest_disc(own),
            best=min(light.best(own, bright)[1], best_light),
        )

    floor = least_useful(target_dose, safety_factor)
    darkest_of_all, darkest = _named_worst(taken, light.lower, sure, units.bodies, floor)
    worst = spot_of(darkest_of_all)
    bound = float(light.lower.min())
    return CaseResult(
        name=name,
        lamp_factor=lamp_factor,
        irradiance=estimate.irradiance,
        standard_error=estimate.standard_error,
        worst=worst,
        best=replace(spot_of(best_unit), irradiance=best_light, standard_error=best_error),
        bound=bound,
        exposure_time=exposure_time(bound, target_dose, safety_factor, warm_up),
        precision=1.0 - bound / worst.irradiance if worst.irradiance > 0.0 else 1.0,
        summary=summary("all judged faces", everyone, darkest_of_all),
        per_object=tuple(
            summary(triangles.bodies[body].name, np.flatnonzero(units.bodies == body), unit)
            for body, unit in darkest.items()
        ),
        worst_per_object=tuple(spot_of(unit) for unit in darkest.values()),
        energy=energy,
    )
