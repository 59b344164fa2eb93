"""The main job: trace a scene and judge it. The only module that joins scene and tracing."""

import time
from pathlib import Path

import numpy as np

from raysim.behaviour import lamp_factors, warm_up_curve
from raysim.errors import Fault, Level, RaysimError
from raysim.failures import LampTallies, lamp_failures, lamps_left, traced_by_lamp
from raysim.interrupts import hold_interrupts
from raysim.judge import Estimate, Judged, judge_case, judged_units
from raysim.provenance import stated_assumptions
from raysim.refine import SETTLED, forward_only, refine, refine_best, settled
from raysim.result import (
    CASES,
    CAUTIOUS,
    EXPECTED,
    CaseResult,
    EnergyAccount,
    LampFailure,
    MeterResult,
    Result,
)
from raysim.scene.build import BuiltScene, build_scene
from raysim.scene.read import file_hash, read_scene
from raysim.statistics import (
    CONFIDENCE,
    FORWARD_ERROR,
    batch_mean,
    count_lower_bound,
    count_variance,
)
from raysim.tracing import (
    AdjointRun,
    ForwardRun,
    KernelScene,
    Progress,
    Target,
    default_threads,
    kernel_scene,
)
from raysim.version import __version__

DEFAULT_PHOTONS = 5_000_000
DEFAULT_PRECISION = 0.02
FEWEST_BATCHES = 16
METER_PATHS = 1024  # per batch
LARGEST_LOST_SHARE = 1e-6
# Meter points take random-number streams from here on, above those of any face-side.
METER_STREAM = 1 << 31


def load_scene(path: str | Path) -> BuiltScene:
    """Scene of a TOML file, with its meshes, as triangles.

    Raises
    ------
    raysim.errors.SceneError
        With every fault found; each names file, key and mend.
    """
    path = Path(path)
    return build_scene(path, read_scene(path))


def _quiet(what: str, done: float, whole: float) -> None:
    """Progress of nobody watching."""


def simulate(
    scene: BuiltScene,
    *,
    seed: int = 1,
    photons: int | None = None,
    precision: float | None = None,
    threads: int | None = None,
    progress: Progress = _quiet,
    warnings: tuple[Fault, ...] = (),
    without: tuple[str, ...] = (),
) -> Result:
    """Trace a scene and judge every judged face-side.

    Parameters
    ----------
    scene : BuiltScene
    seed : int
        Key of the random numbers, 0 to 2**64 - 1. Same scene, seed and counts give the same
        numbers to the last bit, for any number of threads.
    photons : int, optional
        Photons from the lamps, rounded up to whole batches. Without `precision` these alone are
        traced.
    precision : float, optional
        Relative distance of the lower bound from the worst irradiance to reach by backward paths
        from the darkest face-sides. Default 0.02 where `photons` is not given either.
    threads : int, optional
        Default: the cores this process may use.
    progress : callable
        Called with (what, done, of how much).
    warnings : tuple of Fault
        Doubts found before tracing, to be carried into the result.
    without : tuple of str
        Names of lamps that are out. The tallies are those of all lamps; those named get weight 0.

    Returns
    -------
    Result
        Interrupted by Ctrl-C, the result of what was traced until then.

    Raises
    ------
    RaysimError
        Numbers out of range.
    KeyboardInterrupt
        Interrupted before there was anything to report.
    """
    _check_numbers(seed, photons, precision, threads)
    left = lamps_left(scene.triangles.lamps, without)
    if photons is None and precision is None:
        precision = DEFAULT_PRECISION
    started = time.perf_counter()
    threads = threads or default_threads()
    arrays = kernel_scene(scene.triangles)
    forward = ForwardRun(arrays, seed, threads)
    interrupted = _trace_photons(forward, photons or DEFAULT_PHOTONS, progress)
    if forward.batches < 2:
        raise KeyboardInterrupt
    units = judged_units(scene.triangles)
    job = _Job(
        scene,
        arrays,
        forward,
        units,
        1.0 - CONFIDENCE if precision is None else FORWARD_ERROR,
        left,
    )
    if precision is not None and not interrupted:
        try:
            job.backward = backward = AdjointRun(arrays, scene.triangles, seed, threads)
            refine(backward, units, job.state, job.factors, precision, progress)
            refine_best(backward, units, job.state, job.factors, progress)
        except KeyboardInterrupt:
            interrupted = True
    meters: tuple[MeterResult, ...] = ()
    try:
        meters = () if interrupted else _meters(scene, arrays, left, seed, threads)
    except KeyboardInterrupt:
        interrupted = True
    return job.result(seed, precision, meters, warnings, interrupted, started)


