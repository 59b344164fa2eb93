"""What a run hands on: arrays per face-side, and the figures judged from them.

Units inside: metres, watts, W/m2, J/m2, seconds. Arrays over faces follow the order of
`SceneTriangles`; sides are (outside, inside).
"""

import math
from dataclasses import dataclass, field

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.errors import Fault
from raysim.base.figures import Figures
from raysim.dose.exposure import Requirement, WarmUpCurve
from raysim.dose.readings import MeterResult, Readings
from raysim.dose.verdict_record import Verdict
from raysim.scene.file.written import SceneAsWritten
from raysim.scene.triangles import SceneTriangles, Untreated


@dataclass(frozen=True)
class Spot(Figures):
    """One judged face-side and what it receives with all lamps of a case, W/m2.

    `lower_bound` is the one-sided confidence bound of this spot alone.
    """

    object: str  # body name, e.g. "respirator 3"
    part: str  # "" or part name, e.g. "straps"
    side: str  # "outside" or "inside"
    face: int
    centroid: np.ndarray  # (3,) m
    place: str  # words a person can find, e.g. "lower left, near the floor"
    irradiance: float
    standard_error: float
    lower_bound: float
    units: str = "mm"  # of the scene, in which its place is told


@dataclass(frozen=True)
class DoseSummary(Figures):
    """Area-weighted distribution of the irradiance over a set of judged face-sides, W/m2."""

    name: str  # object name, or "all judged faces"
    area_m2: float  # summed over judged sides
    worst: float  # of the face-side that is named the worst: noise alone can lie lower
    bound: float  # smallest lower bound of all
    worst_1cm2: float  # darkest connected patch of 1 cm2, named likewise
    percentile_1: float
    percentile_5: float
    mean: float
    # The best-lit face-side; where none of these was traced closely, the mean over the best-lit
    # 1 cm2, but never more than the best-lit of all.
    best: float


@dataclass(frozen=True)
class EnergyAccount(Figures):
    """Where the radiant power of the lamps ended, W, at the output of the case."""

    emitted: float
    absorbed: dict[str, float]  # by body name
    escaped: float
    lost: float


@dataclass(frozen=True)
class CaseResult(Figures):
    """Everything judged in one case.

    Attributes
    ----------
    name : str
        "cautious" (low end of every reflectance, aged, dirty and warm lamps; sets the timer),
        "expected" (library values, new lamps), "bright" (high end, new lamps; for wear).
    lamp_factor : float
        Output of the lamps as a share of their rating.
    irradiance, standard_error : (faces, 2) float64
        W/m2, all lamps together.
    bound : float
        Lower confidence bound (W/m2) on the irradiance of the worst judged face-side, whichever
        it is: with the stated confidence no judged face-side receives less.
    exposure_time : float
        Seconds until the bound reaches safety factor x target, warm-up included; inf if never.
    precision : float
        (worst irradiance - bound) / worst irradiance.
    """

    name: str
    lamp_factor: float
    irradiance: np.ndarray
    standard_error: np.ndarray
    worst: Spot
    best: Spot
    bound: float
    exposure_time: float
    precision: float
    summary: DoseSummary
    per_object: tuple[DoseSummary, ...]
    worst_per_object: tuple[Spot, ...]
    energy: EnergyAccount
    worst_per_part: tuple[Spot, ...] = ()  # of each part of each object, darkest first


@dataclass(frozen=True)
class Contribution(Figures):
    """One line of an uncertainty budget, all relative to the irradiance of the spot.

    `sensitivity` is the relative change of the irradiance per unit of the input (per its own
    relative change where the input is a factor); `input` the standard uncertainty of the input;
    `error` the standard error of the sensitivity from counting, 0 where it is exact. `place_of` is
    the lamp or the object whose place it is (sensitivity per m), "" for all other inputs.
    """

    what: str
    sensitivity: float
    input: float
    source: str
    error: float = 0.0
    place_of: str = ""

    @property
    def relative(self) -> float:
        """Relative standard uncertainty that comes from it (definition)."""
        return abs(self.sensitivity) * self.input


@dataclass(frozen=True)
class Budget(Figures):
    """Uncertainty budget of the irradiance of the worst spot, expected case.

    `contributions` are ranked, largest first.
    """

    spot: Spot
    irradiance: float  # W/m2, expected case, new lamps
    contributions: tuple[Contribution, ...]

    @property
    def expanded(self) -> float:
        """Relative expanded uncertainty, k = 2: twice the root of the sum of squares (GUM)."""
        return 2.0 * float(np.sqrt(sum(c.relative**2 for c in self.contributions)))


@dataclass(frozen=True)
class LampFailure(Figures):
    """Cautious case with one more lamp out.

    Attributes
    ----------
    lamp : str
        The lamp that is out.
    worst : Spot
        The spot with the lowest upper end of its error; its `lower_bound` holds for all.
    exposure_time : float
        Seconds that would then be needed; inf if no time can be vouched for.
    dose_at_timer : float or None
        J/m2 that the bound vouches for if nobody notices and the timer stays; None without timer.
    counted_only : bool
        Whether that spot rests on photon counts, so that the bound lies further below the truth.
    """

    lamp: str
    worst: Spot
    exposure_time: float
    dose_at_timer: float | None
    counted_only: bool

    @property
    def precision(self) -> float:
        """(irradiance of the spot - bound) / irradiance of the spot (definition)."""
        return (
            1.0 - self.worst.lower_bound / self.worst.irradiance if self.worst.irradiance else 1.0
        )


