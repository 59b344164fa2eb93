"""Is turning over worth it? The cycle of several poses against hanging in one of them all along."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from raysim.dose.exposure import CycleCurve, Requirement, WarmUpCurve
from raysim.dose.judge import site_spot
from raysim.dose.result import PoseResult, Spot
from raysim.estimate.face_sides import Sites
from raysim.estimate.photon_counts import Counted, counted_irradiance
from raysim.estimate.refine import refine
from raysim.estimate.refinement import Refinement
from raysim.scene.build import BuiltScene
from raysim.scene.poses import PosedTriangles
from raysim.scene.triangles import SIDES
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.options import RunOptions
from raysim.transport.paths import ROUND_BATCHES, BackwardRun
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


@dataclass(frozen=True)
class Known:
    """What is known of the sites of a cycle; `factors` (lamps,) is the output of each lamp."""

    sites: Sites
    state: Refinement
    factors: np.ndarray


def pose_results(
    scene: BuiltScene,
    arrays: Sequence[KernelScene],
    forward: PhotonRun,
    sites: Sites,
    *,
    factors: np.ndarray,
    error: float,
    precision: float | None,
    times: Sequence[float],
    requirement: Requirement,
    options: RunOptions,
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
    error : float
        Error probability that the bound from photon counts may use.
    times : (poses,) float, s
        Of each pose within the cycle.
    requirement : Requirement
        Of the cycle.
    """
    curve = requirement.warm_up
    if not isinstance(forward, PhotonPoses) or not isinstance(curve, CycleCurve):
        return ()
    asked = replace(requirement, warm_up=curve.of_one_pose)
    found = []
    for number, (pose, run) in enumerate(zip(scene.poses, forward.runs, strict=True)):
        state = _counted(run, pose, sites, factors, error)
        if precision is not None:
            alone, own = (replace(pose, share=1.0),), arrays[number : number + 1]
            key = alone_seed(options.seed, number)
            back = backward_run(
                alone, own, key, run.threads, cases=slice(0, 1), batches=ROUND_BATCHES
            )
            refine(
                back,
                sites,
                state,
                factors[None],
                precision=max(precision, ALONE_PRECISION),
                progress=options.progress,
                most_rays=ALONE_RAYS,
            )
        most = state.mean[0] + UPPER * state.error[0]
        light = (state.mean[0], state.error[0], state.bound[0])
        worst = site_spot(pose.triangles, sites, int(most.argmin()), light)
        worst = replace(worst, lower_bound=float(state.bound[0].min()))
        longest, shortest = asked.time(worst.lower_bound), asked.time(float(most.min()))
        found.append(PoseResult(pose.name, pose.share, times[number], longest, worst, shortest))
    return tuple(found)


def with_worst(
    found: Sequence[PoseResult],
    scene: BuiltScene,
    runs: tuple[PhotonRun, BackwardRun | None],
    known: Known,
    worst: Spot,
) -> tuple[PoseResult, ...]:
    """The poses with what each gives to the worst spot of the cycle, cautious case.

    Photons and paths of each pose are joined in the shares that they have in the state, so that
    share x irradiance of the poses adds up to the irradiance that is told of the spot.
    """
    forward, backward = runs
    if not found or not isinstance(forward, PhotonPoses):
        return ()
    sites, state, factors = known.sites, known.state, known.factors
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
    total, squares = run.arrivals()  # cases, lamps, faces, sides
    areas = pose.triangles.areas
    scale = (factors * run.scene.lamp_watts / run.photons)[:, None, None] / areas[:, None]
    counts = counted_irradiance((total[0], squares[0]), run.batches, scale)
    by_lamp, variance = (tally[None] for tally in sites.averaged(*counts))
    one_photon = np.broadcast_to(scale.max(axis=0), by_lamp.shape[2:])[None]
    counted = Counted(by_lamp.sum(axis=1), variance.sum(axis=1), one_photon)
    state = counted.at((sites.faces, sites.sides)).state(error)
    state.cases_decided = 1
    return state
