"""What the darkest face-sides of a layout get, cautious case, by backward paths from them.

The worst face of a layout gets no more than any of its faces, so a few dark faces give an upper
bound, cheaply; a lower bound needs all of them. Every round has fresh random numbers, and looks at
faces that earlier rounds chose, so that a choice cannot lean on the noise of the round that judges
it. The same round takes the same random numbers for all layouts (common random numbers: Law and
Kelton, "Simulation Modeling and Analysis", ch. 11).
"""

from dataclasses import replace

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.progress import nobody_watching
from raysim.dose.judge import spot
from raysim.estimate.bounds import MOST_ROUNDS, ROUND_ERROR, batch_mean, mean_upper_bound
from raysim.estimate.cells import in_cells
from raysim.estimate.darkness import CLOSE_PATHS
from raysim.estimate.face_sides import GUESS_ERRORS, Sites, judged_sites
from raysim.scene.triangles import SceneTriangles
from raysim.studies.hooks.contestant import Contestant, Fate
from raysim.studies.hooks.load import Layout, Load, build_stage
from raysim.studies.tracer import Tracer, WorstOfCases
from raysim.transport.kernel_scene import KernelScene, kernel_scene
from raysim.transport.options import RunOptions
from raysim.transport.paths import PATH_BATCHES

CELL_PATHS, DARK_CELL_PATHS, FACE_PATHS = 1, 4, 4  # per batch, of the rounds that choose faces
PILOTS, FURTHER_PILOTS = 10, 3  # layouts looked at all over, without and with dark cells known
SUSPECTS, SCOUTED = 24, 0.2  # darkest face-sides of a scouted layout; its precision
DARK_CELLS, DARKEST_CELLS, DARK_FACES = 24, 8, 10  # that go on to the next round, per layout
SCOUT_ERROR = MOST_ROUNDS * ROUND_ERROR  # of its lower bound, which nobody uses
MOST_CLOSE = 4 * CLOSE_PATHS  # paths per batch of a face that seems too dark to wait for
# The last look at a layout that is shown: paths per batch for each of two looks, and the faces.
SHOWN_PATHS, SHOWN_FACES, LAST_FACES = 250_000 // PATH_BATCHES, 32, 3


