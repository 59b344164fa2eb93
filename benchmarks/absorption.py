"""Analog absorption against weights with Russian roulette, by figure of merit.

`python benchmarks/absorption.py`. The figure of merit of a face-side is 1 / (relative variance x
seconds); printed is the median over judged face-sides of the ratio weights / analog, and the ratio
for their darker half. Above 1 weights would pay.
"""

import math
import time
from pathlib import Path

import numpy as np

import raysim
from raysim.kernels.compile import kernel
from raysim.kernels.emission import emitted_ray
from raysim.kernels.history import hit_normal, scattered_direction
from raysim.kernels.random_numbers import MASK, SCATTERING, SHIFT, split_word, uniforms
from raysim.kernels.surfaces import REFLECTED
from raysim.kernels.traverse import nearest_hit, new_scratch
from raysim.transport.kernel_scene import kernel_scene

DEMO = Path(__file__).resolve().parent.parent / "scenes" / "clinic_locker.toml"
EXPECTED = 1  # column of the case
BATCHES, PHOTONS = 40, 20_000


@kernel
def follow(geometry, surfaces, tube, photon, key0, key1, floor, tally, scratch):
    """Trace one photon whose weight is lowered by reflection down to `floor`, then roulette.

    A floor of 1 is analog absorption. Adds the weights of arrivals to `tally`.
    """
    nodes, blocks = geometry.nodes, geometry.blocks
    tubes, (stack, distances) = geometry.tubes, scratch
    low, high = photon & MASK, photon >> SHIFT
    u = uniforms(low, high, np.uint64(0), np.uint64(77), key0, key1)
    x, y, z, dx, dy, dz = emitted_ray(geometry.tubes, tube, u[0], u[1], u[2], u[3])
    triangles = geometry.normals.shape[0]
    last, weight = triangles + tube, 1.0
    for bounce in range(10_000):
        distance, hit = nearest_hit(
            nodes,
            blocks,
            tubes,
            triangles,
            x,
            y,
            z,
            dx,
            dy,
            dz,
            math.inf,
            last,
            -1,
            False,
            stack,
            distances,
        )
        if hit < 0:
            return
        x, y, z = x + distance * dx, y + distance * dy, z + distance * dz
        nx, ny, nz, side, _ = hit_normal(geometry.normals, geometry.tubes, hit, x, y, z, dx, dy, dz)
        if hit < triangles:
            tally[2 * hit + side] += weight
        surface = geometry.surface[hit]
        u = uniforms(low, high, np.uint64(bounce + 1), SCATTERING, key0, key1)
        weight *= surfaces.reflectance[surface, EXPECTED]
        if weight < floor:
            if u[0] * floor >= weight:
                return
            weight = floor
        dx, dy, dz, _ = scattered_direction(
            dx, dy, dz, nx, ny, nz, REFLECTED, surfaces.specular[surface], u[1], u[2], u[3]
        )
        last = hit


@kernel(allocates=True)
def trace(geometry, surfaces, batch, photons, key0, key1, floor, tally):
    """One batch of photons, the tubes in turn."""
    scratch = new_scratch()
    for i in range(photons):
        photon = np.uint64(batch * photons + i)
        follow(
            geometry, surfaces, i % len(geometry.tubes), photon, key0, key1, floor, tally, scratch
        )


def merit(arrays, judged, floor: float) -> tuple[np.ndarray, np.ndarray]:
    """Mean tally and figure of merit of every judged face-side."""
    rows = np.zeros((BATCHES, 2 * len(arrays.order)))
    trace(arrays.geometry, arrays.surfaces, 0, 10, *split_word(1), floor, rows[0].copy())
    started = time.perf_counter()
    for batch in range(BATCHES):
        trace(arrays.geometry, arrays.surfaces, batch, PHOTONS, *split_word(1), floor, rows[batch])
    seconds = time.perf_counter() - started
    rows = rows[:, judged]
    mean = rows.mean(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return mean, mean**2 / (rows.var(axis=0, ddof=1) / BATCHES) / seconds


def main() -> None:
    """Compare both and print what came of it."""
    scene = raysim.load_scene(DEMO)
    arrays = kernel_scene(scene.triangles)
    judged = scene.triangles.judged[arrays.order].reshape(-1)
    mean, analog = merit(arrays, judged, 1.0)
    dark = (mean > 0.0) & (mean < np.median(mean))
    print("floor of the weight   median ratio of merit   in the darker half")
    for floor in (0.5, 0.2, 0.05):
        _, weighted = merit(arrays, judged, floor)
        ratio = weighted / analog
        print(f"{floor:19.2f} {np.nanmedian(ratio):22.3f} {np.nanmedian(ratio[dark]):22.3f}")


if __name__ == "__main__":
    main()
