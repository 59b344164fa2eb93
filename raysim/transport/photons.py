"""Photons from the lamps in batches; what arrives is counted on every face-side."""

from typing import Any

import numpy as np

from raysim.kernels.random_numbers import split_word
from raysim.kernels.records import FATES, Rules
from raysim.kernels.run_cpu import trace_photons
from raysim.transport.device import CUDA, device
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.precompile import wait_until_compiled
from raysim.transport.tallies import MAX_BOUNCES, case_stride, fitting
from raysim.transport.threads import in_threads
from raysim.transport.tiles import Tiles

BATCH_PHOTONS = 32_768  # photons of all lamps in one batch


class PhotonRun:
    """Photons from the lamps in batches; tallies are whole numbers, whatever the threads.

    Attributes
    ----------
    batches : int
        Batches done.
    first : int
        Number of the first of them: 0, unless this run is a part of a longer one.
    batch_photons : (lamps,) int64
        Photons of each lamp in a batch, in proportion to its watts.
    case_stride : (cases,) int64
        One photon in so many carries a case.
    tiles : Tiles, optional
        On which photons are counted too, in so many `groups` of batches: b belongs to b % groups.
    """

    _COUNTS = ("total", "squares", "bodies", "fates", "segments", "tiles")

    def __init__(
        self,
        scene: KernelScene,
        seed: int,
        threads: int,
        *,
        batch_photons: int = BATCH_PHOTONS,
        max_bounces: int = MAX_BOUNCES,
        stride: tuple[int, ...] | None = None,
        tiles: Tiles | None = None,
        groups: int = 0,
    ) -> None:
        self.scene = scene
        self.tiles = tiles
        self.threads = threads = 1 if device() == CUDA else threads
        self.case_stride = case_stride(stride, scene.surfaces)
        self.rules = Rules(self.case_stride, *split_word(seed), max_bounces)
        share = scene.lamp_watts / scene.lamp_watts.sum()
        # Whole turns, so that twin tubes emit alike, and each case has its share of every batch.
        turns = scene.lamp_tubes.number * np.lcm.reduce(self.case_stride)
        self.batch_photons = np.maximum(np.rint(share * batch_photons / turns), 1).astype(
            np.int64
        ) * turns.astype(np.int64)
        self.batches = self.first = 0
        lamps, faces = len(scene.lamp_watts), len(scene.order)
        cases = scene.surfaces.reflectance.shape[1]
        self._total = np.zeros((threads, lamps, 2 * faces, cases), np.int64)
        self._squares = np.zeros_like(self._total)
        self._bodies = np.zeros((threads, lamps, scene.bodies, cases), np.int64)
        self._fates = np.zeros((threads, lamps, FATES, cases), np.int64)
        self._segments = np.zeros(threads, np.int64)
        of = np.zeros(2 * faces, np.int32) if tiles is None else tiles.of
        count = 0 if tiles is None else len(tiles.areas)
        self.groups, self._tile = groups, of
        self._tiles = np.zeros((threads, groups, lamps, count, cases), np.int32)
        self._card: Any = None
        if device() == CUDA:
            from raysim.transport.cuda import CardPhotons

            parts = (scene.geometry, scene.surfaces, scene.lamp_tubes, self.rules)
            self._card = CardPhotons(*parts, self.batch_photons)
            return
        wait_until_compiled("trace_photons")  # here, where Ctrl-C is heard at once

    def tallies(self) -> dict[str, np.ndarray]:
        """All that was counted, the same for any number of threads; `restore` takes it back."""
        whole = {name: self._counted(name) for name in self._COUNTS}
        counts = {name: tally.sum(axis=0, dtype=tally.dtype) for name, tally in whole.items()}
        return counts | {"batches": np.array(self.batches)}

    def restore(self, tallies: dict[str, np.ndarray]) -> None:
        """Go on from the tallies of another run of the same scene and seed.

        Raises
        ------
        ValueError, KeyError
            Where they do not fit this scene, or do not agree with each other.
        """
        self.batches = int(tallies["batches"])
        for name in self._COUNTS:
            whole = getattr(self, f"_{name}")
            whole[0] = fitting(tallies, name, whole[0])
        account = self.bodies().sum(axis=2) + self.fates().sum(axis=2)
        if self.batches < 0 or (account != self.photons_by_case).any():
            raise ValueError("photons that were sent out and that ended differ")

    def _of_one_worker(self) -> dict[str, np.ndarray]:
        """The tallies of the first worker, to be added to."""
        whole = {name: getattr(self, f"_{name}") for name in self._COUNTS}
        return {
            name: tally[:1] if name == "segments" else tally[0] for name, tally in whole.items()
        }

    def _counted(self, name: str) -> np.ndarray:
        """Tally of all workers, with what waits on a card."""
        if self._card is not None:
            self._card.collect(self._of_one_worker())
        whole: np.ndarray = getattr(self, f"_{name}")
        return whole

    def leave_to_one_worker(self) -> None:
        """Keep the counts of all workers as those of one: memory does not grow with threads.

        Further batches are traced by one thread.
        """
        if self.threads > 1:
            for name in self._COUNTS:
                whole = getattr(self, f"_{name}")
                setattr(self, f"_{name}", whole.sum(axis=0, keepdims=True, dtype=whole.dtype))
            self.threads = 1

    def add_batches(self, count: int) -> None:
        """Trace `count` further batches."""
        if self._card is not None:
            first = self.first + self.batches
            self._card.add_batches(first, count, self._tile, self._of_one_worker())
            self.batches += count
            return
        in_threads(
            trace_photons,
            self.threads,
            self.scene.geometry,
            self.scene.surfaces,
            self.scene.lamp_tubes,
            self.rules,
            self.first + self.batches,
            count,
            self.batch_photons,
            self._tile,
            self._tiles,
            self._total,
            self._squares,
            self._bodies,
            self._fates,
            self._segments,
        )
        self.batches += count

    @property
    def photons(self) -> np.ndarray:
        """Photons traced per lamp, (lamps,) int64."""
        return self.batches * self.batch_photons

    @property
    def photons_by_case(self) -> np.ndarray:
        """Photons that carried each case, (cases, lamps) int64."""
        return self.photons // self.case_stride[:, None]

    @property
    def segments(self) -> int:
        """Ray segments flown."""
        return int(self._counted("segments").sum())

    def arrivals(self) -> tuple[np.ndarray, np.ndarray]:
        """Counts of arrivals and sums over batches of their squares.

        Both (cases, lamps, faces, 2) int64, faces in the order of the scene.
        """
        return self._by_face(self._counted("total")), self._by_face(self._counted("squares"))

    def _by_face(self, tally: np.ndarray) -> np.ndarray:
        summed = tally.sum(axis=0)  # lamps, 2 * kernel triangles, cases
        lamps, sides, cases = summed.shape
        faces = summed.reshape(lamps, sides // 2, 2, cases)[:, self.scene.position]
        return np.ascontiguousarray(np.moveaxis(faces, 3, 0))

    def power_on_tiles(self) -> np.ndarray:
        """Power that arrives on tiles by the photons of each group, (groups, lamps, tiles, cases).

        In W; of the first `batches` groups, if there are fewer batches than groups. Of a whole run.
        """
        batches = (self.batches - np.arange(self.groups) + self.groups - 1) // self.groups
        power = self._counted("tiles").sum(axis=0, dtype=float)[batches > 0]
        power *= (self.scene.lamp_watts / self.batch_photons)[:, None, None]
        power *= self.case_stride / batches[batches > 0][:, None, None, None]
        return power

    def bodies(self) -> np.ndarray:
        """Counts of absorptions, (cases, lamps, bodies) int64."""
        return np.moveaxis(self._counted("bodies").sum(axis=0), 2, 0)

    def fates(self) -> np.ndarray:
        """Counts of (escaped, lost, not finite), (cases, lamps, 3) int64."""
        return np.moveaxis(self._counted("fates").sum(axis=0), 2, 0)
