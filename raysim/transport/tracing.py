"""The runs that fill tallies: the only door to transport."""

import os
from dataclasses import dataclass
from itertools import chain

import numpy as np

from raysim.base.progress import Progress
from raysim.kernels.random_numbers import split_word
from raysim.kernels.records import FATES, Starts, Surfaces
from raysim.kernels.run_cpu import trace_adjoint, trace_forward
from raysim.scene.triangles import METER_LIFT, SceneTriangles
from raysim.transport.kernel_scene import KernelScene, kernel_scene, surface_table
from raysim.transport.precompile import wait_until_compiled
from raysim.transport.threads import in_threads

__all__ = [
    "ADJOINT_BATCHES",
    "LOOK_BATCHES",
    "MAX_BOUNCES",
    "AdjointRun",
    "ForwardRun",
    "KernelScene",
    "Progress",
    "Target",
    "default_threads",
    "fitting",
    "kernel_scene",
    "surface_table",
]

MAX_BOUNCES = 10_000
BATCH_PHOTONS = 32_768  # photons of all lamps in one batch
ADJOINT_BATCHES = 64
# Where thousands of face-sides are looked at: half as many paths show which ones need no more.
LOOK_BATCHES = 32
# Bytes for the sums of targets before they have to be copied; what is not used takes no memory.
FIRST_ROOM = 2**28


