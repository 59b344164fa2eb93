"""More backward paths from what is darkest when a lamp fails, lamp by lamp, in the same run."""

import numpy as np

from raysim.base.progress import Progress
from raysim.dose.dose_run import DoseRun
from raysim.estimate.refine import refine, take_over
from raysim.estimate.refinement import forward_only
from raysim.transport.poses import BackwardCycle

PRECISION = 0.1  # of the worst spot of each failure, which is told for comparison only
SHARE = 1 / 3  # of all that was traced so far may go into all failures together
TURNS = 2  # the second for what the first did not settle; own choice, as the share


def trace_failures(run: DoseRun, backward: BackwardCycle, progress: Progress) -> None:
    """Add paths to `backward` until the worst spot without each burning lamp is known fairly well.

    `lamp_failures` reads them from the tallies of the lamps. They serve the light of all lamps too.
    What the best look at each site vouched for is kept: a later one may know less, where a site has
    given up what it read.
    What one failure leaves of its part goes to the others, in a second turn to those not settled.
    """
    before = run.state.rounds.copy()
    burning = np.flatnonzero(run.factors[0] > 0.0)
    if len(burning) < 2:
        return
    most = backward.rays + SHARE * (backward.rays + run.forward.segments)
    try:
        for _ in range(TURNS):
            for others, lamp in zip(range(len(burning), 0, -1), burning, strict=True):
                upto = backward.rays + (most - backward.rays) / others
                if upto > backward.rays and _settled(run, backward, int(lamp), upto, progress):
                    burning = burning[burning != lamp]
    finally:
        take_over(backward, run.state, np.flatnonzero(run.state.rounds > before), run.factors)


def _settled(
    run: DoseRun, backward: BackwardCycle, lamp: int, most_rays: float, progress: Progress
) -> bool:
    """Whether the worst spot without a lamp is known well enough, after more paths for it."""
    state, at = run.state, (slice(None), run.sites.faces, run.sites.sides)
    light, variance = run.by_lamp[0][at], run.by_lamp_variance[0][at]
    factors = run.factors[:1].copy()
    factors[0, lamp] = 0.0
    weights = factors[0][:, None]
    mean = (light * weights).sum(axis=0)[None]
    error = np.sqrt((variance * weights**2).sum(axis=0))[None]
    without = forward_only(mean, error, np.zeros_like(mean))
    without.cases_decided, without.too_dark = 1, state.too_dark
    # The same arrays: every look at a site counts for both.
    without.row, without.rounds, without.reads = state.row, state.rounds, state.reads
    take_over(backward, without, np.flatnonzero(without.row >= 0), factors)
    refine(
        backward,
        run.sites,
        without,
        factors,
        precision=PRECISION,
        progress=progress,
        most_rays=most_rays,
    )
    held = run.bound_without.get(lamp, without.bound[0])
    run.bound_without[lamp] = np.maximum(held, without.bound[0])
    return without.reached