@dataclass(frozen=True)
class PoseResult(Figures):
    """One of several poses of the load within a cycle.

    Attributes
    ----------
    share : float
        Of the seconds of full output of the cycle.
    time : float
        Lit time of this pose in the cycle, s, warm-up included; inf without a timer.
    alone : float
        Exposure time if the load hung so all along, s, from the bound on all judged faces;
        inf if no time can be vouched for.
    alone_worst : Spot
        The spot then with the lowest upper end of its error; its `lower_bound` holds for all.
    alone_least : float
        Seconds that this spot needs by that upper end; the load needs no less.
    at_worst : float or None
        What the worst spot of the cycle gets while the load hangs so, W/m2, cautious case; the sum
        of share x at_worst over the poses is its irradiance.
    """

    name: str
    share: float
    time: float
    alone: float
    alone_worst: Spot
    alone_least: float
    at_worst: float | None = None


@dataclass(frozen=True)
class Result(Figures):
    """A finished (or interrupted) run.

    Attributes
    ----------
    lamp_irradiance, lamp_standard_error : (cases, lamps, faces, 2) float64
        W/m2 per lamp at its full rated output, cases in the order of `CASES`. Any mix, ageing or
        failure of lamps is a weighted sum of these.
    refined : (faces, 2) bool
        Face-sides that backward paths were traced from; their numbers rest mostly on these.
    photons, paths, segments : int
        Photons from the lamps, backward paths from candidate faces, ray segments in all.
    confidence : float
        Of the bounds, 0.95.
    seconds : float
        Wall time of the tracing.
    """

    title: str
    sha256: str
    raysim_version: str
    seed: int
    triangles: SceneTriangles
    target_dose: float  # J/m2
    safety_factor: float
    warm_up: WarmUpCurve
    confidence: float
    photons: int
    paths: int
    segments: int
    seconds: float
    precision_asked: float | None
    lamp_irradiance: np.ndarray
    lamp_standard_error: np.ndarray
    refined: np.ndarray
    cases: dict[str, CaseResult]
    meters: tuple[MeterResult, ...] = ()
    warnings: tuple[Fault, ...] = ()
    interrupted: bool = False
    assumptions: tuple[tuple[str, str, str], ...] = field(default=())
    written: SceneAsWritten | None = None
    budget: Budget | None = None
    # assumptions: (what, value as printed, source with its mark)
    without: tuple[str, ...] = ()  # lamps taken as out in every case
    lamp_failures: tuple[LampFailure, ...] = ()
    poses: tuple[PoseResult, ...] = ()  # none where the load hangs in one way all along
    scene_file: str = ""  # as the user named it
    readings: Readings | None = None  # None where no meter was read
    verdict: Verdict | None = None  # None before it was judged
    untreated: tuple[Untreated, ...] = ()  # touches something in every pose; not judged

    @property
    def calculated(self) -> float:
        """Exposure time of the cautious case, s, whatever a meter read; inf if there is none."""
        return self.cases[CAUTIOUS].exposure_time

    @property
    def requirement(self) -> Requirement:
        """Dose, safety factor and warm-up together."""
        return Requirement(self.target_dose, self.safety_factor, self.warm_up)

    @property
    def bound(self) -> float:
        """Irradiance (W/m2) that sets the timer: that of the cautious case, or less by a reading.

        0 where a reading disagrees with the calculation: then nothing is vouched for.
        """
        calculated = self.cases[CAUTIOUS].bound
        if self.readings is None:
            return calculated
        if not self.readings.agree:
            return 0.0
        return min([calculated, *(cause.bound for cause in self.readings.causes)])

    @property
    def timer(self) -> float:
        """Timer setting, s: the time `needed`; inf without one, or if the verdict forbids use."""
        return math.inf if self.verdict is not None and self.verdict.forbids else self.needed

    @property
    def needed(self) -> float:
        """Time that `bound` needs, s; inf if there is none.

        A reading that disagrees leaves none, and one that agrees can only make it longer.
        """
        if self.readings is None or self.bound == self.cases[CAUTIOUS].bound:
            return self.calculated
        return self.requirement.time(self.bound)

    @property
    def seconds_of_light(self) -> float:
        """Seconds of full output in a cycle of the timer; nan where there is none (definition)."""
        return self.warm_up.effective_seconds(self.timer) if np.isfinite(self.timer) else np.nan

    def dose_at_timer(self, case: str = CAUTIOUS) -> np.ndarray:
        """Dose (J/m2) of every face-side, (faces, 2), when the timer of this run has run down.

        All nan where there is no finite timer setting.
        """
        return self.cases[case].irradiance * self.seconds_of_light
