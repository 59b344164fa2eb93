"""Derivatives of the irradiance of a spot from pairs of runs on the same random numbers.

Where a path weight does not carry a change (places of things, refractive indices) the spot is
traced twice, with the input a little up and a little down. Both runs draw the same numbers: most
of their noise is common and goes out with the difference:

    d ln E / dx = (E(x + h) - E(x - h)) / (2 h E)

The batches of the two runs pair off; their differences give the standard error.

Source: central difference; common random numbers, e.g. Law and Kelton, "Simulation Modeling and
Analysis", chapter on variance reduction (from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from raysim.base.figures import Figures
from raysim.dose.result import Spot
from raysim.kernels.fresnel import EXTINCTION, INDEX
from raysim.kernels.records import START
from raysim.scene.triangles import SIDES, SceneTriangles
from raysim.transport.kernel_scene import KernelScene, kernel_scene
from raysim.transport.options import RunOptions
from raysim.transport.paths import traced_irradiance
from raysim.transport.starts import face_start

STEP_M = 0.002  # places
NEAR = 0.004  # m
INDEX_COLUMNS = {"refractive_index": INDEX, "extinction": EXTINCTION}
STEP_SHARE = 0.02  # of a refractive index or an extinction coefficient
EXPECTED_COLUMN = slice(1, 2)


@dataclass(frozen=True)
class Slope(Figures):
    """Relative change of an irradiance per unit of an input, and its standard error from noise."""

    value: float
    error: float


@dataclass(frozen=True)
class Bench:
    """A spot and how it is traced; `arrays` are those of `triangles`, `paths` per batch."""

    triangles: SceneTriangles
    arrays: KernelScene
    spot: Spot
    seed: int
    threads: int
    paths: int

    def batches(self, arrays: KernelScene, triangles: SceneTriangles) -> np.ndarray:
        """Irradiance of the spot by batch, expected case, lamps at rating, (batches,), W/m2."""
        return self.traced(arrays, triangles, EXPECTED_COLUMN)[:, :, 0].sum(axis=1)

    def traced(
        self, arrays: KernelScene, triangles: SceneTriangles, cases: slice = slice(None)
    ) -> np.ndarray:
        """Irradiance of the spot, W/m2, (batches, lamps, cases)."""
        start = face_start(self.spot.face, SIDES.index(self.spot.side))
        options = RunOptions(self.seed, self.threads)
        traced = traced_irradiance(arrays, triangles, [start], self.paths, options, cases=cases)
        return traced.batches[0]

    def pair(
        self,
        up: tuple[KernelScene, SceneTriangles],
        down: tuple[KernelScene, SceneTriangles],
    ) -> np.ndarray:
        """Irradiance by batch in two states of the scene, (2, batches), W/m2."""
        return np.stack([self.batches(*up), self.batches(*down)])


@dataclass(frozen=True)
class Cycle:
    """A spot in every pose of a cycle, with random numbers of its own in each; one pose is enough.

    What is changed is changed alike in every pose.
    """

    benches: tuple[Bench, ...]
    shares: tuple[float, ...]

    def summed(self, irradiance: Callable[[Bench], np.ndarray]) -> np.ndarray:
        """Share x irradiance, W/m2, summed over the poses, batch by batch (definition)."""
        parts = [share * irradiance(b) for share, b in zip(self.shares, self.benches, strict=True)]
        return np.asarray(sum(parts[1:], parts[0]))

    def with_paths(self, paths: int) -> "Cycle":
        """The same with other numbers of paths per batch."""
        return replace(self, benches=tuple(replace(b, paths=paths) for b in self.benches))


def slope_of(pair: np.ndarray, width: float) -> Slope:
    """Slope from a pair of irradiances by batch, (2, batches), `width` of the input apart.

    Source: equation of the module; error of a ratio of means, Cochran, "Sampling Techniques".
    """
    high, low = pair
    light = 0.5 * (high + low)
    mean = float(light.mean())
    if not mean > 0.0:
        return Slope(0.0, 0.0)
    value = float((high - low).mean()) / (width * mean)
    rest = (high - low) / width - value * light
    return Slope(value, float(rest.std(ddof=1) / np.sqrt(len(rest)) / mean))


def held_by(triangles: SceneTriangles, body: int) -> tuple[int, ...]:
    """The body and the objects that it hangs on: unjudged ones within NEAR of its corners.

    A strap that rests on a hook lies in its shadow; moved without the hook, it would leave it or
    be driven into it.
    """
    from scipy.spatial import cKDTree

    tree = cKDTree(triangles.corners_of(body).reshape(-1, 3))
    others = [
        k for k, other in enumerate(triangles.bodies) if other.kind == "object" and not other.judged
    ]
    near = [k for k in others if tree.query(triangles.corners_of(k).reshape(-1, 3))[0].min() < NEAR]
    return (body, *(k for k in near if k != body))


def moved_bodies(
    triangles: SceneTriangles, bodies: tuple[int, ...], by: np.ndarray
) -> SceneTriangles:
    """The scene with some bodies moved by (3,), m."""
    corners = triangles.corners.copy()
    corners[np.isin(triangles.face_body, bodies)] += by
    return replace(triangles, corners=corners)


def moved_lamp(arrays: KernelScene, lamp: int, by: np.ndarray) -> KernelScene:
    """Kernel arrays with the tubes of one lamp moved by (3,), m."""
    tubes = arrays.geometry.tubes.copy()
    tubes[arrays.geometry.tube_lamp == lamp, START] += by
    return replace(arrays, geometry=arrays.geometry._replace(tubes=tubes))


def other_index(arrays: KernelScene, surface: int, key: str, share: float) -> KernelScene:
    """Kernel arrays with `refractive_index` or `extinction` of one surface times 1 + share."""
    numbers = arrays.surfaces.numbers.copy()
    numbers[surface, INDEX_COLUMNS[key]] *= 1.0 + share
    return replace(arrays, surfaces=arrays.surfaces._replace(numbers=numbers))


def body_pairs(bench: Bench, bodies: tuple[int, ...]) -> np.ndarray:
    """Pairs along x, y, z when bodies are moved together, all else staying: (3, 2, batches)."""

    def state(by: np.ndarray) -> tuple[KernelScene, SceneTriangles]:
        moved = moved_bodies(bench.triangles, bodies, by)
        return kernel_scene(moved), moved

    return np.stack([bench.pair(state(step), state(-step)) for step in STEP_M * np.eye(3)])


def lamp_pairs(bench: Bench, lamp: int) -> np.ndarray:
    """Pairs along x, y, z when a lamp is moved, all else staying: (3, 2, batches), W/m2."""

    def state(by: np.ndarray) -> tuple[KernelScene, SceneTriangles]:
        return moved_lamp(bench.arrays, lamp, by), bench.triangles

    return np.stack([bench.pair(state(step), state(-step)) for step in STEP_M * np.eye(3)])


def place_slopes(pairs: np.ndarray) -> tuple[Slope, ...]:
    """Slopes per metre along x, y, z, from `body_pairs` or `lamp_pairs`."""
    return tuple(slope_of(pair, 2.0 * STEP_M) for pair in pairs)


def index_pair(bench: Bench, surface: int, key: str) -> np.ndarray:
    """Pair with `refractive_index` or `extinction` of a surface changed, (2, batches), W/m2."""
    up = other_index(bench.arrays, surface, key, STEP_SHARE)
    down = other_index(bench.arrays, surface, key, -STEP_SHARE)
    same = bench.triangles
    return bench.pair((up, same), (down, same))


def index_slope(pair: np.ndarray) -> Slope:
    """Slope per relative change of an optical constant, from `index_pair`."""
    return slope_of(pair, 2.0 * STEP_SHARE)


def steepest(slopes: tuple[Slope, ...]) -> Slope:
    """Length of a gradient, with what noise alone adds to its square taken off.

    Never below the largest of the errors: what was not resolved may be as large as that.

    Source: expectation of the square of a noisy value, mean^2 + error^2.
    """
    values = np.array([slope.value for slope in slopes])
    errors = np.array([slope.error for slope in slopes])
    length = float(np.sqrt(max((values**2 - errors**2).sum(), (errors**2).max())))
    norm = float(np.linalg.norm(values))
    error = float(np.sqrt(((values * errors) ** 2).sum()) / norm) if norm > 0.0 else errors.max()
    return Slope(length, error)
