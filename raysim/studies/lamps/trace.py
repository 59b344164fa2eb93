"""A choice of lamps with its tubes in the way: worst face, its bound, and what a failure leaves."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.figures import Figures
from raysim.dose.result import Spot
from raysim.estimate.bounds import FORWARD_ERROR, count_variance
from raysim.estimate.cells import Cells
from raysim.estimate.face_sides import Sites
from raysim.estimate.photon_counts import Counted
from raysim.estimate.refinement import Refinement
from raysim.scene.build import BuiltScene, with_lamps
from raysim.scene.file.written import Lamp
from raysim.studies.lamps.sources import one_case
from raysim.studies.tracer import Tracer, WorstOfCases
from raysim.transport.kernel_scene import KernelScene, kernel_scene
from raysim.transport.known import known_light
from raysim.transport.options import RunOptions
from raysim.transport.paths import traced_irradiance
from raysim.transport.photons import PhotonRun
from raysim.transport.tiles import tiles_of

# Most of the time goes into the first round, one path of each batch from every face. So there are
# half as many batches as elsewhere; a tenth of the faces takes further rounds. Own choice.
BATCHES, BATCH_PHOTONS = 16, 32_768
MOST_RAYS = 4e7  # for one choice: a dark choice need not be known as well as a good one
FAILURE_PATHS, FAILURE_CELLS = 8, 16
DARK_FACES, WELL = 24, 0.1  # told of a choice, and the relative error up to which they are known


@dataclass(frozen=True)
class TracedLamps(Figures):
    """A choice of lamps as traced, cautious case; irradiances in W/m2.

    Attributes
    ----------
    scene : BuiltScene
        With these lamps.
    worst : Spot
        The worst face; its `lower_bound` holds for all of them.
    best : float
        Irradiance that 1 % of the judged area exceeds.
    time : float
        Exposure time from the bound, s, warm-up included.
    left : tuple of float
        Share of the light at the darkest spot that is left when each lamp fails; an estimate.
    field : (faces, 2) float64
        Irradiance of the judged face-sides as the mean over their cell of 1 cm2, for pictures.
    dark : (some,) int64
        Judged face-sides, one of a cell, the darkest first.
    """

    scene: BuiltScene
    worst: Spot
    best: float
    time: float
    left: tuple[float, ...]
    field: np.ndarray
    dark: np.ndarray

    @property
    def spread(self) -> float:
        """Light of the best-lit over that of the worst-lit spot (definition)."""
        return self.best / self.worst.irradiance if self.worst.irradiance > 0.0 else np.inf


class LampTracer:
    """Traces choices of lamps in a box with its load.

    `share` of the error probability of the usual bounds is spent on each choice.
    """

    def __init__(
        self, scene: BuiltScene, sites: Sites, cells: Cells, options: RunOptions, share: float
    ) -> None:
        self.scene, self.sites, self.cells = scene, sites, cells
        self.options, self.share = options, share
        self.rays = 0

    def traced(self, lamps: Sequence[Lamp], precision: float, seed: int) -> TracedLamps:
        """Worst face of all, with these lamps and nothing else changed."""
        scene = with_lamps(self.scene, lamps)
        triangles = scene.triangles
        tracer = Tracer(scene, self.options)
        factors = tracer.factors[CAUTIOUS][None]
        arrays = one_case(kernel_scene(triangles))
        photons = PhotonRun(
            arrays,
            seed % 2**64,
            self.options.threads,
            batch_photons=BATCH_PHOTONS,
            tiles=tiles_of(arrays, triangles),
            groups=BATCHES,
        )
        photons.add_batches(BATCHES)
        counted, by_cell = self._counted(photons, factors[0])
        found = tracer.worst(
            arrays,
            triangles,
            self.sites,
            factors,
            precision=precision,
            seed=seed,
            counted=counted,
            known=known_light(photons, triangles),
            most_rays=MOST_RAYS,
        )
        self.rays += tracer.rays + photons.segments
        worst, mean = found.worst(0), found.state.mean[0]
        return TracedLamps(
            scene=scene,
            worst=worst,
            best=found.best(0),
            time=tracer.requirement.time(worst.lower_bound),
            left=self._left(scene, arrays, factors[0], by_cell, seed),
            field=self._field(mean),
            dark=self._dark(found),
        )

    def _dark(self, found: WorstOfCases) -> np.ndarray:
        """The darkest judged face-sides of those known well, one of a cell."""
        mean, error = found.state.mean[0], found.state.error[0]
        known = np.flatnonzero((found.state.rounds > 0) & (error < WELL * mean))
        known = known[np.argsort(mean[known], kind="stable")]
        _, first = np.unique(self.cells.owner[known], return_index=True)
        return known[np.sort(first)[:DARK_FACES]]

    def _counted(self, photons: PhotonRun, factors: np.ndarray) -> tuple[Refinement, np.ndarray]:
        """What photons say of each site, with the share of the error probability.

        And of each cell by lamp, W/m2, (cells, lamps).
        """
        sites, cells = self.sites, self.cells
        total, squares = (t[:, :, sites.faces, sites.sides] for t in photons.arrivals())
        scale = factors * photons.scene.lamp_watts / photons.photons
        mean = np.einsum("clu,l->cu", total, scale) / sites.areas
        spread = count_variance(total, squares, photons.batches)
        variance = np.einsum("clu,l->cu", spread, scale**2) / sites.areas**2
        one = np.broadcast_to(scale.max() / sites.areas, mean.shape)
        state = Counted(mean, variance, one).state(self.share * FORWARD_ERROR)
        state.first_error *= self.share
        state.round_error *= self.share
        state.batches = BATCHES
        power = [np.bincount(cells.owner, of_lamp) for of_lamp in total[0] * scale[:, None]]
        return state, np.array(power).T / cells.areas[:, None]

    def _field(self, mean: np.ndarray) -> np.ndarray:
        """Means over cells by face-side, for pictures."""
        field = np.zeros(self.scene.triangles.judged.shape)
        field[self.sites.faces, self.sites.sides] = self.cells.over_cells(mean)
        return field

    def _left(
        self,
        scene: BuiltScene,
        arrays: KernelScene,
        factors: np.ndarray,
        by_cell: np.ndarray,
        seed: int,
    ) -> tuple[float, ...]:
        """Share of the light at the darkest cell that is left without each lamp in turn.

        Cells that look darkest by photons are looked at once more, by fresh paths.
        """
        lamps = len(factors)
        if lamps == 1:
            return (0.0,)
        out = np.vstack([np.ones(lamps), 1.0 - np.eye(lamps)]).T  # none, then each in turn
        dark = np.argsort(by_cell @ out, axis=0, kind="stable")[:FAILURE_CELLS]
        starts = self.cells.targets(np.unique(dark))
        options = replace(self.options, seed=(seed + 1) % 2**64)
        light, rays = traced_irradiance(arrays, scene.triangles, starts, FAILURE_PATHS, options)
        self.rays += rays
        worst = ((light[..., 0].mean(axis=1) * factors) @ out).min(axis=0)
        return tuple(float(one) for one in worst[1:] / max(worst[0], 1e-300))
