"""The main job: trace a scene and judge it."""

import time
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from raysim.base.errors import Fault, RaysimError
from raysim.base.interrupts import hold_interrupts
from raysim.base.progress import Progress, nobody_watching
from raysim.dose.agreement import predicted
from raysim.dose.assemble import assembled
from raysim.dose.checkpoint import Checkpoint
from raysim.dose.dose_run import DoseRun
from raysim.dose.fingerprint import run_inputs
from raysim.dose.lamp_failures import lamps_left
from raysim.dose.look_again import look_again
from raysim.dose.poses_apart import pose_results
from raysim.dose.result import Result
from raysim.dose.trace_failures import trace_failures
from raysim.estimate.bounds import CONFIDENCE, FORWARD_ERROR
from raysim.estimate.meter import METER_PATHS
from raysim.estimate.refine import refine, refine_best
from raysim.scene.build import BuiltScene, build_scene
from raysim.scene.check.touching import set_aside
from raysim.scene.file.read import read_scene
from raysim.transport.device import batches_a_step
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.options import MOST_PHOTONS, RunOptions
from raysim.transport.paths import ROUND_BATCHES, BackwardRun
from raysim.transport.photons import BATCH_PHOTONS
from raysim.transport.poses import BackwardCycle, PhotonCycle
from raysim.transport.threads import default_threads

# Photons tell where the light goes and where to look first; backward paths estimate each face-side.
# A batch of them for each batch of paths.
DEFAULT_PHOTONS = ROUND_BATCHES * BATCH_PHOTONS
DEFAULT_PRECISION = 0.02
FEWEST_BATCHES = 16
# The bright case follows light for longest and serves only the wear of the best-lit face: every
# fourth photon and path carries it.
CASE_STRIDE = (1, 1, 4)


def load_scene(path: str | Path, progress: Progress = nobody_watching) -> BuiltScene:
    """Scene of a TOML file, with its meshes, as triangles.

    `progress` is called with (what, done, of how much).

    Raises
    ------
    raysim.base.errors.SceneError
        With every fault found; each names file, key and mend.

    >>> scene = load_scene("scenes/touching_wall.toml")
    >>> [lamp.name for lamp in scene.triangles.lamps][:2]
    ['front left', 'front right']
    """
    path = Path(path)
    return build_scene(path, read_scene(path), progress)


