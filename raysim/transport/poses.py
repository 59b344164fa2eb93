"""Tracing of a cycle of one or more poses, in which the load hangs in turn.

What a face-side receives over the cycle is the sum over the poses of share x irradiance. Each pose
is traced with random numbers of its own, so that the errors of the poses are independent, and the
sums stand where the tallies of a single pose would: bounds, refinement and lamp failures then hold
for the cycle as they do for one pose. A load that hangs in one way is a cycle of one pose.
"""

from collections.abc import Sequence
from functools import reduce

import numpy as np

from raysim.kernels.records import Known
from raysim.scene.poses import PosedTriangles
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.known import known_light
from raysim.transport.paths import PATH_BATCHES, BackwardRun
from raysim.transport.photons import BATCH_PHOTONS, PhotonRun
from raysim.transport.starts import Start
from raysim.transport.streams import pose_seed
from raysim.transport.tiles import tiles_of


class PhotonCycle:
    """Photons shared out among the poses by their shares, so that each stands for the same light.

    Attributes
    ----------
    runs : list of PhotonRun
        One for each pose.
    batch_photons : (lamps,) int64
        Photons of each lamp in a batch, all poses together.
    weight : (poses, lamps) float64
        Share of the cycle over share of the photons. Photons come in whole numbers: what a pose
        has too few or too many is weighed in.
    """

    def __init__(
        self,
        poses: Sequence[PosedTriangles],
        arrays: Sequence[KernelScene],
        seed: int,
        threads: int,
        stride: tuple[int, ...] | None = None,
        *,
        groups: int = 0,
    ) -> None:
        self.threads = threads
        self.runs = [
            PhotonRun(
                one,
                pose_seed(seed, number),
                threads,
                batch_photons=max(round(pose.share * BATCH_PHOTONS), 1),
                stride=stride,
                tiles=tiles_of(one, pose.triangles) if groups else None,
                groups=groups,
            )
            for number, (pose, one) in enumerate(zip(poses, arrays, strict=True))
        ]
        own = np.array([run.batch_photons for run in self.runs])
        self.batch_photons = own.sum(axis=0)
        self.weight = np.array([[pose.share] for pose in poses]) * self.batch_photons / own

    @property
    def batches(self) -> int:
        """Batches done, in each pose."""
        return self.runs[0].batches

    @property
    def photons(self) -> np.ndarray:
        """Photons traced per lamp, (lamps,) int64."""
        return self.batches * self.batch_photons

    @property
    def photons_by_case(self) -> np.ndarray:
        """Photons that carried each case, (cases, lamps) int64."""
        return np.sum([run.photons_by_case for run in self.runs], axis=0)

    @property
    def segments(self) -> int:
        """Ray segments flown in all poses."""
        return sum(run.segments for run in self.runs)

    def begin_at(self, first: int) -> None:
        """Have the batches of every pose, none of which is traced yet, be numbered from `first`."""
        for run in self.runs:
            run.first = first

    def add_batches(self, count: int) -> None:
        """Trace `count` further batches of every pose."""
        for run in self.runs:
            run.add_batches(count)

    def arrivals(self) -> tuple[np.ndarray, np.ndarray]:
        """Counts of arrivals over the cycle and sums over batches of their squares.

        Both (cases, lamps, faces, 2) of whole numbers in one pose, float64 in several. The squares
        are then those whose variance is the sum of the variances of the poses (poses are
        independent).
        """
        if len(self.runs) == 1:
            return self.runs[0].arrivals()
        total, spread = 0.0, 0.0
        for run, weight in zip(self.runs, self.weight, strict=True):
            w = weight[None, :, None, None]
            counts, squares = run.arrivals()
            total = total + w * counts
            spread = spread + w**2 * (squares - counts.astype(float) ** 2 / self.batches)
        return np.asarray(total), np.asarray(spread + np.square(total) / self.batches)

    def bodies(self) -> np.ndarray:
        """Counts of absorptions over the cycle, (cases, lamps, bodies) float64."""
        return self._summed([run.bodies() for run in self.runs])

    def fates(self) -> np.ndarray:
        """Counts of (escaped, lost, not finite) over the cycle, (cases, lamps, 3) float64."""
        return self._summed([run.fates() for run in self.runs])

    def _summed(self, tallies: list[np.ndarray]) -> np.ndarray:
        return np.asarray(np.einsum("pclx,pl->clx", np.array(tallies), self.weight))


class BackwardCycle:
    """Backward paths from the same targets in every pose, as many in each; see `Paths`.

    `runs` are those of the poses, `shares` their shares of the cycle.
    """

    def __init__(
        self,
        poses: Sequence[PosedTriangles],
        arrays: Sequence[KernelScene],
        seed: int,
        threads: int,
        *,
        stride: tuple[int, ...] | None = None,
        batches: int = PATH_BATCHES,
        known: Sequence[Known] | None = None,
    ) -> None:
        self.batches = batches
        self.shares = [pose.share for pose in poses]
        self.runs = [
            BackwardRun(
                one,
                pose.triangles,
                pose_seed(seed, k),
                threads,
                stride=stride,
                batches=batches,
                known=None if known is None else known[k],
            )
            for k, (pose, one) in enumerate(zip(poses, arrays, strict=True))
        ]

    @classmethod
    def after(
        cls,
        photons: PhotonCycle,
        poses: Sequence[PosedTriangles],
        seed: int,
        *,
        stride: tuple[int, ...] | None = None,
        batches: int = PATH_BATCHES,
    ) -> "BackwardCycle":
        """Paths that use what the photons, all traced before, have found."""
        pairs = zip(photons.runs, poses, strict=True)
        known = [known_light(run, pose.triangles) for run, pose in pairs]
        arrays = [run.scene for run in photons.runs]
        return cls(
            poses, arrays, seed, photons.threads, stride=stride, batches=batches, known=known
        )

    @property
    def paths(self) -> np.ndarray:
        """Paths traced per batch in one pose, (targets,) int64."""
        return self.runs[0].paths

    @property
    def reads(self) -> np.ndarray:
        """Whether the paths of a target read the photons' counts, (targets,) bool."""
        return self.runs[0].reads

    def stop_reading(self, chosen: np.ndarray) -> None:
        """Forget the paths of some targets; further ones go on to the lamps."""
        for run in self.runs:
            run.stop_reading(chosen)

    @property
    def rays(self) -> int:
        """Rays traced in all poses."""
        return sum(run.rays for run in self.runs)

    def add_starts(self, targets: Sequence[Start]) -> None:
        """Append targets: the same face-sides in every pose."""
        for run in self.runs:
            run.add_starts(targets)

    def add_paths(self, chosen: np.ndarray, paths: np.ndarray) -> None:
        """Trace `paths` (chosen,) further paths per batch in every pose."""
        for run in self.runs:
            run.add_paths(chosen, paths)

    def batch_irradiance(self, chosen: np.ndarray) -> np.ndarray:
        """Irradiance over the cycle by batch, W/m2, (chosen, batches, lamps, cases)."""
        pairs = zip(self.shares, self.runs, strict=True)
        return reduce(np.add, (share * run.batch_irradiance(chosen) for share, run in pairs))