def _check_numbers(
    seed: int, photons: int | None, precision: float | None, threads: int | None
) -> None:
    if not 0 <= seed < 2**64:
        raise RaysimError(f"seed {seed} is out of range: give 0 to 2**64 - 1")
    if photons is not None and not 1 <= photons <= 10**13:
        raise RaysimError(f"photons {photons} is out of range: give 1 to 10**13")
    if precision is not None and not 0.0005 <= precision < 1.0:
        raise RaysimError(f"precision {precision} is out of range: give 0.0005 to below 1")
    if threads is not None and not 1 <= threads <= 1024:
        raise RaysimError(f"threads {threads} is out of range: give 1 to 1024")


def _trace_photons(forward: ForwardRun, photons: int, progress: Progress) -> bool:
    """Trace whole batches until `photons` are reached; returns whether Ctrl-C broke it off."""
    per_batch = int(forward.batch_photons.sum())
    batches = max(-(-photons // per_batch), FEWEST_BATCHES)
    step = 4 * forward.threads
    try:
        while forward.batches < batches:
            with hold_interrupts():
                forward.add_batches(min(step, batches - forward.batches))
            progress("tracing photons", forward.batches * per_batch, batches * per_batch)
    except KeyboardInterrupt:
        return True
    return False


def _meters(
    scene: BuiltScene, arrays: KernelScene, left: np.ndarray, seed: int, threads: int
) -> tuple[MeterResult, ...]:
    """Predicted readings of the scene's meters, expected case, new lamps."""
    meters = scene.triangles.meters
    if not meters:
        return ()
    targets = [
        Target(METER_STREAM + number, at=meter.at, facing=meter.facing)
        for number, meter in enumerate(meters)
    ]
    run = AdjointRun(arrays, scene.triangles, seed, threads, cases=slice(1, 2))
    run.add_targets(targets)
    everyone = np.arange(len(meters))
    run.add_paths(everyone, np.full(len(meters), METER_PATHS))
    mean, error = batch_mean(run.batch_irradiance(everyone)[..., 0] @ left)
    return tuple(
        MeterResult(m.name, m.at, m.facing, float(e), float(s), m.reading)
        for m, e, s in zip(meters, mean, error, strict=True)
    )


class _Job:
    """One run on its way from tallies to a result."""

    def __init__(
        self,
        scene: BuiltScene,
        arrays: KernelScene,
        forward: ForwardRun,
        units: Judged,
        error: float,
        left: np.ndarray,
    ) -> None:
        self.scene = scene
        self.arrays = arrays
        self.forward = forward
        self.units = units
        behaviour = scene.written.lamps_behaviour
        factors = lamp_factors([lamp.hours for lamp in scene.triangles.lamps], behaviour)
        self.factors = np.stack([factors[case] for case in CASES]) * left  # cases, lamps
        self.left, self.error = left, error
        self.backward: AdjointRun | None = None
        self.warm_up = warm_up_curve(behaviour.warm_up)
        total, squares = forward.arrivals()
        watts_per_photon = arrays.lamp_watts / forward.photons
        scale = watts_per_photon[:, None, None] / scene.triangles.areas[None, :, None]
        variance = count_variance(total, squares, forward.batches)
        self.by_lamp = total * scale  # cases, lamps, faces, sides
        self.by_lamp_variance = np.maximum(variance, 0.0) * scale**2
        self.counted = self.by_lamp[0][:, units.faces, units.sides]  # cautious: lamps, units
        f = self.factors[:, :, None, None]
        self.mean = (self.by_lamp * f).sum(axis=1)
        self.variance = (self.by_lamp_variance * f**2).sum(axis=1)
        self.bound = count_lower_bound(self.mean, self.variance, error)
        u = (slice(None), units.faces, units.sides)
        self.state = forward_only(
            self.mean[u], self._error(scale)[u], self.bound[u], len(arrays.lamp_watts)
        )

    def _error(self, scale: np.ndarray) -> np.ndarray:
        """Standard errors; where nothing arrived, what one photon would have been."""
        one = scale.max(axis=0)[None] * self.factors.max(axis=1)[:, None, None]
        return np.where(self.variance > 0.0, np.sqrt(self.variance), one)

    def result(
        self,
        seed: int,
        precision: float | None,
        meters: tuple[MeterResult, ...],
        warnings: tuple[Fault, ...],
        interrupted: bool,
        started: float,
    ) -> Result:
        """Join forward and backward estimates and judge every case."""
        state, units, scene = self.state, self.units, self.scene
        better = state.better
        faces, sides = units.faces[better], units.sides[better]
        error = np.sqrt(self.by_lamp_variance)
        self.by_lamp[:, :, faces, sides] = state.by_lamp[:, :, better]
        error[:, :, faces, sides] = state.by_lamp_error[:, :, better]
        refined = np.zeros(scene.triangles.judged.shape, bool)
        refined[faces, sides] = True
        cases = {case: self._case(number, precision) for number, case in enumerate(CASES)}
        lamps = scene.triangles.lamps
        return Result(
            title=scene.written.title,
            sha256=file_hash(list(scene.files)),
            scene_file=scene.path.as_posix(),
            raysim_version=__version__,
            seed=seed,
            triangles=scene.triangles,
            target_dose=scene.written.target.dose,
            safety_factor=scene.written.target.safety_factor,
            warm_up=self.warm_up,
            confidence=CONFIDENCE,
            photons=int(self.forward.photons.sum()),
            paths=state.paths,
            segments=self.forward.segments + state.rays,
            seconds=time.perf_counter() - started,
            precision_asked=precision,
            lamp_irradiance=self.by_lamp,
            lamp_standard_error=error,
            refined=refined,
            cases=cases,
            meters=meters,
            warnings=(*warnings, *self._doubts(precision, interrupted)),
            interrupted=interrupted,
            assumptions=stated_assumptions(scene.written),
            written=scene.written,
            without=tuple(m.name for m, on in zip(lamps, self.left, strict=True) if not on),
            lamp_failures=self._failures(cases[CAUTIOUS].exposure_time),
        )

    def _failures(self, timer: float) -> tuple[LampFailure, ...]:
        """Cautious case with each lamp out in turn."""
        state, units, target = self.state, self.units, self.scene.written.target
        looked = np.flatnonzero(state.looks > 0)
        lamps = len(self.left)
        traced, covariance = np.zeros((0, lamps)), np.zeros((0, lamps, lamps))
        if self.backward is not None:
            traced, covariance = traced_by_lamp(self.backward, state.row[looked], 0)
        variance = self.by_lamp_variance[0][:, units.faces, units.sides]
        return lamp_failures(
            self.scene.triangles,
            units,
            LampTallies(
                self.counted, variance, self.error, looked, traced, covariance, state.looks[looked]
            ),
            self.factors[0],
            (target.dose, target.safety_factor),
            self.warm_up,
            timer,
        )

    def _named(self, number: int, precision: float | None) -> np.ndarray:
        """Units (units,) bool among which the worst of a case is named: the best known ones.

        Where some can be vouched for no light at all, it is one of these.
        """
        dark = self.state.bound[number] <= 0.0
        if dark.any():
            return dark
        if precision is not None and number < SETTLED:
            sure = settled(self.state, precision)[number]
            if sure.any():
                return sure
        return np.ones(len(self.state.better), bool)

    def _case(self, number: int, precision: float | None) -> CaseResult:
        state, units, scene = self.state, self.units, self.scene
        mean, error = self.mean[number].copy(), np.sqrt(self.variance[number])
        bound = self.bound[number].copy()
        mean[units.faces, units.sides] = state.mean[number]
        error[units.faces, units.sides] = state.error[number]
        bound[units.faces, units.sides] = state.bound[number]
        watts = self.arrays.lamp_watts * self.factors[number]
        target = scene.written.target
        return judge_case(
            CASES[number],
            float(watts.sum() / self.arrays.lamp_watts.sum()),
            scene.triangles,
            units,
            Estimate(mean, error, bound),
            self._named(number, precision),
            state.bright if state.bright.any() else np.ones(len(state.bright), bool),
            self._energy(number, watts),
            target.dose,
            target.safety_factor,
            self.warm_up,
        )

    def _energy(self, number: int, watts: np.ndarray) -> EnergyAccount:
        per_photon = watts / self.forward.photons
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
                    shown,
                    "chamber",
                    f"{energy.lost / energy.emitted:.2g} of the light was lost through cracks",
                    "look for holes, crossing walls or surfaces seen from behind",
                    Level.WARNING,
                )
            )
        if precision is not None and not self.state.reached and not interrupted:
            doubts.append(
                Fault(
                    shown,
                    "precision",
                    f"{precision:g} was not reached within the limits of the run; the bound, and "
                    "so the timer, is on the long side",
                    "give more --photons, or see whether the worst spot is in a closed fold",
                    Level.WARNING,
                )
            )
        return doubts
