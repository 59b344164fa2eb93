"""Backward paths from face-sides and points to the lamps, in batches for each target."""

from collections.abc import Sequence
from typing import Any, NamedTuple, Protocol

import numpy as np

from raysim.kernels.random_numbers import split_word
from raysim.kernels.records import Known, Rules
from raysim.kernels.run_cpu import trace_backward
from raysim.scene.triangles import SceneTriangles
from raysim.transport.device import CUDA, device
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.known import nothing_known
from raysim.transport.options import RunOptions
from raysim.transport.precompile import wait_until_compiled
from raysim.transport.starts import Start, Targets
from raysim.transport.tallies import MAX_BOUNCES, case_stride, fitting
from raysim.transport.threads import in_threads

PATH_BATCHES = 64
# Where thousands of face-sides are looked at: half as many paths show which ones need no more.
ROUND_BATCHES = 32
# Bytes for the sums of targets before they have to be copied; what is not used takes no memory.
FIRST_ROOM = 2**28
LARGEST_WEIGHT = 1e9  # W/m2 of one path: far above any lamp, and far below what overflows


class Paths(Protocol):
    """What gives irradiance by backward paths: a run, or a cycle of runs in several poses."""

    batches: int  # independent, of every target

    @property
    def paths(self) -> np.ndarray:
        """Paths traced per batch (and pose), (targets,) int64."""

    @property
    def reads(self) -> np.ndarray:
        """Whether the paths of a target read the photons' counts, (targets,) bool."""

    @property
    def rays(self) -> int:
        """Rays traced in all."""

    def stop_reading(self, chosen: np.ndarray) -> None:
        """Forget the paths of some targets; further ones go on to the lamps."""

    def add_starts(self, targets: Sequence[Start]) -> None:
        """Append targets; they are numbered on from those there are."""

    def add_paths(self, chosen: np.ndarray, paths: np.ndarray) -> None:
        """Trace `paths` (chosen,) further paths per batch from the chosen targets."""

    def batch_irradiance(self, chosen: np.ndarray) -> np.ndarray:
        """Irradiance by batch, W/m2, (chosen, batches, lamps, cases), of targets with paths."""


