"""What the darkest face-sides of a layout get, cautious case, by backward paths from them.

The worst face of a layout gets no more than any of its faces, so a few dark faces give an upper
bound, cheaply; a lower bound needs all of them. Every round has fresh random numbers, and looks at
faces that earlier rounds chose, so that a choice cannot lean on the noise of the round that judges
it. The same round takes the same random numbers for all layouts (common random numbers: Law and
Kelton, "Simulation Modeling and Analysis", ch. 11).
"""

from dataclasses import dataclass, field, replace

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.progress import Progress
from raysim.dose.judge import spot
from raysim.dose.lamp_output import lamp_factors, requirement_of
from raysim.dose.result import Spot
from raysim.estimate.bounds import MOST_ROUNDS, batch_mean, t_quantile
from raysim.estimate.cells import Cells, in_cells
from raysim.estimate.darkness import CLOSE_PATHS, DARK_ERRORS, seems_dark
from raysim.estimate.face_sides import judged_sites
from raysim.scene.triangles import SceneTriangles
from raysim.studies.hooks.load import Layout, Load, build_stage
from raysim.studies.worst_of_cases import WorstOfCases, trace_worst
from raysim.transport.kernel_scene import KernelScene, kernel_scene
from raysim.transport.options import RunOptions
from raysim.transport.paths import PATH_BATCHES, Start, traced_irradiance
from raysim.transport.threads import default_threads

CELL_PATHS, DARK_CELL_PATHS, FACE_PATHS = 1, 4, 4  # per batch, of the rounds that choose faces
PILOTS = 10  # layouts looked at all over
SUSPECTS, SCOUTED = 24, 0.2  # darkest face-sides of a scouted layout; its precision
DARK_CELLS, DARKEST_CELLS, DARK_FACES = 24, 8, 10  # that go on to the next round, per layout
MOST_DARK_FACES = 3  # faces of a layout that seem too dark to wait for and are looked at closely
TOO_DARK = "too dark"  # fate of a layout of which a face would take longer than anyone waits


@dataclass
class Contestant:
    """One layout on trial; irradiances in W/m2, cautious case.

    Attributes
    ----------
    sites : (dark faces,) int64
        Rows of the judged face-sides that could be the worst.
    mean, error : (dark faces,) float64
        Of the last round at them.
    upper : float
        Upper bound on the worst face.
    lower : float
        Lower bound on the worst face, whichever it is; 0 before all were looked at.
    worst : Spot or None
        The worst face, once all were looked at.
    """

    layout: Layout
    triangles: SceneTriangles
    arrays: KernelScene | None
    sites: np.ndarray
    mean: np.ndarray
    error: np.ndarray
    upper: float = np.inf
    lower: float = 0.0
    worst: Spot | None = None
    fate: str = ""
    found: WorstOfCases | None = field(default=None, repr=False)

    @property
    def estimate(self) -> float:
        """Irradiance of the worst face, as far as known (definition)."""
        return float(self.mean.min()) if self.worst is None else self.worst.irradiance

    @property
    def estimate_error(self) -> float:
        """Standard error of `estimate`."""
        if self.worst is not None:
            return self.worst.standard_error
        return float(self.error[self.mean.argmin()])


