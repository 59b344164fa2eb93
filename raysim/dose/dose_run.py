"""A dose run on its way from tallies to a result: what is known of every face-side so far."""

from dataclasses import replace

import numpy as np

from raysim.base.cases import CASES
from raysim.dose.lamp_output import lamp_factors, requirement_of
from raysim.dose.result import PoseResult
from raysim.dose.second_look import SecondLook
from raysim.estimate.face_sides import judged_sites
from raysim.estimate.photon_counts import Counted, counted_irradiance
from raysim.scene.build import BuiltScene
from raysim.transport.poses import BackwardCycle, PhotonCycle


class DoseRun:
    """One run, from photons alone at first; backward paths change `state`.

    Attributes
    ----------
    left : (lamps,) bool
        Which lamps burn.
    error : float
        Error probability that the bounds from photon counts may use.
    factors : (cases, lamps) float64
        Output of each lamp as a share of its rating; 0 for one that is out.
    requirement : Requirement
        Of the cycle.
    sites : Sites
    by_lamp, by_lamp_variance : (cases, lamps, faces, 2) float64
        Irradiance from photon counts by lamp at full rated output, W/m2, and its variance.
    counted : Counted
        The same of all lamps in use, (cases, faces, 2).
    state : Refinement
        What is known of the judged face-sides.
    backward : BackwardCycle or None
        The backward paths that `state` rests on, if any.
    poses : tuple of PoseResult
        Each of several poses by itself, once that is known.
    bound_without : dict of int to (sites,) float64
        Lower bounds (W/m2) of the cautious case with a lamp out, by its number, from the paths
        that were traced for its failure.
    second : SecondLook or None
        What the originals of thinned meshes get, once that is known.
    """

    def __init__(
        self, scene: BuiltScene, forward: PhotonCycle, error: float, left: np.ndarray
    ) -> None:
        self.scene, self.forward, self.error, self.left = scene, forward, error, left
        self.backward: BackwardCycle | None = None
        self.poses: tuple[PoseResult, ...] = ()
        self.bound_without: dict[int, np.ndarray] = {}
        self.second: SecondLook | None = None
        once = requirement_of(scene.written)
        curve = replace(once.warm_up, poses=scene.written.pose_shares)
        self.requirement = replace(once, warm_up=curve)
        self.sites = sites = judged_sites(scene.triangles, scene.written.target.judge_area)
        behaviour = scene.written.lamps_behaviour
        factors = lamp_factors([lamp.hours for lamp in scene.triangles.lamps], behaviour)
        self.factors = np.stack([factors[case] for case in CASES]) * left
        self.lamp_watts = forward.runs[0].scene.lamp_watts
        watts_per_photon = self.lamp_watts / forward.photons_by_case
        scale = watts_per_photon[:, :, None, None] / scene.triangles.areas[:, None]
        counts = counted_irradiance(forward.arrivals(), forward.batches, scale)
        self.by_lamp, self.by_lamp_variance = sites.averaged(*counts)
        f = self.factors[:, :, None, None]
        mean = (self.by_lamp * f).sum(axis=1)
        one_photon = scale.max(axis=1) * self.factors.max(axis=1)[:, None, None]
        self.counted = Counted(
            mean,
            (self.by_lamp_variance * f**2).sum(axis=1),
            np.broadcast_to(one_photon, mean.shape),
        )
        self._begin_refinement()

    def _begin_refinement(self) -> None:
        sites = self.sites
        counted = self.counted.at((sites.faces, sites.sides))
        level = (counted.mean * sites.areas).sum(axis=1) / sites.areas.sum()
        self.state = counted.state(self.error)
        self.state.counts = level[:, None] / counted.one_photon
        self.state.everywhere = True
        self.state.too_dark = np.array([self.requirement.week_irradiance])
