"""A sketch of the light in a scene, as long as one looks: photons first, then gathered paths.

It is the cautious case of `raysim dose`, and judges nothing. Paths from the judged face-sides read
what the photons have left on the next surface (see `transport/known.py`): one portion of them
shows more than ten times as many photons would. Faces whose turn has not come are shown by those
within 1 cm2 of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.units import to_mW_cm2
from raysim.dose.agreement import predicted
from raysim.dose.lamp_output import lamp_factors
from raysim.estimate.face_sides import Sites, judged_sites
from raysim.estimate.photon_counts import counted_irradiance
from raysim.page.sketch.shape import same_but_for_lamps
from raysim.scene.build import BuiltScene
from raysim.scene.check.touching import set_aside
from raysim.transport.kernel_scene import KernelScene, kernel_scene
from raysim.transport.options import RunOptions
from raysim.transport.poses import BackwardCycle, PhotonCycle
from raysim.transport.starts import Start

SEED = 1
FIRST_BATCHES = 2  # of photons, for a first picture: the fewest that have a spread
BATCHES = 8  # independent, of photons and of paths
ERRORS = 2.0  # standard errors above which the darkest spot is looked for
DARKEST, DARKEST_PATHS = 32, 4  # sites that get so many more paths with every portion
LEAST_PATHS = 12  # of a site and batch, before it may be called the darkest
METER_PATHS = 64  # of a meter point and batch: some 2 per cent
MOST_PATHS = 400  # of a site and batch: then a page that was left open traces no more


@dataclass(frozen=True)
class Light:
    """What is known so far of the judged face-sides, (face-sides,) each, W/m2."""

    mean: np.ndarray
    error: np.ndarray


class Sketch:
    """Photons and paths through one scene, whose load may hang in several poses."""

    def __init__(self, scene: BuiltScene, threads: int, earlier: "Sketch | None" = None) -> None:
        self.asked = scene
        if earlier is not None and _lie_alike(earlier.asked, scene):
            self.scene: BuiltScene = _set_aside_as(earlier.scene, scene)
            trees: list[KernelScene | None] = [*earlier.arrays]
        else:
            self.scene = set_aside(scene)
            trees = [None] * len(scene.poses)
        self.triangles = self.scene.triangles
        self.arrays: list[KernelScene] = [
            _cautious(kernel_scene(pose.triangles, tree))
            for pose, tree in zip(self.scene.poses, trees, strict=True)
        ]
        self.photons = PhotonCycle(self.scene.poses, self.arrays, SEED, threads, groups=BATCHES)
        hours = [lamp.hours for lamp in self.triangles.lamps]
        self.factors = lamp_factors(hours, scene.written.lamps_behaviour)[CAUTIOUS]
        self.judged = np.nonzero(self.triangles.judged)
        self.paths: BackwardCycle | None = None
        self._sites: Sites | None = None
        self._starts: Sequence[Start] | None = None
        if earlier is not None and self._has_the_load_of(earlier):
            self._sites, self._starts = earlier._sites, earlier._starts
        self._next = 0
        self._light: Light | None = None

    @property
    def sites(self) -> Sites:
        """The judged face-sides, each with those within 1 cm2 of it."""
        if self._sites is None:
            self._sites = judged_sites(self.triangles, None)
        return self._sites

    def _has_the_load_of(self, other: "Sketch") -> bool:
        """Whether the judged face-sides are the same but for where they hang.

        Which of them lie within 1 cm2 is then the same, as discs do not reach beyond a part.
        """
        ours, theirs = self.triangles, other.triangles
        if not all(map(np.array_equal, self.judged, other.judged)):
            return False
        faces, others = ours.areas[self.judged[0]], theirs.areas[other.judged[0]]
        return bool(np.allclose(faces, others, rtol=1e-9, atol=0.0)) and np.array_equal(
            ours.face_part[self.judged[0]], theirs.face_part[other.judged[0]]
        )

    @property
    def enough(self) -> bool:
        """Whether nothing more is traced (definition)."""
        return self.paths is not None and int(self.paths.paths.min()) >= MOST_PATHS

    def first_photons(self) -> None:
        """Trace as few photons as show anything."""
        self.photons.add_batches(FIRST_BATCHES)

    def prepare(self) -> None:
        """Do a small piece of what is needed before paths can be traced."""
        if self.photons.batches < BATCHES:
            self.photons.add_batches(1)
            return
        every = np.arange(len(self.sites.faces))
        if self._starts is None:
            self._starts = self.sites.targets(every)
        paths = BackwardCycle.after(self.photons, self.scene.poses, SEED, batches=BATCHES)
        paths.add_starts(self._starts)
        self._order = np.random.default_rng(SEED).permutation(every)
        self.paths = paths

    def add_paths(self, sites: int) -> None:
        """One path more in each batch from so many face-sides, and from those that seem darkest."""
        assert self.paths is not None
        chosen = self._order[self._next : self._next + sites]
        self._next = (self._next + len(chosen)) % len(self._order)
        self.paths.add_paths(chosen, np.ones(len(chosen), int))
        if self._light is not None and (self.paths.paths > 0).all():
            upper = self._light.mean + ERRORS * self._light.error
            darkest = np.argpartition(upper, min(DARKEST, len(upper) - 1))[:DARKEST]
            self.paths.add_paths(darkest, np.full(len(darkest), DARKEST_PATHS))

    def light(self) -> Light:
        """Irradiance at the cautious output of the lamps, from all that was traced so far."""
        self._light = self._counted() if self.paths is None else self._gathered(self.paths)
        return self._light

    def by_lamp(self, sites: np.ndarray) -> np.ndarray:
        """Irradiance (W/m2) from each lamp on some sites that have paths, (sites, lamps)."""
        assert self.paths is not None
        return np.asarray(self.paths.batch_irradiance(sites)[..., 0].mean(axis=1) * self.factors)

    def meters(self) -> list[dict[str, Any]]:
        """What each meter point should read in the expected case, mW/cm2, with relative error."""
        pose = self.scene.poses[0].triangles
        arrays = kernel_scene(pose, self.arrays[0])
        options = RunOptions(SEED, self.photons.threads)
        return [
            {
                "name": one.point.name,
                "irradiance": float(to_mW_cm2(one.irradiance)),
                "error": one.standard_error / max(one.irradiance, 1e-30),
            }
            for one in predicted(self.scene, arrays, options, METER_PATHS)
            if one.standard_error < one.irradiance
        ]

    def darkest(self, light: Light) -> tuple[int, float, float] | None:
        """The site that seems darkest so far, with its irradiance and error, W/m2.

        Of noisy values the lowest would show the noise, so each is taken at its upper end; and of
        thousands with a few paths some met little light by chance, so those are looked at first.
        """
        if self.paths is None or not (self.paths.paths >= LEAST_PATHS).any():
            return None
        looked = np.flatnonzero(self.paths.paths >= LEAST_PATHS)
        site = int(looked[(light.mean + ERRORS * light.error)[looked].argmin()])
        return site, float(light.mean[site]), float(light.error[site])

    def _counted(self) -> Light:
        """By photons alone.

        Source: E = counts x power of a photon / area; errors by batches (`counted_irradiance`).
        """
        watts = self.arrays[0].lamp_watts / self.photons.photons_by_case
        scale = watts[:, :, None, None] / self.triangles.areas[:, None]
        mean, variance = counted_irradiance(self.photons.arrivals(), self.photons.batches, scale)
        place, f = (slice(None), *self.judged), self.factors[:, None]
        one = (scale.max(axis=1) * self.factors.max())[0]
        one_photon = np.broadcast_to(one, self.triangles.judged.shape)[self.judged]
        spread = (f**2 * variance[0][place]).sum(axis=0)
        error = np.where(spread > 0.0, np.sqrt(spread), one_photon)
        return Light((f * mean[0][place]).sum(axis=0), error)

    def _gathered(self, paths: BackwardCycle) -> Light:
        """By paths, and where there are none yet by those on the disc about a face-side."""
        mean, error = np.zeros(len(self.sites.faces)), np.full(len(self.sites.faces), np.inf)
        known = np.flatnonzero(paths.paths > 0)
        if len(known):
            batches = paths.batch_irradiance(known)[..., 0] @ self.factors
            mean[known] = batches.mean(axis=1)
            error[known] = batches.std(axis=1, ddof=1) / np.sqrt(BATCHES)
            unseen = (error == 0.0) & (mean == 0.0)
            error[unseen] = np.inf  # no path has met light: nothing is known of how little it is
        if len(known) < len(mean):
            self._fill(mean, error, paths.paths > 0)
        return Light(mean, error)

    def _fill(self, mean: np.ndarray, error: np.ndarray, known: np.ndarray) -> None:
        """Give those without paths the mean of those with paths within 1 cm2."""
        discs = self.sites.patches
        sure = known & np.isfinite(error)
        share = discs.means(sure.astype(float))
        near = ~known & (share > 0.0)
        mean[near] = (discs.means(np.where(sure, mean, 0.0)) / np.where(share > 0, share, 1.0))[
            near
        ]
        spread = discs.errors(np.where(sure, error, 0.0)) / np.where(share > 0, share, 1.0)
        error[near] = spread[near]


def _lie_alike(one: BuiltScene, other: BuiltScene) -> bool:
    """Whether walls and load are the same in every pose."""
    return len(one.poses) == len(other.poses) and all(
        same_but_for_lamps(a.triangles, b.triangles)
        for a, b in zip(one.poses, other.poses, strict=True)
    )


def _set_aside_as(earlier: BuiltScene, scene: BuiltScene) -> BuiltScene:
    """What `set_aside` gives, taken from a scene that lies alike."""
    judged = earlier.triangles.judged
    poses = tuple(replace(p, triangles=replace(p.triangles, judged=judged)) for p in scene.poses)
    return replace(scene, poses=poses, untreated=earlier.untreated)


def _cautious(arrays: KernelScene) -> KernelScene:
    """The arrays with the cautious column of the surfaces alone."""
    s = arrays.surfaces
    first = {
        name: np.ascontiguousarray(getattr(s, name)[:, :1])
        for name in ("reflectance", "transmittance", "lobe")
    }
    return replace(arrays, surfaces=s._replace(**first))
