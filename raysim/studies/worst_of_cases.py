"""Worst face-side of several cases by backward paths alone, all cases along the same paths."""

from dataclasses import dataclass, replace

import numpy as np

from raysim.dose.judge import site_spot
from raysim.dose.result import Spot
from raysim.estimate.bounds import ROUND_ERROR
from raysim.estimate.darkness import dark_sites
from raysim.estimate.discs import disc_means
from raysim.estimate.face_sides import Sites, upper_end, weighted_percentile
from raysim.estimate.refine import refine
from raysim.estimate.refinement import Refinement, forward_only
from raysim.scene.triangles import SceneTriangles
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.options import RunOptions
from raysim.transport.paths import ROUND_BATCHES, BackwardRun


@dataclass(frozen=True)
class WorstOfCases:
    """What backward paths found for each case, over some sites.

    Attributes
    ----------
    state : Refinement
        Over the sites, (cases, sites).
    factors : (cases, lamps) float64
        Output of each lamp as a share of its rating.
    dark : (cases, sites) bool
        Found too dark to wait for (`darkness.dark_sites`): how dark was not looked for with care.
    """

    triangles: SceneTriangles
    sites: Sites
    state: Refinement
    factors: np.ndarray
    dark: np.ndarray

    def bound(self, case: int) -> float:
        """Lower bound (W/m2) on the worst of the sites, whichever it is."""
        return float(self.state.bound[case].min())

    def worst_site(self, case: int) -> int:
        """The site named as the worst: the lowest estimate among those looked at closely.

        Closely means with an error below a tenth. Where none of these is too dark but others were
        found so, it is one of those; where none is known closely, the lowest bound counts.
        """
        mean, error = self.state.mean[case], self.state.error[case]
        close = np.flatnonzero((self.state.rounds > 0) & (error < 0.1 * mean))
        named = int(close[mean[close].argmin()] if len(close) else self.state.bound[case].argmin())
        dark = np.flatnonzero(self.dark[case])
        if not len(dark) or (len(close) and mean[named] < self.state.week_irradiance):
            return named
        return int(dark[upper_end(mean, error, ~self.dark[case])[dark].argmin()])

    def worst(self, case: int) -> Spot:
        """Record of the worst face-side; its `lower_bound` holds for all of them."""
        site = self.worst_site(case)
        light = (self.state.mean[case], self.state.error[case], self.state.bound[case])
        found = site_spot(self.triangles, self.sites, site, light)
        return replace(found, lower_bound=self.bound(case))

    def best(self, case: int) -> float:
        """Irradiance (W/m2) that 1 % of the judged area exceeds, by the mean over 1 cm2.

        The very best one would show the noise.
        """
        sites = self.sites
        smooth = disc_means(self.state.mean[case], sites.areas, sites.owner, sites.member)
        return weighted_percentile(smooth, sites.areas, 0.99)


def trace_worst(
    arrays: KernelScene,
    triangles: SceneTriangles,
    sites: Sites,
    factors: np.ndarray,
    options: RunOptions,
    *,
    precision: float,
    round_error: float = ROUND_ERROR,
    week_irradiance: float = 0.0,
) -> WorstOfCases:
    """Trace backward paths from the sites until the worst of every case is known.

    All sites get some paths, those that could be the worst of any case get more. The bound
    of each case spends its error probability over the rounds, as `refine` does; photon counts
    have no part in it.

    Parameters
    ----------
    arrays : KernelScene
        `arrays.surfaces` with one column per case.
    factors : (cases, lamps) float64
    precision : float
        (worst - bound) / worst to reach in every case.
    round_error : float
        Error probability of the bounds at each of at most MOST_ROUNDS rounds.
    week_irradiance : float
        W/m2, as in `Refinement`.
    """
    cases, count = len(factors), len(sites.faces)
    nothing, unknown = np.zeros((cases, count)), np.full((cases, count), np.inf)
    state = forward_only(nothing, unknown, nothing)
    state.cases_decided = cases
    state.first_error = state.round_error = round_error
    state.week_irradiance = week_irradiance
    run = BackwardRun(arrays, triangles, options.seed, options.threads, batches=ROUND_BATCHES)
    refine(run, sites, state, factors, precision=precision, progress=options.progress)
    return WorstOfCases(triangles, sites, state, factors, dark_sites(run, state))