class Light:
    """Backward tracing of layouts of one number of respirators."""

    def __init__(self, load: Load, number: int, threads: int | None, progress: Progress) -> None:
        self.stage = build_stage(load, number)
        self.sites = judged_sites(self.stage.triangles)
        self.cells: Cells = in_cells(self.stage.triangles, self.sites)
        hours = [lamp.hours for lamp in self.stage.triangles.lamps]
        self.factors = lamp_factors(hours, load.scene.written.lamps_behaviour)[CAUTIOUS]
        self.week_irradiance = requirement_of(load.scene.written).week_irradiance
        self.threads = threads or default_threads()
        self.progress = progress
        self.rays = 0
        self.once_dark = np.zeros(0, np.int64)  # cells that were dark in one of the pilots
        self.pilots = 0
        self.suspects = np.zeros(0, np.int64)  # face-sides looked at in every layout

    def contestant(self, layout: Layout, seed: int) -> Contestant:
        """A layout with its darkest faces found: cells, then dark cells, then their faces.

        The first PILOTS layouts are looked at all over; the others only in cells that were dark
        in one of those, since the same spots of a respirator are dark nearly everywhere. Suspects
        are looked at in any case. What is missed so makes an upper bound wider, not wrong.
        """
        triangles = self.stage.placed(layout)
        arrays = cautious_scene(triangles)
        traced = (triangles, arrays)
        tried = self.once_dark if self.pilots >= PILOTS else np.arange(len(self.cells.faces))
        light = self._batches(traced, self.cells.targets(tried), CELL_PATHS, seed).mean(axis=1)
        dark = tried[np.argsort(light, kind="stable")[:DARK_CELLS]]
        if self.pilots < PILOTS:
            self.pilots += 1
            self.once_dark = np.union1d(self.once_dark, dark)
        closer = self._batches(traced, self.cells.targets(dark), DARK_CELL_PATHS, seed + 1)
        darkest = dark[np.argsort(closer.mean(axis=1), kind="stable")[:DARKEST_CELLS]]
        faces = [self.cells.members(int(cell)) for cell in darkest]
        sites = np.unique(np.concatenate([*faces, self.suspects]))
        mean, error = batch_mean(
            self._batches(traced, self.sites.targets(sites), FACE_PATHS, seed + 2)
        )
        first = np.argsort(mean, kind="stable")[:DARK_FACES]
        return Contestant(layout, triangles, arrays, sites[first], mean[first], error[first])

    def scout(self, layout: Layout, seed: int) -> np.ndarray:
        """The darkest face-sides of one layout, from all of them, as (place, side) of `suspect`."""
        one = self.contestant(layout, seed)
        dark = one.sites
        if one.mean.min() > 0.0:  # else there is nothing more to find out
            assert one.arrays is not None
            found = trace_worst(
                one.arrays,
                one.triangles,
                self.sites,
                self.factors[None],
                RunOptions((seed + 3) % 2**64, self.threads, self.progress),
                precision=SCOUTED,
                week_irradiance=self.week_irradiance,
            )
            self.rays += found.state.rays
            # Where a face was too dark, the others were hardly looked at.
            known = np.where(found.dark[0], 0.0, found.state.mean[0])
            dark = np.argsort(known, kind="stable")[:SUSPECTS]
        group = np.searchsorted(self.stage.groups[0], self.sites.faces[dark])
        return np.stack([group, self.sites.sides[dark]], axis=1)

    def suspect(self, places: np.ndarray) -> None:
        """Look at some face-sides in every layout, on every respirator.

        `places` (n, 2): which face of a respirator, counted within it, and which side.
        """
        codes = 2 * self.sites.faces + self.sites.sides
        wanted = [2 * group[places[:, 0]] + places[:, 1] for group in self.stage.groups]
        self.suspects = np.union1d(self.suspects, np.searchsorted(codes, np.concatenate(wanted)))

    def look(self, one: Contestant, paths: int, seed: int, error: float) -> None:
        """A fresh look at the darkest faces: `paths` per batch and face.

        The upper bound fails with a probability of at most `error`, shared among the faces (union
        bound). A face on which these paths found no light has none: it may be that they missed it.
        """
        assert one.arrays is not None
        traced = (one.triangles, one.arrays)
        batches = self._batches(traced, self.sites.targets(one.sites), paths, seed)
        one.mean, one.error = batch_mean(batches)
        quantile = t_quantile(error / len(one.sites), PATH_BATCHES)
        upper = np.where(one.mean > 0.0, one.mean + quantile * one.error, np.inf)
        one.upper = min(one.upper, float(upper.min()))

    def look_for_too_dark(self, one: Contestant, seed: int) -> None:
        """Close the case of a layout of which a face is too dark to wait for (`refine` says how).

        Only faces that seem so are looked at, with paths enough to have found some light.
        """
        dark = np.flatnonzero(seems_dark(one.mean, one.error, self.week_irradiance))
        order = np.argsort(one.mean[dark], kind="stable")
        for face in dark[order][:MOST_DARK_FACES]:
            batches = self.batches_of(one, one.sites[[face]], CLOSE_PATHS, seed)
            (one.mean[face],), (one.error[face],) = batch_mean(batches)
            if seems_dark(one.mean[face], one.error[face], self.week_irradiance, DARK_ERRORS):
                one.worst = self._dark(one, face)
                self._close(one)
                return

    def _close(self, one: Contestant) -> None:
        one.fate, one.arrays = TOO_DARK, None
        one.lower, one.upper = 0.0, min(one.upper, self.week_irradiance)

    def settle(self, one: Contestant, precision: float, seed: int, error: float) -> None:
        """Worst face of a layout from all its faces, with a lower bound that fails with `error`.

        `refine` looks up to MOST_ROUNDS times and stops by what it saw: the error is spent on them.
        A layout that turns out too dark has no lower bound, and its fate says so.
        """
        assert one.arrays is not None
        found = trace_worst(
            one.arrays,
            one.triangles,
            self.sites,
            self.factors[None],
            RunOptions(seed, self.threads, self.progress),
            precision=precision,
            round_error=error / MOST_ROUNDS,
            week_irradiance=self.week_irradiance,
        )
        self.rays += found.state.rays
        one.found = found
        one.lower = max(one.lower, found.bound(0))
        if found.dark[0].any():
            self._close(one)
        one.worst = replace(found.worst(0), lower_bound=one.lower)

    def over_cells(self, values: np.ndarray) -> np.ndarray:
        """Mean over its cell of each judged face-side's value (face-sides,), by area."""
        owner = np.empty(len(values), np.int64)
        owner[self.cells.sites] = np.repeat(
            np.arange(len(self.cells.faces)), np.diff(self.cells.first)
        )
        total = np.bincount(owner, self.sites.areas * values)
        return np.asarray((total / np.bincount(owner, self.sites.areas))[owner])

    def _dark(self, one: Contestant, darkest: int) -> Spot:
        """Record of one of the dark faces of a layout, found too dark."""
        site = one.sites[darkest]
        face, side = self.sites.faces[site], self.sites.sides[site]
        return spot(one.triangles, face, side, (one.mean[darkest], one.error[darkest], 0.0))

    def faces_of(self, one: Contestant, count: int) -> np.ndarray:
        """The darkest judged face-sides of a settled layout, rows of `sites`."""
        assert one.found is not None
        state = one.found.state
        close = np.flatnonzero(state.rounds > 0)
        return close[np.argsort(state.mean[0, close], kind="stable")[:count]]

    def batches_of(self, one: Contestant, sites: np.ndarray, paths: int, seed: int) -> np.ndarray:
        """Irradiance of some judged face-sides by batch, W/m2, (sites, batches)."""
        assert one.arrays is not None
        return self._batches((one.triangles, one.arrays), self.sites.targets(sites), paths, seed)

    def _batches(
        self,
        traced: tuple[SceneTriangles, KernelScene],
        targets: list[Start],
        paths: int,
        seed: int,
    ) -> np.ndarray:
        options = RunOptions(seed % 2**64, self.threads)
        batches, rays = traced_irradiance(traced[1], traced[0], targets, paths, options)
        self.rays += rays
        return np.asarray(batches[..., 0] @ self.factors)


def cautious_scene(triangles: SceneTriangles) -> KernelScene:
    """Kernel arrays with the low end of every reflectance as their only column."""
    arrays = kernel_scene(triangles)
    table = arrays.surfaces
    low = {
        name: np.ascontiguousarray(getattr(table, name)[:, :1])
        for name in ("reflectance", "transmittance", "lobe")
    }
    return replace(arrays, surfaces=table._replace(**low))
