"""A box with everything in it, ready to be traced with any lining."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.base.figures import Figures
from raysim.base.progress import Progress
from raysim.dose.lamp_output import lamp_factors, requirement_of
from raysim.dose.result import Spot
from raysim.estimate.cells import in_cells
from raysim.estimate.darkness import dark_sites
from raysim.estimate.face_sides import judged_sites
from raysim.estimate.refine import refine
from raysim.scene.build import BuiltScene
from raysim.scene.triangles import SceneTriangles
from raysim.studies.linings.columns import (
    Variant,
    alike_lamps_as_one,
    bare_scene,
    column_scene,
    wall_bodies,
)
from raysim.studies.linings.counting import counted
from raysim.studies.worst_of_cases import WorstOfCases, trace_worst
from raysim.transport.options import RunOptions
from raysim.transport.paths import ROUND_BATCHES, BackwardRun
from raysim.transport.threads import default_threads

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


class LiningBench:
    """The box with everything in it, ready to be traced with any lining."""

    def __init__(self, scene: BuiltScene, seed: int, threads: int | None, progress: Progress):
        self.triangles: SceneTriangles = scene.triangles
        self.bare = bare_scene(scene.triangles)
        self.sites = judged_sites(scene.triangles)
        self.cells_of_box = in_cells(scene.triangles, self.sites)
        behaviour = scene.written.lamps_behaviour
        factors = lamp_factors([lamp.hours for lamp in scene.triangles.lamps], behaviour)
        self.factors = np.stack([factors[case] for case in STUDY_CASES])
        self.requirement = requirement_of(scene.written)
        self.seed, self.threads = seed, threads or default_threads()
        self.progress = progress
        self.walls = wall_bodies(scene.triangles)
        self.rays = 0

    def wall_area(self, walls: Sequence[int]) -> float:
        """Area of some walls (bodies), m2."""
        return float(self.triangles.areas[np.isin(self.triangles.face_body, walls)].sum())

    def settle(
        self, group: Sequence[Variant], precision: float, most_rays: float = math.inf
    ) -> WorstOfCases:
        """Worst face of every variant of a group in both cases, among all judged faces."""
        arrays = column_scene(self.triangles, group, self.bare)
        factors = np.tile(self.factors, (len(group), 1))
        options = RunOptions(self.seed, self.threads)
        state, segments = counted(self.bare, (self.triangles, self.sites), group, factors, options)
        state.week_irradiance = self.requirement.week_irradiance
        self.progress("counting photons under each lining", 1.0, 1.0)
        arrays, factors = alike_lamps_as_one(arrays, factors)
        run = BackwardRun(arrays, self.triangles, self.seed, self.threads, batches=ROUND_BATCHES)
        refine(
            run,
            self.sites,
            state,
            factors,
            precision=precision,
            progress=self.progress,
            most_rays=most_rays,
        )
        self.rays += state.rays + segments
        return WorstOfCases(self.triangles, self.sites, state, factors, dark_sites(run, state))

    def settle_cells(self, variant: Variant) -> WorstOfCases:
        """Darkest cell of one variant in both cases."""
        found = trace_worst(
            column_scene(self.triangles, [variant], self.bare),
            self.triangles,
            self.cells_of_box,
            self.factors,
            RunOptions(self.seed, self.threads, self.progress),
            precision=WALL_PRECISION,
            week_irradiance=self.requirement.week_irradiance,
        )
        self.rays += found.state.rays
        return found

    def cases(self, found: WorstOfCases, number: int, precision: float) -> dict[str, CaseOfLining]:
        """Both cases of the variant with this number in its group."""
        cases = {}
        for k, name in enumerate(STUDY_CASES):
            column = len(STUDY_CASES) * number + k
            worst = found.worst(column)
            time = self.requirement.time(worst.lower_bound)
            close = worst.lower_bound >= (1.0 - 1.5 * precision) * worst.irradiance
            cases[name] = CaseOfLining(
                worst, found.best(column), time, close, bool(found.dark[column].any())
            )
        return cases
