"""From the tallies of a run to its result: photons and backward paths joined, every case judged."""

from dataclasses import replace

import numpy as np

from raysim.base.cases import CASES, CAUTIOUS, EXPECTED
from raysim.base.errors import Fault, Level
from raysim.base.fault_codes import Code
from raysim.dose.agreement import with_readings
from raysim.dose.exposure import CycleCurve
from raysim.dose.judge import CaseEstimate, judge_case
from raysim.dose.lamp_failures import LampTallies, lamp_failures, traced_by_lamp
from raysim.dose.lamp_output import lamp_factors, requirement_of
from raysim.dose.poses_apart import Known, cycle_curve, pose_results, with_worst
from raysim.dose.provenance import stated_assumptions
from raysim.dose.readings import MeterResult
from raysim.dose.result import CaseResult, EnergyAccount, LampFailure, PoseResult, Result, Spot
from raysim.estimate.bounds import CONFIDENCE
from raysim.estimate.darkness import found_dark
from raysim.estimate.face_sides import judged_sites
from raysim.estimate.photon_counts import Counted, counted_irradiance
from raysim.estimate.refine import precise
from raysim.estimate.refinement import DECIDED
from raysim.scene.build import BuiltScene
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.options import RunOptions
from raysim.transport.paths import BackwardRun
from raysim.transport.photons import PhotonRun
from raysim.version import __version__

LARGEST_LOST_SHARE = 1e-6


