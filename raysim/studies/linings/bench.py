"""A box with everything in it, ready to be traced with any lining."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.base.figures import Figures
from raysim.dose.exposure import LONGEST_TIME
from raysim.dose.result import Spot
from raysim.estimate.bounds import FORWARD_ERROR, count_variance
from raysim.estimate.cells import in_cells
from raysim.estimate.face_sides import GUESS_ERRORS, judged_sites
from raysim.estimate.photon_counts import Counted
from raysim.estimate.refinement import Refinement
from raysim.scene.build import BuiltScene
from raysim.studies.linings.columns import (
    Variant,
    alike_lamps_as_one,
    bare_scene,
    column_scene,
    equally_glossy,
    in_groups,
    lamps_summed,
)
from raysim.studies.tracer import Tracer, WorstOfCases
from raysim.transport.known import known_beforehand, light_on_tiles
from raysim.transport.options import RunOptions
from raysim.transport.paths import ROUND_BATCHES
from raysim.transport.photons import BATCH_PHOTONS, PhotonRun
from raysim.transport.tiles import tiles_of

STUDY_CASES = (CAUTIOUS, EXPECTED)
WALL_PRECISION = 0.1
# A lining that is shown to take so many times as long as the best one is not followed further:
# nobody takes it, and to settle it would cost minutes. Own choice.
TOO_SLOW = 4.0
PHOTONS = 8 * BATCH_PHOTONS  # of each run


@dataclass(frozen=True)
class CaseOfLining(Figures):
    """What one lining gives in one case; irradiances in W/m2.

    `worst.lower_bound` and `exposure_time` (s) hold for all judged faces together. Where the worst
    was found too dark to go on with, `stopped` is the time that it takes at least (s), else None.
    """

    worst: Spot
    best: float
    exposure_time: float
    settled: bool
    stopped: float | None = None

    @property
    def dark(self) -> bool:
        """Whether it takes more than a week: too dark to wait for (definition)."""
        return self.stopped is not None and self.stopped > LONGEST_TIME

    @property
    def time(self) -> float:
        """Seconds by which to compare: the exposure time, or the least where it was stopped."""
        return self.exposure_time if self.stopped is None else self.stopped

    @property
    def evenness(self) -> float:
        """Irradiance that 1 % of the area exceeds over that of the worst-lit face (definition)."""
        return self.best / self.worst.irradiance if self.worst.irradiance > 0.0 else np.inf


@dataclass(frozen=True)
class LiningRow(Figures):
    """One lining in both cases, and what it costs.

    Attributes
    ----------
    gain : dict of str to float
        Worst-face irradiance over that in a bare black box, by case; inf where that gets none.
    most : float
        What the worst face gets at most in the cautious case, W/m2, as `compare` found it.
    area : float
        To be lined, m2.
    cost : float or None
        Area times the user's price per m2.
    """

    name: str
    cases: dict[str, CaseOfLining]
    gain: dict[str, float]
    area: float
    cost: float | None = None
    most: float = math.inf


class LiningBench(Tracer):
    """The box with its judged sites and its walls."""

    def __init__(self, scene: BuiltScene, options: RunOptions) -> None:
        super().__init__(scene, options)
        self.triangles = scene.triangles
        self.bare = bare_scene(scene.triangles)
        self.tiles = tiles_of(self.bare, scene.triangles)
        self.sites = judged_sites(scene.triangles)
        self.cells = in_cells(scene.triangles, self.sites)
        self.walls = scene.triangles.walls
        self._both = np.stack([self.factors[case] for case in STUDY_CASES])

    def worst_face(
        self,
        group: Sequence[Variant],
        precision: float,
        most_rays: float = math.inf,
        best: np.ndarray | None = None,
    ) -> WorstOfCases:
        """Worst face of every variant of a group in both cases, among all judged faces.

        `best` is what the worst face gets under the best variant elsewhere, (cases,) W/m2: what
        is shown to take `TOO_SLOW` times as long as that, or as the best of this group, is not
        followed further.
        """
        arrays = column_scene(self.triangles, group, self.bare)
        factors = np.tile(self._both, (len(group), 1))
        state, light, segments = self.counted(group, factors)
        first, *others = (one.name.partition(",")[0] for one in group)  # short: a line of 80
        more = f" and {len(others)} more" if others else ""
        self.options.progress(f"photons under {first}{more}", 1.0, 1.0)
        arrays, factors, kind = alike_lamps_as_one(arrays, factors)
        light = lamps_summed(light, kind, factors.shape[1])
        known = known_beforehand(arrays, self.triangles, self.tiles, light, segments)

        def too_slow(state: Refinement) -> np.ndarray:
            own = best_of_group(state)
            both = own if best is None else np.maximum(own, best)
            return np.resize(both / TOO_SLOW, len(state.bound))

        is_black = not any(wall.reflectance_high for one in group for wall in one.walls)
        return self.worst(
            arrays,
            self.triangles,
            self.sites,
            factors,
            precision=precision,
            seed=self.options.seed,
            counted=state,
            most_rays=most_rays,
            too_slow=None if best is None else too_slow,
            known=None if is_black else known,  # there is next to nothing to read
        )

    def counted(
        self, variants: Sequence[Variant], factors: np.ndarray
    ) -> tuple[Refinement, np.ndarray, float]:
        """What photons say of each site under each variant: which of them can be the worst.

        Also what each batch counted on tiles, as `light` of `Known`, and the segments of a photon.

        Photons carry no weights, so variants share a run only where they are equally glossy wall
        by wall: then a photon carries one bit for each of them. Columns are those of
        `column_scene`; `factors` (columns, lamps) is the output of each lamp as a share of its
        rating.
        """
        sites, columns = self.sites, len(factors)
        each = columns // len(variants)
        mean, variance, one_photon = np.zeros((3, columns, len(sites.faces)))
        lamps, segments = len(self.triangles.lamps), 0.0
        light = np.zeros((ROUND_BATCHES, len(self.tiles.areas), lamps, columns), np.float32)
        for places in in_groups(variants, equally_glossy):
            arrays = column_scene(self.triangles, [variants[k] for k in places], self.bare)
            assert (arrays.surfaces.lobe == arrays.surfaces.lobe[:, :1]).all()
            run = PhotonRun(
                arrays,
                self.options.seed,
                self.options.threads,
                batch_photons=PHOTONS // ROUND_BATCHES,
                tiles=self.tiles,
                groups=ROUND_BATCHES,
            )
            run.add_batches(ROUND_BATCHES)
            own = [each * place + k for place in places for k in range(each)]
            total, squares = (t[:, :, sites.faces, sites.sides] for t in run.arrivals())
            scale = factors[own] * (arrays.lamp_watts / run.photons)  # columns, lamps
            spread = count_variance(total, squares, run.batches)
            mean[own] = np.einsum("clu,cl->cu", total, scale) / sites.areas
            variance[own] = np.einsum("clu,cl->cu", spread, scale**2) / sites.areas**2
            one_photon[own] = scale.max(axis=1)[:, None] / sites.areas
            light[..., own] = light_on_tiles(run)
            segments += run.segments / run.photons.sum() * len(places) / len(variants)
            self.rays += run.segments
        return Counted(mean, variance, one_photon).state(FORWARD_ERROR), light, segments

    def worst_cell(self, variant: Variant) -> WorstOfCases:
        """Darkest cell of one variant in both cases."""
        return self.worst(
            column_scene(self.triangles, [variant], self.bare),
            self.triangles,
            self.cells,
            self._both,
            precision=WALL_PRECISION,
            seed=self.options.seed,
        )

    def row(
        self,
        name: str,
        walls: Sequence[int],
        found: WorstOfCases,
        precision: float,
        *,
        number: int = 0,
        black: LiningRow | None = None,
    ) -> LiningRow:
        """Row of the variant with this number in its group, which lines some `walls` (bodies).

        Its gain is over the `black` box, unless it is that.
        """
        cases, gain = {}, {}
        for column, case in enumerate(STUDY_CASES, len(STUDY_CASES) * number):
            worst = found.worst(column)
            cases[case] = CaseOfLining(
                worst=worst,
                best=found.best(column),
                exposure_time=self.requirement.time(worst.lower_bound),
                settled=worst.lower_bound >= (1.0 - 1.5 * precision) * worst.irradiance,
                stopped=self._least_time(worst) if found.dark[column].any() else None,
            )
            gain[case] = 1.0
            if black is not None:
                least = black.cases[case].worst.irradiance
                gain[case] = _gain(worst.irradiance, least)
        area = self.triangles.areas[np.isin(self.triangles.face_body, walls)].sum()
        return LiningRow(name, cases, gain, float(area))

    def _least_time(self, worst: Spot) -> float:
        """Seconds that a spot takes at least: by the upper end of its irradiance."""
        return self.requirement.time(worst.irradiance + GUESS_ERRORS * worst.standard_error)


def best_of_group(state: Refinement) -> np.ndarray:
    """Bound on the worst face of the best variant of a group in each case, W/m2."""
    return state.bound.min(axis=1).reshape(-1, len(STUDY_CASES)).max(axis=0)


def _gain(light: float, before: float) -> float:
    """Irradiance (W/m2) over that before; inf where there was none, 1 where there is none yet."""
    if before > 0.0:
        return light / before
    return np.inf if light > 0.0 else 1.0
