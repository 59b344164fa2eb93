"""A box with everything in it, ready to be traced with any lining."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.base.figures import Figures
from raysim.dose.result import Spot
from raysim.estimate.cells import in_cells
from raysim.estimate.face_sides import judged_sites
from raysim.scene.build import BuiltScene
from raysim.studies.linings.columns import (
    Variant,
    alike_lamps_as_one,
    bare_scene,
    column_scene,
)
from raysim.studies.linings.counting import counted
from raysim.studies.tracer import Tracer, WorstOfCases
from raysim.studies.walls import wall_bodies
from raysim.transport.options import RunOptions

STUDY_CASES = (CAUTIOUS, EXPECTED)
WALL_PRECISION = 0.1


@dataclass(frozen=True)
class CaseOfLining(Figures):
    """What one lining gives in one case; irradiances in W/m2.

    `worst.lower_bound` and `exposure_time` (s) hold for all judged faces together; `dark` says that
    the worst was found too dark to wait for.
    """

    worst: Spot
    best: float
    exposure_time: float
    settled: bool
    dark: bool

    @property
    def evenness(self) -> float:
        """Irradiance that 1 % of the area exceeds over that of the worst-lit face (definition)."""
        return self.best / self.worst.irradiance if self.worst.irradiance > 0.0 else np.inf


class LiningBench(Tracer):
    """The box with its judged sites and its walls."""

    def __init__(self, scene: BuiltScene, options: RunOptions) -> None:
        super().__init__(scene, options)
        self.triangles = scene.triangles
        self.bare = bare_scene(scene.triangles)
        self.sites = judged_sites(scene.triangles)
        self.cells = in_cells(scene.triangles, self.sites)
        self.walls = wall_bodies(scene.triangles)
        self._both = np.stack([self.factors[case] for case in STUDY_CASES])

    def wall_area(self, walls: Sequence[int]) -> float:
        """Area of some walls (bodies), m2."""
        return float(self.triangles.areas[np.isin(self.triangles.face_body, walls)].sum())

    def worst_face(
        self, group: Sequence[Variant], precision: float, most_rays: float = math.inf
    ) -> WorstOfCases:
        """Worst face of every variant of a group in both cases, among all judged faces."""
        arrays = column_scene(self.triangles, group, self.bare)
        factors = np.tile(self._both, (len(group), 1))
        box = (self.triangles, self.sites)
        state, segments = counted(self.bare, box, group, factors, self.options)
        self.rays += segments
        self.options.progress("counting photons under each lining", 1.0, 1.0)
        arrays, factors = alike_lamps_as_one(arrays, factors)
        return self.worst(
            arrays,
            self.triangles,
            self.sites,
            factors,
            precision=precision,
            seed=self.options.seed,
            counted=state,
            most_rays=most_rays,
        )

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

    def cases(self, found: WorstOfCases, number: int, precision: float) -> dict[str, CaseOfLining]:
        """Both cases of the variant with this number in its group."""
        cases = {}
        for column, name in enumerate(STUDY_CASES, len(STUDY_CASES) * number):
            worst = found.worst(column)
            cases[name] = CaseOfLining(
                worst=worst,
                best=found.best(column),
                exposure_time=self.requirement.time(worst.lower_bound),
                settled=worst.lower_bound >= (1.0 - 1.5 * precision) * worst.irradiance,
                dark=bool(found.dark[column].any()),
            )
        return cases