class Light(Tracer):
    """Backward tracing of layouts of one number of respirators."""

    def __init__(self, load: Load, number: int, options: RunOptions) -> None:
        super().__init__(load.scene, replace(options, progress=nobody_watching))
        self.stage = build_stage(load, number)
        self.sites = judged_sites(self.stage.triangles)
        self.cells = in_cells(self.stage.triangles, self.sites)
        self.once_dark = np.zeros(0, np.int64)  # cells that were dark in one of the pilots
        self.pilots = PILOTS  # layouts that are yet to be looked at all over
        self.suspects = np.zeros(0, np.int64)  # face-sides looked at in every layout

    def contestant(self, layout: Layout, seed: int) -> Contestant:
        """A layout with its darkest faces found: cells, then dark cells, then their faces.

        The first layouts (`pilots`) are looked at all over; the others only in cells that were
        dark in one of those, since the same spots of a respirator are dark nearly everywhere.
        Suspects are looked at in any case. What is missed so makes an upper bound wider, not wrong.
        """
        nobody, nothing = np.zeros(0, np.int64), np.zeros(0)
        one = Contestant(layout, None, None, nobody, nothing, nothing)
        tried = np.arange(len(self.cells.faces)) if self.pilots else self.once_dark
        dark = one.cells = self._darkest(one, tried, CELL_PATHS, seed)[:DARK_CELLS]
        darkest = self._darkest(one, dark, DARK_CELL_PATHS, seed + 1)[:DARKEST_CELLS]
        faces = [self.cells.members(int(cell)) for cell in darkest]
        sites = np.unique(np.concatenate([*faces, self.suspects]))
        mean, error = batch_mean(self.batches_of(one, sites, FACE_PATHS, seed + 2))
        first = np.argsort(mean, kind="stable")[:DARK_FACES]
        one.sites, one.mean, one.error = sites[first], mean[first], error[first]
        return one

    def flown(self, pilot: Contestant) -> None:
        """Know the dark cells of a layout that was looked at all over, for those that follow."""
        self.pilots -= 1
        self.once_dark = np.union1d(self.once_dark, pilot.cells)

    def set_up(self, one: Contestant) -> tuple[KernelScene, SceneTriangles]:
        """What a layout is traced by, made where it was given up or never there."""
        if one.arrays is None or one.triangles is None:
            one.triangles = self.stage.placed(one.layout)
            one.arrays = kernel_scene(one.triangles)
        return one.arrays, one.triangles

    def _darkest(self, one: Contestant, cells: np.ndarray, paths: int, seed: int) -> np.ndarray:
        """Cells, the darkest first."""
        light = self.batches_of(one, cells, paths, seed, self.cells).mean(axis=1)
        return cells[np.argsort(light, kind="stable")]

    def scout(self, layout: Layout, seed: int) -> tuple[Contestant, np.ndarray]:
        """A layout, and its darkest face-sides, from all of them, as (place, side) of `suspect`."""
        one = self.contestant(layout, seed)
        dark = one.sites
        if one.mean.min() > 0.0:  # else there is nothing more to find out
            found = self.look_all_over(one, SCOUTED, seed + 3, SCOUT_ERROR)
            # Where a face was too dark, the others were hardly looked at.
            known = np.where(found.dark[0], 0.0, found.state.mean[0])
            dark = np.argsort(known, kind="stable")[:SUSPECTS]
        group = np.searchsorted(self.stage.groups[0], self.sites.faces[dark])
        return one, np.stack([group, self.sites.sides[dark]], axis=1)

    def suspect(self, places: np.ndarray) -> None:
        """Look at some face-sides in every layout, on every respirator.

        `places` (n, 2): which face of a respirator, counted within it, and which side.
        """
        codes = 2 * self.sites.faces + self.sites.sides
        wanted = [2 * group[places[:, 0]] + places[:, 1] for group in self.stage.groups]
        self.suspects = np.union1d(self.suspects, np.searchsorted(codes, np.concatenate(wanted)))

    def know_dark_cells(self, single: "Light") -> None:
        """Take over the cells that were dark of one respirator alone, for every respirator."""
        each = len(single.cells.faces)
        groups = each * np.arange(len(self.stage.groups))
        dark = (groups[:, None] + single.once_dark).ravel()
        self.once_dark = np.union1d(self.once_dark, dark)
        self.pilots = max(self.pilots - PILOTS + FURTHER_PILOTS, 0)

    def look(self, one: Contestant, paths: int, seed: int, error: float) -> None:
        """A fresh look at the darkest faces: `paths` per batch and face.

        The upper bound fails with a probability of at most `error`, half of it for the face that
        was darkest before, the rest shared among the others (union bound). A face on which these
        paths found no light has none: it may be that they missed it.
        """
        risk = np.full(len(one.sites), 0.5 * error / max(len(one.sites) - 1, 1))
        risk[one.mean.argmin()] = 0.5 * error
        mean, spread = batch_mean(self.batches_of(one, one.sites, paths, seed))
        upper = mean_upper_bound(mean, spread, PATH_BATCHES, risk)
        one.mean, one.error = mean, spread
        one.upper = min(one.upper, float(upper.min()))

    def look_at_worst(self, one: Contestant, seed: int, error: float) -> None:
        """Bring the upper bound of a layout down: a last look at the faces that seem its worst.

        The one that seemed the very worst is often one of many that are as dark, and seemed darker
        by chance. So a first look chooses among SHOWN_FACES, and a second one judges.
        """
        faces = one.sites if one.found is None else self.faces_of(one, SHOWN_FACES)
        paths = SHOWN_PATHS // len(faces)
        light = self.batches_of(one, faces, paths, seed).mean(axis=1)
        faces = faces[np.argsort(light, kind="stable")[:LAST_FACES]]
        last = batch_mean(self.batches_of(one, faces, SHOWN_PATHS // len(faces), seed + 1))
        upper = mean_upper_bound(*last, PATH_BATCHES, error / len(faces))
        one.upper = min(one.upper, float(upper.min()))

    def look_for_too_dark(
        self, one: Contestant, seed: int, error: float, sites: np.ndarray | None = None
    ) -> None:
        """Take a layout out of which a face is too dark to wait for: its upper bound says so.

        Looked at are `sites`, by default the faces that seem too dark, the darkest first, with
        paths enough; the bounds fail with a probability of at most `error` in all. A layout with a
        face on which even these found no light leaves the race in any case.
        """
        if sites is None:
            dark = np.flatnonzero(self.seems_dark(one.mean, one.error))
            sites = one.sites[dark[np.argsort(one.mean[dark], kind="stable")]]
        week = self.requirement.week_irradiance
        for site in sites:
            light = self._close_look(one, site, seed, error / len(sites))
            if one.upper < week or light[0] <= 0.0:
                face, side = self.sites.faces[site], self.sites.sides[site]
                one.worst = spot(self.set_up(one)[1], face, side, (*light, 0.0))
                one.lower = 0.0
                one.leave(Fate.TOO_DARK if one.upper < week else Fate.ASIDE)
                return

    def _close_look(
        self, one: Contestant, site: int, seed: int, error: float
    ) -> tuple[float, float]:
        """Irradiance of one face and its error, from paths enough; brings the upper bound down.

        No light in n paths: E is at most M times the share p of paths that bring some, where M is
        the largest exitance of a lamp, and (1 - p)^n > `error` (binomial law). M is also about the
        most that one path can bring, since lamp points are chosen by what they give.
        """
        geometry = self.set_up(one)[0].geometry
        factors = self.factors[CAUTIOUS][geometry.tube_lamp]
        most = float((geometry.tube_exitance * factors).max()) * -np.log(error) / PATH_BATCHES
        needed = 1.1 * most / max(self.requirement.week_irradiance, 1e-300)
        paths = int(np.clip(needed, CLOSE_PATHS, MOST_CLOSE))
        batches = self.batches_of(one, np.array([site]), paths, seed)
        (mean,), (spread,) = found = batch_mean(batches)
        (upper,) = mean_upper_bound(*found, PATH_BATCHES, error)
        one.upper = min(one.upper, float(upper) if mean > 0.0 else most / paths)
        one.mean[one.sites == site], one.error[one.sites == site] = mean, spread
        return float(mean), float(spread)

    def look_all_over(
        self, one: Contestant, precision: float, seed: int, error: float
    ) -> WorstOfCases:
        """Worst face of a layout from all its faces, with a lower bound that fails with `error`.

        `refine` looks up to MOST_ROUNDS times and stops by what it saw: the error is spent on them.
        """
        found = self.worst(
            *self.set_up(one),
            self.sites,
            self.factors[CAUTIOUS][None],
            precision=precision,
            seed=seed,
            round_error=error / MOST_ROUNDS,
        )
        one.found, one.lower = found, max(one.lower, found.bound(0))
        one.worst = replace(found.worst(0), lower_bound=one.lower)
        return found

    def faces_of(self, one: Contestant, count: int) -> np.ndarray:
        """The darkest face-sides of a layout that was looked at all over, rows of `sites`.

        By the upper end of what each may get: the lowest of many noisy values is noise.
        """
        assert one.found is not None
        state = one.found.state
        looked = np.flatnonzero(state.rounds > 0)
        mean, error = state.mean[0, looked], state.error[0, looked]
        return looked[np.argsort(mean + GUESS_ERRORS * error, kind="stable")[:count]]

    def batches_of(
        self, one: Contestant, chosen: np.ndarray, paths: int, seed: int, of: Sites | None = None
    ) -> np.ndarray:
        """Irradiance of some face-sides, or cells, by batch, W/m2, (chosen, batches)."""
        starts = (of or self.sites).targets(chosen)
        return self.batches(*self.set_up(one), starts, paths, seed)[0]