class BackwardRun:
    """Backward paths from targets, in batches per target.

    Attributes
    ----------
    rules : Rules
        A path that carries a case counts as many times as its stride.
    paths : (targets,) int64
        Paths traced per batch.
    rays : int
        Rays traced.
    batches : int
        Independent batches of every target.
    reads : (targets,) bool
        Targets whose paths read the photons' counts: of `known`, with as many batches. All do at
        first where there are any.
    """

    def __init__(
        self,
        scene: KernelScene,
        triangles: SceneTriangles,
        seed: int,
        threads: int,
        *,
        cases: slice = slice(None),
        max_bounces: int = MAX_BOUNCES,
        stride: tuple[int, ...] | None = None,
        batches: int = PATH_BATCHES,
        known: Known | None = None,
    ) -> None:
        self.batches = batches
        self.scene = scene
        self.known = known or nothing_known(scene)
        self._can_read = len(self.known.light) == batches
        self.reads = np.zeros(0, bool)
        self.triangles = triangles
        self.threads = threads
        s = scene.surfaces
        if not s.reflectance.shape == s.transmittance.shape == s.lobe.shape:
            # Compiled code reads past the end of a short table without a word.
            raise ValueError("reflectance, transmittance and lobe differ in shape")
        self.surfaces = s._replace(
            reflectance=np.ascontiguousarray(s.reflectance[:, cases]),
            transmittance=np.ascontiguousarray(s.transmittance[:, cases]),
            lobe=np.ascontiguousarray(s.lobe[:, cases]),
        )
        strides = case_stride(stride, self.surfaces)
        self.rules = Rules(strides, *split_word(seed), max_bounces)
        self._targets = Targets()
        lamps, columns = len(scene.lamp_watts), self.surfaces.reflectance.shape[1]
        # Single precision: a sum is added to at each look only, and it is most of the memory.
        one = np.zeros((batches, lamps, columns), np.float32)
        self._sums = np.zeros((max(FIRST_ROOM // one.nbytes, 1), *one.shape), one.dtype)
        self.paths = np.zeros(0, np.int64)
        self.rays = 0
        self._card: Any = None
        if device() == CUDA:
            from raysim.transport.cuda import CardPaths

            self._card = CardPaths(scene.geometry, self.surfaces, self.known, self.rules, lamps)
            return
        wait_until_compiled("trace_backward")

    def add_starts(self, targets: Sequence[Start]) -> None:
        """Append targets; they are numbered on from those there are."""
        self._targets.extend(targets)
        count = len(self._targets)
        if count > len(self._sums):  # room for as many again, so that few additions copy
            wider = np.zeros((2 * count, *self._sums.shape[1:]), self._sums.dtype)
            used = len(self.paths)
            wider[:used] = self._sums[:used]
            self._sums = wider
        self.paths = np.concatenate([self.paths, np.zeros(len(targets), np.int64)])
        self.reads = np.concatenate([self.reads, np.full(len(targets), self._can_read)])

    def stop_reading(self, chosen: np.ndarray) -> None:
        """Forget the paths of some targets; further ones go on to the lamps."""
        self._sums[chosen] = 0.0
        self.paths[chosen] = 0
        self.reads[chosen] = False

    def tallies(self) -> dict[str, np.ndarray]:
        """Sums over the paths of every target, and their numbers; `restore` takes them back."""
        rays = np.array(self.rays)
        sums = self._sums[: len(self.paths)]
        return {"sums": sums, "paths": self.paths, "rays": rays, "reads": self.reads}

    def restore(self, targets: Sequence[Start], tallies: dict[str, np.ndarray]) -> None:
        """Go on from the tallies of another run of the same scene and seed, with its targets.

        Raises
        ------
        ValueError, KeyError
            Where they do not fit.
        """
        self.add_starts(targets)
        there = slice(len(targets))
        self._sums[there] = fitting(tallies, "sums", self._sums[there])
        self.paths = fitting(tallies, "paths", self.paths).copy()
        self.reads = fitting(tallies, "reads", self.reads).copy()
        self.rays = int(tallies["rays"])
        if (self.paths < 0).any():
            raise ValueError("a count of paths is negative")
        most = LARGEST_WEIGHT * self.paths[:, None, None, None]
        if not ((self._sums[there] >= 0.0) & (self._sums[there] <= most)).all():
            raise ValueError("a sum is more than its paths can bring")

    def add_paths(self, chosen: np.ndarray, paths: np.ndarray) -> None:
        """Trace `paths` (chosen,) further paths per batch from the chosen targets."""
        starts = self._targets.starts(self.scene, self.triangles, chosen)
        starts = starts._replace(reads=self.reads[chosen])
        more = paths.astype(np.int64)
        if self._card is not None:
            sums, traced = self._card.sums(starts, self.paths[chosen], more, self.batches)
            self._sums[chosen] += sums
            self.paths[chosen] += more
            self.rays += traced
            return
        rays = np.zeros(self.threads, np.int64)
        in_threads(
            trace_backward,
            self.threads,
            self.scene.geometry,
            self.surfaces,
            self.known,
            starts,
            self.rules,
            self.paths[chosen],
            more,
            chosen.astype(np.int64),
            self._sums,
            rays,
        )
        self.paths[chosen] += more
        self.rays += int(rays.sum())

    def batch_irradiance(self, chosen: np.ndarray) -> np.ndarray:
        """Irradiance by batch, W/m2, (chosen, batches, lamps, cases), of targets with paths."""
        return self._sums.take(chosen, axis=0) / self.paths[chosen][:, None, None, None]


class Traced(NamedTuple):
    """Irradiance by batch, W/m2, (starts, batches, lamps, cases), and the rays that it took.

    Batches are independent: their mean is the irradiance, their spread gives its error.
    """

    batches: np.ndarray
    rays: int


def traced_irradiance(
    scene: KernelScene,
    triangles: SceneTriangles,
    starts: Sequence[Start],
    paths: int,
    options: RunOptions,
    *,
    cases: slice = slice(None),
    max_bounces: int = MAX_BOUNCES,
    batches: int = PATH_BATCHES,
) -> Traced:
    """Irradiance of some starts by a run of their own, `paths` per batch from each.

    `cases` are columns of the surfaces of `scene`; progress is not told.
    """
    run = BackwardRun(
        scene,
        triangles,
        options.seed,
        options.threads,
        cases=cases,
        max_bounces=max_bounces,
        batches=batches,
    )
    run.add_starts(starts)
    everyone = np.arange(len(starts))
    run.add_paths(everyone, np.full(len(starts), paths))
    return Traced(run.batch_irradiance(everyone), run.rays)
