"""Backward paths for a study: its lamps, its options, and the worst site of several cases.

Photon counts have no part in it, unless a study brings them along.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.dose.judge import site_spot
from raysim.dose.lamp_output import lamp_factors, requirement_of
from raysim.dose.result import Spot
from raysim.estimate.bounds import ROUND_ERROR
from raysim.estimate.darkness import dark_sites, seems_dark
from raysim.estimate.face_sides import GUESS_ERRORS, Sites, upper_end, weighted_percentile
from raysim.estimate.refine import refine
from raysim.estimate.refinement import Refinement, forward_only
from raysim.kernels.records import Known
from raysim.scene.build import BuiltScene
from raysim.scene.triangles import SceneTriangles
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.options import RunOptions
from raysim.transport.paths import BackwardRun, traced_irradiance
from raysim.transport.pieces import Shared, each
from raysim.transport.starts import Start

COARSE = 0.3  # precision of a first look, by which slow cases are told from good ones


@dataclass(frozen=True)
class WorstOfCases:
    """What backward paths found for each case, over some sites.

    Attributes
    ----------
    state : Refinement
        Over the sites, (cases, sites).
    dark : (cases, sites) bool
        Found too dark to wait for (`darkness.dark_sites`): how dark was not looked for with care.
    """

    triangles: SceneTriangles
    sites: Sites
    state: Refinement
    dark: np.ndarray

    def bound(self, case: int) -> float:
        """Lower bound (W/m2) on the worst of the sites, whichever it is.

        No more than what the one that is named gets: one bound in twenty lies above, by chance.
        """
        named = self.state.mean[case, self.worst_site(case)]
        return float(min(self.state.bound[case].min(), named))

    def worst_site(self, case: int) -> int:
        """The site named as the worst: the lowest estimate among those known well.

        That is with an error below a tenth. Where none of these is too dark but others were found
        so, it is one of those; where none is known well, the lowest bound counts.
        """
        mean, error = self.state.mean[case], self.state.error[case]
        limit = self.state.too_dark[case]
        known = np.flatnonzero((self.state.rounds > 0) & (error < 0.1 * mean))
        named = int(known[mean[known].argmin()] if len(known) else self.state.bound[case].argmin())
        dark = np.flatnonzero(self.dark[case])
        if not len(dark) or (len(known) and mean[named] < limit):
            return named
        return int(dark[upper_end(mean, error, ~self.dark[case])[dark].argmin()])

    def worst(self, case: int) -> Spot:
        """Record of the worst face-side; its `lower_bound` holds for all of them."""
        light = (self.state.mean[case], self.state.error[case], self.state.bound[case])
        found = site_spot(self.triangles, self.sites, self.worst_site(case), light)
        return replace(found, lower_bound=self.bound(case))

    def best(self, case: int) -> float:
        """Irradiance (W/m2) that 1 % of the judged area exceeds, by the mean over 1 cm2.

        The very best one would show the noise.
        """
        smooth = self.sites.patches.means(self.state.mean[case])
        return weighted_percentile(smooth, self.sites.areas, 0.99)


def _called(own: "InPieces", call: tuple[Callable[..., Any], tuple[Any, ...]]) -> tuple[Any, int]:
    """What a method returns, and the rays that it took."""
    method, arguments = call
    before = own.rays
    return method(own, *arguments), own.rays - before


class InPieces:
    """What counts its `rays`, and may have calls answered by the workers of its `options`."""

    options: RunOptions
    rays: int

    def each(self, method: Callable[..., Any], calls: Sequence[tuple[Any, ...]]) -> Iterator[Any]:
        """What a method of this class returns for the arguments of each call, in their order.

        The calls must not need one another: the workers of `options.executor` may answer them, on
        copies of this object. Their rays are counted here.
        """
        before = self.rays
        pieces = [(method, call) for call in calls]
        answers = each(_called, Shared(self), pieces, self.options.executor)
        for number, (found, rays) in enumerate(answers, 1):
            before += rays
            self.rays = before
            if self.options.executor:  # here a piece tells of itself
                self.options.progress("on the workers", number, len(pieces))
            yield found


class Tracer(InPieces):
    """How the backward paths of a study are traced, and the `rays` that it has taken so far.

    `factors` is the output of each lamp as a share of its rating by case, (lamps,) float64 each.
    """

    def __init__(self, scene: BuiltScene, options: RunOptions) -> None:
        hours = [lamp.hours for lamp in scene.triangles.lamps]
        self.factors = lamp_factors(hours, scene.written.lamps_behaviour)
        self.requirement = requirement_of(scene.written)
        self.options = options
        self.rays = 0

    def seems_dark(
        self, mean: np.ndarray, error: np.ndarray, errors: float = GUESS_ERRORS
    ) -> np.ndarray:
        """Whether irradiances (W/m2) seem too low to wait for, by so many standard errors, bool.

        With DARK_ERRORS they are, if there were paths enough.
        """
        return seems_dark(mean, error, self.requirement.week_irradiance, errors)

    def batches(
        self,
        arrays: KernelScene,
        triangles: SceneTriangles,
        starts: Sequence[Start],
        paths: int,
        seed: int,
        *,
        columns: int = 1,
    ) -> np.ndarray:
        """Cautious irradiance by batch, W/m2, (cases, starts, batches).

        `paths` per batch and start. Of more `columns` of the surfaces than one every second is a
        cautious case, and only these are given.
        """
        options = replace(self.options, seed=seed % 2**64)
        light, rays = traced_irradiance(
            arrays, triangles, starts, paths, options, cases=slice(columns)
        )
        self.rays += rays
        factors = self.factors[CAUTIOUS]
        return np.stack([light[..., column] @ factors for column in range(0, columns, 2)])

    def worst(
        self,
        arrays: KernelScene,
        triangles: SceneTriangles,
        sites: Sites,
        factors: np.ndarray,
        *,
        precision: float,
        seed: int,
        round_error: float = ROUND_ERROR,
        counted: Refinement | None = None,
        most_rays: float = math.inf,
        too_slow: Callable[[Refinement], np.ndarray] | None = None,
        known: Known | None = None,
    ) -> WorstOfCases:
        """Trace backward paths from the sites until the worst of every case is known.

        All sites get some paths, those that could be the worst of any case get more. The bound
        of each case spends its error probability over the rounds, as `refine` does.

        Parameters
        ----------
        arrays : KernelScene
            A column of `arrays.surfaces` for each case; further ones are left out.
        factors : (cases, lamps) float64
        precision : float
            (worst - bound) / worst to reach in every case.
        round_error : float
            Error probability of the bounds at each of MOST_ROUNDS rounds, without `counted`.
        counted : Refinement, optional
            What photon counts say of the sites; default nothing.
        most_rays : float
            Where to stop all the same.
        too_slow : callable, optional
            Of what is known once every worst site is known to COARSE, gives (cases,) W/m2: a case
            in which a site gets less than this is closed, as one that takes a week is.
        known : Known, optional
            What paths may use of the light beforehand, in the columns and lamps of `arrays`.
        """
        cases = len(factors)
        if counted is None:
            nothing = np.zeros((cases, len(sites.faces)))
            counted = forward_only(nothing, nothing + np.inf, nothing)
            counted.first_error = counted.round_error = round_error
        counted.cases_decided = cases
        week = np.full(cases, self.requirement.week_irradiance)
        counted.too_dark = week
        seed, threads, progress = seed % 2**64, self.options.threads, self.options.progress
        only = slice(cases)
        run = BackwardRun(
            arrays, triangles, seed, threads, cases=only, batches=counted.batches, known=known
        )
        for step in [precision] if too_slow is None else [max(COARSE, precision), precision]:
            if too_slow is not None and step == precision:
                counted.too_dark = np.maximum(too_slow(counted), week)
                counted.enough_share = week / counted.too_dark
            refine(
                run,
                sites,
                counted,
                factors,
                precision=step,
                progress=progress,
                most_rays=most_rays,
            )
        self.rays += counted.rays
        return WorstOfCases(triangles, sites, counted, dark_sites(run, counted))
