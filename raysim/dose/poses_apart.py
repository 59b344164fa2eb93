"""Is turning over worth it? The cycle of several poses against hanging in one of them all along."""

from dataclasses import replace

import numpy as np

from raysim.dose.dose_run import DoseRun
from raysim.dose.judge import site_spot
from raysim.dose.result import PoseResult, Spot
from raysim.estimate.photon_counts import Counted, counted_irradiance
from raysim.estimate.refine import refine
from raysim.estimate.refinement import Refinement
from raysim.scene.triangles import SIDES
from raysim.transport.options import RunOptions
from raysim.transport.paths import ROUND_BATCHES, BackwardRun
from raysim.transport.streams import alone_seed

ALONE_PRECISION = 0.05  # of the time in one pose alone, which is told for comparison only
ALONE_RAYS = 10_000_000  # for each pose: a side that hangs in the dark would never be settled
UPPER = 3.0  # standard errors above which no irradiance is thought to lie


def pose_results(
    run: DoseRun, precision: float | None, options: RunOptions
) -> tuple[PoseResult, ...]:
    """Time of each of several poses within the cycle, and the time that it would take alone.

    Cautious case. The bound of one pose alone holds for all its judged face-sides at the same
    confidence as that of the cycle, and comes as near to its worst one as asked, or as
    `ALONE_PRECISION` where that is coarser, or as `ALONE_RAYS` bring it. It rests on photon counts
    alone where no precision is asked for.
    """
    if len(run.scene.poses) == 1:
        return ()
    curve = run.requirement.warm_up
    times = curve.pose_times(run.requirement.time(float(run.state.bound[0].min())))
    asked = replace(run.requirement, warm_up=curve.of_one_pose)
    found = []
    for number, pose in enumerate(run.scene.poses):
        state = _counted(run, number)
        if precision is not None:
            back = BackwardRun(
                run.forward.runs[number].scene,
                pose.triangles,
                alone_seed(options.seed, number),
                options.threads,
                cases=slice(0, 1),
                batches=ROUND_BATCHES,
            )
            refine(
                back,
                run.sites,
                state,
                run.factors[:1],
                precision=max(precision, ALONE_PRECISION),
                progress=options.progress,
                most_rays=ALONE_RAYS,
            )
        most = state.mean[0] + UPPER * state.error[0]
        light = (state.mean[0], state.error[0], state.bound[0])
        worst = site_spot(pose.triangles, run.sites, int(most.argmin()), light)
        worst = replace(worst, lower_bound=float(state.bound[0].min()))
        longest, shortest = asked.time(worst.lower_bound), asked.time(float(most.min()))
        found.append(PoseResult(pose.name, pose.share, times[number], longest, worst, shortest))
    return tuple(found)


def with_worst(run: DoseRun, worst: Spot) -> tuple[PoseResult, ...]:
    """The poses with what each gives to the worst spot of the cycle, cautious case.

    Photons and paths of each pose are joined in the shares that they have in the state, so that
    share x irradiance of the poses adds up to the irradiance that is told of the spot.
    """
    sites, state = run.sites, run.state
    side = SIDES.index(worst.side)
    site = np.flatnonzero((sites.faces == worst.face) & (sites.sides == side))
    share = float(state.share[0, site[0]])
    told = []
    for number, one in enumerate(run.poses):
        light = _counted(run, number).mean[0, site[0]]
        if run.backward is not None and state.row[site[0]] >= 0:
            batches = run.backward.runs[number].batch_irradiance(state.row[site])[0]
            paths = (batches[..., 0] @ run.factors[0]).mean()
            light = share * paths + (1.0 - share) * light
        told.append(replace(one, at_worst=float(light)))
    return tuple(told)


def _counted(run: DoseRun, number: int) -> Refinement:
    """What the photons of one pose say of each judged face-side, cautious case."""
    photons, sites = run.forward.runs[number], run.sites
    areas = run.scene.poses[number].triangles.areas
    total, squares = photons.arrivals()  # cases, lamps, faces, sides
    watts = run.factors[0] * photons.scene.lamp_watts
    scale = (watts / photons.photons)[:, None, None] / areas[:, None]
    counts = counted_irradiance((total[0], squares[0]), photons.batches, scale)
    by_lamp, variance = (tally[None] for tally in sites.averaged(*counts))
    one_photon = np.broadcast_to(scale.max(axis=0), by_lamp.shape[2:])[None]
    counted = Counted(by_lamp.sum(axis=1), variance.sum(axis=1), one_photon)
    state = counted.at((sites.faces, sites.sides)).state(run.error)
    state.cases_decided = 1
    return state