class DoseRun:
    """One run on its way from tallies to a result.

    Attributes
    ----------
    sites : Sites
    state : Refinement
        What is known of the judged face-sides; from photons alone at first.
    factors : (cases, lamps) float64
        Output of each lamp as a share of its rating.
    backward : BackwardRun or None
        The backward paths that `state` rests on, if any.
    """

    def __init__(
        self,
        scene: BuiltScene,
        arrays: KernelScene,
        forward: PhotonRun,
        error: float,
        left: np.ndarray,
    ) -> None:
        self.scene = scene
        self.arrays = arrays
        self.forward = forward
        self.sites = sites = judged_sites(scene.triangles, scene.written.target.judge_area)
        behaviour = scene.written.lamps_behaviour
        factors = lamp_factors([lamp.hours for lamp in scene.triangles.lamps], behaviour)
        self.factors = np.stack([factors[case] for case in CASES]) * left  # cases, lamps
        self.left, self.error = left, error
        self.backward: BackwardRun | None = None
        self.poses: tuple[PoseResult, ...] = ()
        once = requirement_of(scene.written)
        curve = cycle_curve(once.warm_up, scene.written.pose_shares)
        self.requirement = replace(once, warm_up=curve)
        watts_per_photon = arrays.lamp_watts / forward.photons_by_case
        scale = watts_per_photon[:, :, None, None] / scene.triangles.areas[:, None]
        counts = counted_irradiance(forward.arrivals(), forward.batches, scale)
        self.by_lamp, self.by_lamp_variance = sites.averaged(*counts)  # cases, lamps, faces, sides
        self.counted = self.by_lamp[0][:, sites.faces, sites.sides]  # cautious: lamps, sites
        f = self.factors[:, :, None, None]
        self.mean = (self.by_lamp * f).sum(axis=1)  # cases, faces, sides
        self.variance = (self.by_lamp_variance * f**2).sum(axis=1)
        counted = Counted(self.mean, self.variance, self._one_photon(scale))
        counted = counted.at((sites.faces, sites.sides))
        self.state = counted.state(error)
        level = (counted.mean * sites.areas).sum(axis=1) / sites.areas.sum()
        self.state.counts = level[:, None] / counted.one_photon
        self.state.everywhere = True
        self.state.week_irradiance = self.requirement.week_irradiance

    def _one_photon(self, scale: np.ndarray) -> np.ndarray:
        """What one photon would make of irradiance, W/m2, (cases, faces, sides)."""
        one = scale.max(axis=1) * self.factors.max(axis=1)[:, None, None]
        return np.broadcast_to(one, self.mean.shape)

    def result(
        self,
        *,
        seed: int,
        precision: float | None,
        meters: tuple[MeterResult, ...],
        warnings: tuple[Fault, ...],
        interrupted: bool,
        seconds: float,
    ) -> Result:
        """Join forward and backward estimates and judge every case."""
        state, sites, scene = self.state, self.sites, self.scene
        looked = np.flatnonzero(state.rounds > 0)
        faces, sides = sites.faces[looked], sites.sides[looked]
        error = np.sqrt(self.by_lamp_variance)
        mean, path_error, covariance = self._by_paths(looked)
        share, there = state.share[:, None, looked], (..., faces, sides)
        by_lamp = self.by_lamp.copy()
        by_lamp[there] *= 1.0 - share
        by_lamp[there] += share * mean.transpose(0, 2, 1)
        error[there] = np.hypot((1.0 - share) * error[there], share * path_error.transpose(0, 2, 1))
        refined = np.zeros(scene.triangles.judged.shape, bool)
        refined[faces, sides] = True
        cases = {case: self._case(number, precision) for number, case in enumerate(CASES)}
        lamps = scene.triangles.lamps
        result = Result(
            title=scene.written.title,
            sha256=scene.sha256,
            scene_file=scene.path.as_posix(),
            raysim_version=__version__,
            seed=seed,
            triangles=scene.triangles,
            target_dose=self.requirement.dose,
            safety_factor=self.requirement.safety_factor,
            warm_up=self.requirement.warm_up,
            confidence=CONFIDENCE,
            photons=int(self.forward.photons.sum()),
            paths=state.paths * len(scene.poses),
            segments=self.forward.segments + state.rays,
            seconds=seconds,
            precision_asked=precision,
            lamp_irradiance=by_lamp,
            lamp_standard_error=error,
            refined=refined,
            cases=cases,
            meters=meters,
            warnings=(*warnings, *self._doubts(precision, interrupted)),
            interrupted=interrupted,
            assumptions=stated_assumptions(scene.written),
            written=scene.written,
            without=tuple(m.name for m, on in zip(lamps, self.left, strict=True) if not on),
            lamp_failures=self._failures(
                cases[CAUTIOUS].exposure_time, looked, mean[0], covariance
            ),
            poses=self._at_worst(cases[CAUTIOUS].worst),
            untreated=scene.untreated or (),
        )
        return with_readings(result)

    def each_pose(
        self, posed: list[KernelScene], precision: float | None, options: RunOptions
    ) -> None:
        """Time of each of several poses in the cycle, and the time it would take alone."""
        self.poses = pose_results(
            self.scene,
            posed,
            self.forward,
            self.sites,
            factors=self.factors[0],
            error=self.error,
            precision=precision,
            times=self._pose_times(),
            requirement=self.requirement,
            options=options,
        )

    def _pose_times(self) -> tuple[float, ...]:
        """Times of the poses within the cycle, s; none for one pose."""
        curve = self.requirement.warm_up
        if not isinstance(curve, CycleCurve):
            return ()
        return curve.pose_times(self.requirement.time(float(self.state.bound[0].min())))

    def _at_worst(self, worst: Spot) -> tuple[PoseResult, ...]:
        """The poses with what each gives to the worst spot of the cycle."""
        known = Known(self.sites, self.state, self.factors[0])
        return with_worst(self.poses, self.scene, (self.forward, self.backward), known, worst)

    def _by_paths(self, looked: np.ndarray) -> tuple[np.ndarray, ...]:
        """What backward paths say of the sites looked at, by lamp: see `traced_by_lamp`."""
        if self.backward is not None:
            return traced_by_lamp(self.backward, self.state.row[looked], 0)
        cases, lamps = self.factors.shape
        return (*np.zeros((2, cases, 0, lamps)), np.zeros((0, lamps, lamps)))

    def _failures(
        self, timer: float, looked: np.ndarray, traced: np.ndarray, covariance: np.ndarray
    ) -> tuple[LampFailure, ...]:
        """Cautious case with each lamp out in turn, `looked` and what follows as `LampTallies`."""
        state, sites = self.state, self.sites
        variance = self.by_lamp_variance[0][:, sites.faces, sites.sides]
        return lamp_failures(
            self.scene.triangles,
            sites,
            LampTallies(
                self.counted, variance, self.error, looked, traced, covariance, state.rounds[looked]
            ),
            factors=self.factors[0],
            requirement=self.requirement,
            timer=timer,
        )

    def _sure(self, number: int, precision: float | None) -> np.ndarray:
        """Sites (sites,) bool whose irradiance is known in a case as well as asked."""
        if precision is None or number >= DECIDED:
            return np.zeros(len(self.state.rounds), bool)
        return precise(self.state, precision)[number]

    def _case(self, number: int, precision: float | None) -> CaseResult:
        state, sites, scene = self.state, self.sites, self.scene
        mean, error = self.mean[number].copy(), np.sqrt(self.variance[number])
        bound, even = np.zeros_like(mean), mean.copy()  # no bound is asked for of the unjudged
        mean[sites.faces, sites.sides] = state.mean[number]
        error[sites.faces, sites.sides] = state.error[number]
        bound[sites.faces, sites.sides] = state.bound[number]
        even[sites.faces, sites.sides] = state.even[number]
        watts = self.arrays.lamp_watts * self.factors[number]
        return judge_case(
            scene.triangles,
            sites,
            CaseEstimate(mean, error, bound, even),
            self.requirement,
            name=CASES[number],
            lamp_factor=float(watts.sum() / self.arrays.lamp_watts.sum()),
            sure=self._sure(number, precision),
            bright=state.bright,
            energy=self._energy(number, watts),
        )

    def _energy(self, number: int, watts: np.ndarray) -> EnergyAccount:
        per_photon = watts / self.forward.photons_by_case[number]
        bodies = (self.forward.bodies()[number] * per_photon[:, None]).sum(axis=0)
        escaped, lost, odd = (self.forward.fates()[number] * per_photon[:, None]).sum(axis=0)
        if self.scene.triangles.closed:
            lost, escaped = lost + escaped, 0.0
        names = [body.name for body in self.scene.triangles.bodies]
        return EnergyAccount(
            emitted=float(watts.sum()),
            absorbed=dict(zip(names, bodies.tolist(), strict=True)),
            escaped=float(escaped),
            lost=float(lost + odd),
        )

    def _doubts(self, precision: float | None, interrupted: bool) -> list[Fault]:
        """What the run itself found doubtful."""
        shown = str(self.scene.path)
        doubts = []
        energy = self._energy(CASES.index(EXPECTED), self.arrays.lamp_watts)
        if energy.lost > LARGEST_LOST_SHARE * energy.emitted:
            doubts.append(
                Fault(
                    Code.LIGHT_LOST,
                    shown,
                    "chamber",
                    f"{energy.lost / energy.emitted:.2g} of the light was lost through cracks",
                    "look for holes, crossing walls or surfaces seen from behind",
                    Level.WARNING,
                )
            )
        if precision is not None and not self.state.reached and not interrupted:
            what, mend = (
                f"{precision:g} was not reached within the limits of the run; the bound, and so "
                "the timer, is on the long side",
                "give more --photons, or see whether the worst spot is in a closed fold",
            )
            if self.backward is not None and found_dark(self.backward, self.state).any():
                what, mend = (
                    f"{precision:g} was not reached: the worst spot is so dark that it would take "
                    "more than a week, and how much more was not looked for",
                    "see whether it is in a closed fold, and bring more light there",
                )
            code = Code.PRECISION_NOT_REACHED
            doubts.append(Fault(code, shown, "precision", what, mend, Level.WARNING))
        return doubts
