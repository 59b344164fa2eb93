"""Tracing of a load that hangs in several poses during one cycle.

What a face-side receives over the cycle is the sum over the poses of share x irradiance. Each pose
is traced with random numbers of its own, so that the errors of the poses are independent, and the
sums stand where the tallies of a single pose would: bounds, refinement and lamp failures then hold
for the cycle as they do for one pose.
"""

from collections.abc import Sequence

import numpy as np

from raysim.scene.poses import PosedTriangles
from raysim.transport.kernel_scene import KernelScene, kernel_scene
from raysim.transport.paths import PATH_BATCHES, BackwardRun, Start
from raysim.transport.photons import BATCH_PHOTONS, PhotonRun
from raysim.transport.streams import pose_seed


def kernel_scenes(poses: Sequence[PosedTriangles]) -> list[KernelScene]:
    """Kernel arrays of every pose."""
    return [kernel_scene(pose.triangles) for pose in poses]


def forward_run(
    poses: Sequence[PosedTriangles],
    arrays: Sequence[KernelScene],
    seed: int,
    threads: int,
    stride: tuple[int, ...] | None = None,
) -> PhotonRun:
    """Photons through every pose of a cycle; a plain run where there is one pose."""
    if len(poses) == 1:
        return PhotonRun(arrays[0], seed, threads, stride=stride)
    return PhotonPoses(poses, arrays, seed, threads, stride)


def backward_run(
    poses: Sequence[PosedTriangles],
    arrays: Sequence[KernelScene],
    seed: int,
    threads: int,
    *,
    cases: slice = slice(None),
    stride: tuple[int, ...] | None = None,
    batches: int = PATH_BATCHES,
) -> BackwardRun:
    """Backward paths in every pose of a cycle; a plain run where there is one pose."""
    runs = [
        BackwardRun(
            one,
            pose.triangles,
            pose_seed(seed, number),
            threads,
            cases=cases,
            stride=stride,
            batches=batches,
        )
        for number, (pose, one) in enumerate(zip(poses, arrays, strict=True))
    ]
    if len(runs) == 1:
        return runs[0]
    return BackwardPoses(runs, [pose.share for pose in poses])


class PhotonPoses(PhotonRun):
    """Photons shared out among the poses by their shares, so that each stands for the same light.

    Attributes
    ----------
    runs : list of PhotonRun
        One for each pose.
    shares : (poses,) float64
        Of the cycle.
    """

    def __init__(
        self,
        poses: Sequence[PosedTriangles],
        arrays: Sequence[KernelScene],
        seed: int,
        threads: int,
        stride: tuple[int, ...] | None = None,
    ) -> None:
        self.scene, self.threads, self.batches = arrays[0], threads, 0
        self.shares = np.array([pose.share for pose in poses])
        self.runs = [
            PhotonRun(
                one,
                pose_seed(seed, number),
                threads,
                batch_photons=max(round(share * BATCH_PHOTONS), 1),
                stride=stride,
            )
            for number, (one, share) in enumerate(zip(arrays, self.shares.tolist(), strict=True))
        ]
        self.case_stride = self.runs[0].case_stride
        self.batch_photons = np.sum([run.batch_photons for run in self.runs], axis=0)
        own = np.array([run.batch_photons for run in self.runs])
        # Photons come in whole numbers: what a pose has too few or too many is weighed in.
        self.weight = self.shares[:, None] * self.batch_photons / own  # poses, lamps

    def add_batches(self, count: int) -> None:
        """Trace `count` further batches of every pose."""
        for run in self.runs:
            run.add_batches(count)
        self.batches += count

    def tallies(self) -> dict[str, np.ndarray]:
        """All that was counted, by pose; `restore` takes it back."""
        return _numbered([run.tallies() for run in self.runs])

    def restore(self, tallies: dict[str, np.ndarray]) -> None:
        """Go on from the tallies of another run of the same poses and seed.

        Raises
        ------
        ValueError, KeyError
            Where they do not fit.
        """
        for number, run in enumerate(self.runs):
            run.restore(_of_pose(tallies, number))
        if len({run.batches for run in self.runs}) > 1:
            raise ValueError("the poses have unlike numbers of batches")
        self.batches = self.runs[0].batches

    @property
    def segments(self) -> int:
        """Ray segments flown in all poses."""
        return sum(run.segments for run in self.runs)

    def arrivals(self) -> tuple[np.ndarray, np.ndarray]:
        """Counts of arrivals over the cycle and sums over batches of their squares.

        Both (cases, lamps, faces, 2) float64. The squares are those whose variance is the sum of
        the variances of the poses (poses are independent).
        """
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


class BackwardPoses(BackwardRun):
    """Backward paths from the same targets in every pose, as many in each.

    `paths` counts those of one pose, `rays` those of all; `runs` are the runs of the poses.
    """

    def __init__(self, runs: Sequence[BackwardRun], shares: Sequence[float]) -> None:
        self.runs, self.shares = list(runs), list(shares)
        self.scene, self.triangles = runs[0].scene, runs[0].triangles
        self.threads, self.case_stride = runs[0].threads, runs[0].case_stride
        self.batches = runs[0].batches
        self._count()

    def add_starts(self, targets: list[Start]) -> None:
        """Append targets: the same face-sides in every pose."""
        for run in self.runs:
            run.add_starts(targets)
        self._count()

    def tallies(self) -> dict[str, np.ndarray]:
        """Sums over the paths of every target, by pose; `restore` takes them back."""
        return _numbered([run.tallies() for run in self.runs])

    def restore(self, targets: list[Start], tallies: dict[str, np.ndarray]) -> None:
        """Go on from the tallies of another run of the same poses and seed, with its targets.

        Raises
        ------
        ValueError, KeyError
            Where they do not fit.
        """
        for number, run in enumerate(self.runs):
            run.restore(targets, _of_pose(tallies, number))
        self._count()

    def add_paths(self, chosen: np.ndarray, paths: np.ndarray) -> None:
        """Trace `paths` (chosen,) further paths per batch in every pose."""
        for run in self.runs:
            run.add_paths(chosen, paths)
        self._count()

    def batch_irradiance(self, chosen: np.ndarray) -> np.ndarray:
        """Irradiance over the cycle by batch, W/m2, (chosen, batches, lamps, cases)."""
        parts = [run.batch_irradiance(chosen) for run in self.runs]
        return np.asarray(sum(s * part for s, part in zip(self.shares, parts, strict=True)))

    def _count(self) -> None:
        self.paths = self.runs[0].paths
        self.rays = sum(run.rays for run in self.runs)


def _numbered(tallies: Sequence[dict[str, np.ndarray]]) -> dict[str, np.ndarray]:
    return {
        f"pose {number} {name}": array
        for number, own in enumerate(tallies)
        for name, array in own.items()
    }


def _of_pose(tallies: dict[str, np.ndarray], number: int) -> dict[str, np.ndarray]:
    start = f"pose {number} "
    return {name[len(start) :]: a for name, a in tallies.items() if name.startswith(start)}