def default_threads() -> int:
    """Threads to use when none are asked for: the cores this process may run on."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def fitting(tallies: dict[str, np.ndarray], name: str, place: np.ndarray) -> np.ndarray:
    """The array called `name`, of the shape and type of `place`.

    Raises
    ------
    ValueError, KeyError
        Where it is of another shape or type, or not there.
    """
    array = tallies[name]
    if array.shape != np.shape(place) or array.dtype != place.dtype:
        raise ValueError(f"{name} is {array.dtype}{array.shape}")
    return array


class ForwardRun:
    """Photons from the lamps in batches; tallies are whole numbers, whatever the threads.

    Attributes
    ----------
    batches : int
        Batches done.
    batch_photons : (lamps,) int64
        Photons of each lamp in a batch, in proportion to its watts.
    every : (cases,) int64
        Each case is carried by so manieth photons only.
    """

    _COUNTS = ("total", "squares", "bodies", "fates", "segments")

    def __init__(
        self,
        scene: KernelScene,
        seed: int,
        threads: int,
        batch_photons: int = BATCH_PHOTONS,
        max_bounces: int = MAX_BOUNCES,
        every: tuple[int, ...] | None = None,
    ) -> None:
        self.scene = scene
        self.threads = threads
        self.max_bounces = max_bounces
        self.every = _every(every, scene.surfaces)
        self.key = split_word(seed)
        share = scene.lamp_watts / scene.lamp_watts.sum()
        # Whole turns, so that twin tubes emit alike, and each case has its share of every batch.
        turns = scene.lamp_tubes.number * np.lcm.reduce(self.every)
        self.batch_photons = np.maximum(np.rint(share * batch_photons / turns), 1).astype(
            np.int64
        ) * turns.astype(np.int64)
        self.batches = 0
        lamps, faces = len(scene.lamp_watts), len(scene.order)
        cases = scene.surfaces.reflectance.shape[1]
        self._total = np.zeros((threads, lamps, 2 * faces, cases), np.int64)
        self._squares = np.zeros_like(self._total)
        self._bodies = np.zeros((threads, lamps, scene.bodies, cases), np.int64)
        self._fates = np.zeros((threads, lamps, FATES, cases), np.int64)
        self._segments = np.zeros(threads, np.int64)
        wait_until_compiled("trace_forward")  # here, where Ctrl-C is heard at once

    def tallies(self) -> dict[str, np.ndarray]:
        """All that was counted, the same for any number of threads; `restore` takes it back."""
        counts = {name: getattr(self, f"_{name}").sum(axis=0) for name in self._COUNTS}
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

    def add_batches(self, count: int) -> None:
        """Trace `count` further batches."""
        in_threads(
            trace_forward,
            self.threads,
            self.scene.geometry,
            self.scene.surfaces,
            self.scene.lamp_tubes,
            self.every,
            self.batches,
            count,
            self.batch_photons,
            *self.key,
            self.max_bounces,
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
        return self.photons // self.every[:, None]

    @property
    def segments(self) -> int:
        """Ray segments flown."""
        return int(self._segments.sum())

    def arrivals(self) -> tuple[np.ndarray, np.ndarray]:
        """Counts of arrivals and sums over batches of their squares.

        Both (cases, lamps, faces, 2) int64, faces in the order of the scene.
        """
        return self._by_face(self._total), self._by_face(self._squares)

    def _by_face(self, tally: np.ndarray) -> np.ndarray:
        summed = tally.sum(axis=0)  # lamps, 2 * kernel triangles, cases
        lamps, sides, cases = summed.shape
        faces = summed.reshape(lamps, sides // 2, 2, cases)[:, self.scene.position]
        return np.ascontiguousarray(np.moveaxis(faces, 3, 0))

    def bodies(self) -> np.ndarray:
        """Counts of absorptions, (cases, lamps, bodies) int64."""
        return np.moveaxis(self._bodies.sum(axis=0), 2, 0)

    def fates(self) -> np.ndarray:
        """Counts of (escaped, lost, not finite), (cases, lamps, 3) int64."""
        return np.moveaxis(self._fates.sum(axis=0), 2, 0)


@dataclass(frozen=True)
class Target:
    """Start of backward paths: face-sides taken together, or a point with a direction.

    `faces` and `side` (members,), or `at` and `facing` (3,); `stream` is its own word of the
    random counter and must differ from that of every other target.
    """

    stream: int
    faces: tuple[int, ...] = ()
    sides: tuple[int, ...] = ()
    at: np.ndarray | None = None
    facing: np.ndarray | None = None


class AdjointRun:
    """Backward paths from targets, in batches per target.

    Attributes
    ----------
    every : (cases,) int64
        Each case is carried by so manieth paths only, which count so many times.
    paths : (targets,) int64
        Paths traced per batch.
    rays : int
        Rays traced.
    batches : int
        Independent batches of every target.
    """

    def __init__(
        self,
        scene: KernelScene,
        triangles: SceneTriangles,
        seed: int,
        threads: int,
        cases: slice = slice(None),
        max_bounces: int = MAX_BOUNCES,
        every: tuple[int, ...] | None = None,
        batches: int = ADJOINT_BATCHES,
    ) -> None:
        self.batches = batches
        self.scene = scene
        self.triangles = triangles
        self.threads = threads
        self.max_bounces = max_bounces
        self.key = split_word(seed)
        s = scene.surfaces
        if not s.reflectance.shape == s.transmittance.shape == s.lobe.shape:
            # Compiled code reads past the end of a short table without a word.
            raise ValueError("reflectance, transmittance and lobe differ in shape")
        self.surfaces = s._replace(
            reflectance=np.ascontiguousarray(s.reflectance[:, cases]),
            transmittance=np.ascontiguousarray(s.transmittance[:, cases]),
            lobe=np.ascontiguousarray(s.lobe[:, cases]),
        )
        self.every = _every(every, self.surfaces)
        self._targets: list[Target] = []
        lamps, columns = len(scene.lamp_watts), self.surfaces.reflectance.shape[1]
        one = np.zeros((batches, lamps, columns))
        self._sums = np.zeros((max(FIRST_ROOM // one.nbytes, 1), *one.shape))
        self.paths = np.zeros(0, np.int64)
        self.rays = 0
        wait_until_compiled("trace_adjoint")

    def add_targets(self, targets: list[Target]) -> None:
        """Append targets; they are numbered on from those there are."""
        self._targets.extend(targets)
        count = len(self._targets)
        if count > len(self._sums):  # room for as many again, so that few additions copy
            wider, used = np.zeros((2 * count, *self._sums.shape[1:])), len(self.paths)
            wider[:used] = self._sums[:used]
            self._sums = wider
        self.paths = np.concatenate([self.paths, np.zeros(len(targets), np.int64)])

    def tallies(self) -> dict[str, np.ndarray]:
        """Sums over the paths of every target, and their numbers; `restore` takes them back."""
        rays = np.array(self.rays)
        return {"sums": self._sums[: len(self.paths)], "paths": self.paths, "rays": rays}

    def restore(self, targets: list[Target], tallies: dict[str, np.ndarray]) -> None:
        """Go on from the tallies of another run of the same scene and seed, with its targets.

        Raises
        ------
        ValueError, KeyError
            Where they do not fit.
        """
        self.add_targets(targets)
        there = slice(len(targets))
        self._sums[there] = fitting(tallies, "sums", self._sums[there])
        self.paths = fitting(tallies, "paths", self.paths).copy()
        self.rays = int(tallies["rays"])
        if (self.paths < 0).any():
            raise ValueError("a count of paths is negative")

    def add_paths(self, chosen: np.ndarray, paths: np.ndarray) -> None:
        """Trace `paths` (chosen,) further paths per batch from the chosen targets."""
        starts = _starts(self.scene, self.triangles, [self._targets[i] for i in chosen])
        rays = np.zeros(self.threads, np.int64)
        in_threads(
            trace_adjoint,
            self.threads,
            self.scene.geometry,
            self.surfaces,
            starts,
            self.every,
            self.paths[chosen],
            paths.astype(np.int64),
            *self.key,
            self.max_bounces,
            chosen.astype(np.int64),
            self._sums,
            rays,
        )
        self.paths[chosen] += paths.astype(np.int64)
        self.rays += int(rays.sum())

    def batch_irradiance(self, chosen: np.ndarray) -> np.ndarray:
        """Irradiance by batch, W/m2, (chosen, batches, lamps, cases), of targets with paths."""
        sums = self._sums.take(chosen, axis=0)
        sums /= self.paths[chosen][:, None, None, None]
        return sums


def _every(every: tuple[int, ...] | None, surfaces: Surfaces) -> np.ndarray:
    cases = surfaces.reflectance.shape[1]
    numbers = np.array(every or [1] * cases, np.int64)
    if numbers.shape != (cases,) or (numbers < 1).any():
        raise ValueError(f"every: {cases} whole numbers, 1 or more")
    return numbers


def _starts(scene: KernelScene, triangles: SceneTriangles, targets: list[Target]) -> Starts:
    """Members of all targets in one list; a point is a triangle without extent."""
    size = np.array([len(target.faces) or 1 for target in targets])
    first = np.concatenate([[0], np.cumsum(size)])

    def members(name: str) -> np.ndarray:
        lists = (getattr(target, name) or (-1,) for target in targets)
        return np.array(list(chain.from_iterable(lists)))

    faces, sides = members("faces"), members("sides")
    corners, normals = np.zeros((len(faces), 9)), np.zeros((len(faces), 3))
    primitive = np.full(len(faces), -1)
    own = faces >= 0
    corners[own] = triangles.corners[faces[own]].reshape(-1, 9)
    normals[own] = triangles.normals[faces[own]] * np.where(sides[own] == 0, 1.0, -1.0)[:, None]
    primitive[own] = scene.position[faces[own]]
    share = np.ones(len(faces))
    for j in np.flatnonzero(size > 1).tolist():
        these = slice(first[j], first[j + 1])
        below = np.cumsum(triangles.areas[faces[these]])
        share[these] = below / below[-1]
    for row, target in zip(first.tolist(), targets, strict=False):
        if target.at is not None and target.facing is not None:
            corners[row] = np.tile(target.at + METER_LIFT * target.facing, 3)
            normals[row] = target.facing
    stream = np.array([target.stream for target in targets], np.uint64)
    return Starts(first.astype(np.int64), stream, share, corners, normals, primitive)
