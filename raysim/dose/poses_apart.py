"""Is turning over worth it? The cycle of several poses against hanging in one of them all along."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from raysim.base.progress import Progress
from raysim.dose.exposure import CycleCurve, WarmUpCurve, exposure_time
from raysim.dose.judge import spot
from raysim.dose.result import PoseResult, Spot
from raysim.estimate.bounds import count_lower_bound, count_variance
from raysim.estimate.face_sides import Estimate, Sites
from raysim.estimate.refine import refine
from raysim.estimate.refinement import Refinement, forward_only
from raysim.scene.build import BuiltScene
from raysim.scene.poses import PosedTriangles
from raysim.scene.triangles import SIDES
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.paths import BackwardRun
from raysim.transport.photons import PhotonRun
from raysim.transport.poses import BackwardPoses, PhotonPoses, backward_run
from raysim.transport.streams import alone_seed

ALONE_PRECISION = 0.05  # of the time in one pose alone, which is told for comparison only
ALONE_RAYS = 10_000_000  # of each: a side in the dark is what poses are for, and has no end
UPPER = 3.0  # standard errors above which no irradiance is thought to lie


def cycle_curve(warm_up: WarmUpCurve, shares: Sequence[float]) -> WarmUpCurve:
    """Output over a cycle: each pose warms up anew; the plain curve where there is one pose."""
    if len(shares) == 1:
        return warm_up
    return CycleCurve(warm_up.times, warm_up.shares, warm_up.time_constant, tuple(shares))


def pose_results(
    scene: BuiltScene,
    arrays: Sequence[KernelScene],
    forward: PhotonRun,
    sites: Sites,
    factors: np.ndarray,
    allowed: tuple[float, float | None],
    bound: float,
    warm_up: WarmUpCurve,
    seed: int,
    progress: Progress,
) -> tuple[PoseResult, ...]:
    """Time of each pose within the cycle, and the time that it would take alone.

    Cautious case. The bound of one pose alone holds for all its judged face-sides at the same
    confidence as that of the cycle, and comes as near to its worst one as asked, or as
    `ALONE_PRECISION` where that is coarser, or as `ALONE_RAYS` bring it. It rests on photon counts
    alone where no precision is asked for.

    Parameters
    ----------
    factors : (lamps,) float64
        Output of each lamp as a share of its rating.
    allowed : (float, float or None)
        Error probability that the bound from photon counts may use, and precision asked for.
    bound : float
        On the worst face-side of the cycle, W/m2.
    warm_up : WarmUpCurve
        Of the cycle.
    """
    if not isinstance(forward, PhotonPoses) or not isinstance(warm_up, CycleCurve):
        return ()
    error, precision = allowed
    asked = (scene.written.target.dose, scene.written.target.safety_factor)
    times = warm_up.pose_times(exposure_time(bound, *asked, warm_up))
    found = []
    for number, (pose, run) in enumerate(zip(scene.poses, forward.runs, strict=True)):
        state = _counted(run, pose, sites, factors, error)
        if precision is not None:
            alone = (replace(pose, share=1.0),)
            key = alone_seed(seed, number)
            these = arrays[number : number + 1]
            back = backward_run(alone, these, key, run.threads, cases=slice(0, 1))
            near = max(precision, ALONE_PRECISION)
            refine(back, sites, state, factors[None], near, progress, ALONE_RAYS)
        most = state.mean[0] + UPPER * state.error[0]
        bound, site = float(state.bound[0].min()), int(most.argmin())
        fields = np.zeros((3, *pose.triangles.judged.shape))
        fields[:, sites.faces, sites.sides] = state.mean[0], state.error[0], state.bound[0]
        worst = spot(pose.triangles, Estimate(*fields), sites.faces[site], sites.sides[site])
        worst = replace(worst, lower_bound=bound)
        own = [exposure_time(e, *asked, warm_up.of_one_pose) for e in (bound, float(most[site]))]
        found.append(PoseResult(pose.name, pose.share, times[number], own[0], worst, own[1]))
    return tuple(found)


def with_worst(
    found: Sequence[PoseResult],
    scene: BuiltScene,
    forward: PhotonRun,
    backward: BackwardRun | None,
    sites: Sites,
    state: Refinement,
    factors: np.ndarray,
    worst: Spot,
) -> tuple[PoseResult, ...]:
    """The poses with what each gives to the worst spot of the cycle, cautious case.

    Photons and paths of each pose are joined in the shares that they have in `state`, so that
    share x irradiance of the poses adds up to the irradiance that is told of the spot.

    Parameters
    ----------
    factors : (lamps,) float64
        Output of each lamp as a share of its rating.
    """
    if not found or not isinstance(forward, PhotonPoses):
        return ()
    side = SIDES.index(worst.side)
    site = np.flatnonzero((sites.faces == worst.face) & (sites.sides == side))
    share = float(state.share[0, site[0]])
    told = []
    for number, (one, pose) in enumerate(zip(found, scene.poses, strict=True)):
        light = _counted(forward.runs[number], pose, sites, factors, 0.5).mean[0, site[0]]
        if isinstance(backward, BackwardPoses) and state.row[site[0]] >= 0:
            batches = backward.runs[number].batch_irradiance(state.row[site])[0]
            paths = (batches[..., 0] @ factors).mean()
            light = share * paths + (1.0 - share) * light
        told.append(replace(one, at_worst=float(light)))
    return tuple(told)


def _counted(
    run: PhotonRun, pose: PosedTriangles, sites: Sites, factors: np.ndarray, error: float
) -> Refinement:
    """What the photons of one pose say of each judged face-side, cautious case."""
    total, squares = (tally[0] for tally in run.arrivals())  # lamps, faces, sides
    areas = pose.triangles.areas
    scale = (factors * run.scene.lamp_watts / run.photons)[:, None, None] / areas[:, None]
    spread = np.maximum(count_variance(total, squares, run.batches), 0.0) * scale**2
    by_lamp, by_lamp_variance = sites.averaged(total * scale, spread)
    at = (sites.faces, sites.sides)
    mean, variance = by_lamp.sum(axis=0)[at], by_lamp_variance.sum(axis=0)[at]
    one = scale.max(axis=0)[sites.faces, 0]
    noise = np.where(variance > 0.0, np.sqrt(variance), one)
    bound = count_lower_bound(mean, variance, error)
    state = forward_only(mean[None], noise[None], bound[None])
    state.settle = 1
    return state