def simulate(
    scene: BuiltScene,
    *,
    seed: int = 1,
    photons: int | None = None,
    precision: float | None = None,
    threads: int | None = None,
    progress: Progress = nobody_watching,
    warnings: tuple[Fault, ...] = (),
    without: tuple[str, ...] = (),
    checkpoint: Checkpoint | None = None,
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
    checkpoint : Checkpoint, optional
        Written to now and then, and gone on from where it is a resumed one: the result is then
        that of a run that was never broken off. Whoever gave it removes it in the end.

    Returns
    -------
    Result
        Interrupted by Ctrl-C, the result of what was traced until then.

    Raises
    ------
    RaysimError
        No scene, numbers out of range, or a checkpoint of another run.
    KeyboardInterrupt
        Interrupted before there was anything to report.

    >>> result = simulate(load_scene("scenes/touching_wall.toml"), photons=65_536)  # a quick look
    >>> result.cases["cautious"].worst.object in ("at the door", "clear")
    True
    """
    scene = checked_run(scene, seed, photons, precision, threads)
    left = lamps_left(scene.triangles.lamps, without)
    checkpoint = checkpoint or Checkpoint()
    options = {"seed": seed, "photons": photons, "precision": precision, "without": [*without]}
    checkpoint.begin(run_inputs(scene) if checkpoint.path else {}, options)
    if photons is None and precision is None:
        precision = DEFAULT_PRECISION
    started = time.perf_counter() - checkpoint.seconds
    threads = threads or default_threads()
    arrays = [kernel_scene(pose.triangles) for pose in scene.poses]
    # First, so that a run that is broken off still knows what its readings are worth.
    meters = predicted(scene, arrays[0], RunOptions(seed, threads), METER_PATHS)
    forward = PhotonCycle(scene.poses, arrays, seed, threads, CASE_STRIDE, groups=ROUND_BATCHES)
    interrupted = trace_batches(forward, batches_in_all(forward, photons), progress, checkpoint)
    if forward.batches < 2:
        raise KeyboardInterrupt
    error = 1.0 - CONFIDENCE if precision is None else FORWARD_ERROR
    try:
        with hold_interrupts():
            for one in forward.runs:
                one.leave_to_one_worker()
            run = DoseRun(scene, forward, error, left)
        if precision is not None and not interrupted:
            run.backward = BackwardCycle.after(
                forward, scene.poses, seed, stride=CASE_STRIDE, batches=ROUND_BATCHES
            )
            _trace_back(run, run.backward, precision, progress, checkpoint)
        if not interrupted:
            how = RunOptions(seed, threads, progress)
            run.poses = pose_results(run, precision, how)
            run.second = look_again(run, how, precision or DEFAULT_PRECISION, CASE_STRIDE)
    except KeyboardInterrupt:
        interrupted = True
    seconds = time.perf_counter() - started
    try:
        with hold_interrupts():
            result = assembled(
                run,
                seed=seed,
                precision=precision,
                meters=meters,
                warnings=warnings,
                interrupted=interrupted,
                seconds=seconds,
            )
    except KeyboardInterrupt:
        result = replace(result, interrupted=True)
    return result


def checked_run(
    scene: BuiltScene, seed: int, photons: int | None, precision: float | None, threads: int | None
) -> BuiltScene:
    """The scene without what touches, if it is one and the numbers are in range.

    Raises
    ------
    RaysimError
        Where they are not.
    """
    if not isinstance(scene, BuiltScene):
        raise RaysimError(f"{scene!r} is not a scene. Mend: simulate(load_scene(PATH))")
    refuse_numbers(seed, photons, precision, threads)
    return set_aside(scene)


def refuse_numbers(
    seed: int, photons: int | None, precision: float | None, threads: int | None
) -> None:
    """Refuse numbers of a run that are out of range; None goes with each but the seed.

    Raises
    ------
    RaysimError
        For the first such number.
    """
    if not 0 <= seed < 2**64:
        raise RaysimError(f"seed {seed} is out of range. Mend: give 0 to 2**64 - 1")
    if photons is not None and not 1 <= photons <= MOST_PHOTONS:
        raise RaysimError(f"photons {photons} is out of range. Mend: give 1 to {MOST_PHOTONS:,}")
    if precision is not None and not 0.0005 <= precision < 1.0:
        raise RaysimError(f"precision {precision} is out of range. Mend: give 0.0005 to below 1")
    if threads is not None and not 1 <= threads <= 1024:
        raise RaysimError(f"threads {threads} is out of range. Mend: give 1 to 1024")


def batches_in_all(forward: PhotonCycle, photons: int | None) -> int:
    """Whole batches of every pose in which `photons`, or the default number, are reached."""
    return max(-(-(photons or DEFAULT_PHOTONS) // int(forward.batch_photons.sum())), FEWEST_BATCHES)


def trace_batches(
    forward: PhotonCycle, batches: int, progress: Progress, checkpoint: Checkpoint
) -> bool:
    """Trace until so many batches are done, and keep them; returns whether Ctrl-C broke it off."""
    for number, run in enumerate(forward.runs):
        checkpoint.keep(f"photons {number}", run.tallies, run.restore)
    if checkpoint.is_joined:
        checkpoint.save()  # they lie in no checkpoint yet
    per_batch = int(forward.batch_photons.sum())
    step = batches_a_step(forward.threads)
    progress = checkpoint.watching(progress)
    try:
        while forward.batches < batches:
            with hold_interrupts():
                forward.add_batches(min(step, batches - forward.batches))
            progress("tracing photons", forward.batches * per_batch, batches * per_batch)
    except KeyboardInterrupt:
        if forward.batches:
            checkpoint.save()
        return True
    return False


def _trace_back(
    run: DoseRun,
    backward: BackwardCycle,
    precision: float,
    progress: Progress,
    checkpoint: Checkpoint,
) -> None:
    """Backward paths from the darkest face-sides, the brightest, and the darkest without a lamp.

    Raises
    ------
    KeyboardInterrupt
        With all that was traced until then in `run`.
    """
    sites, state = run.sites, run.state

    def restore_paths(one: BackwardRun, saved: dict[str, np.ndarray]) -> None:
        one.restore(sites.targets(state.sites_by_row()), saved)

    with hold_interrupts():
        checkpoint.keep("refinement", state.tallies, state.restore)
        for number, one in enumerate(backward.runs):
            checkpoint.keep(f"paths {number}", one.tallies, partial(restore_paths, one))
    try:
        watched = checkpoint.watching(progress)
        refine(backward, sites, state, run.factors, precision=precision, progress=watched)
    except KeyboardInterrupt:
        checkpoint.save()
        raise
    # The brightest are chosen by what is known when this begins: nothing is written in its midst,
    # and what is broken off there goes on from the checkpoint before it.
    checkpoint.save_if_due()
    refine_best(backward, sites, state, run.factors, progress)
    trace_failures(run, backward, progress)
