"""How building the hierarchy and a photon's segment grow with the number of triangles."""

import time

import bumps
import numpy as np

SIZES = (10_000, 100_000, 1_000_000)


def growth(quick: bool) -> dict[str, float]:
    """Seconds to build, and nanoseconds per photon segment on one core."""
    from raysim.kernels.hierarchy import build_tree
    from raysim.transport.photons import PhotonRun

    figures, costs = {}, []
    build_tree(bumps.corners(2_000))
    for size in SIZES[:1] if quick else SIZES:
        shapes = bumps.corners(size)
        started = time.perf_counter()
        build_tree(shapes)
        seconds = time.perf_counter() - started
        figures[f"hierarchy, {len(shapes):,} triangles, s"] = seconds
        figures[f"hierarchy, {len(shapes):,} triangles, s per million"] = (
            seconds / len(shapes) * 1e6
        )
        run = PhotonRun(bumps.kernel_scene(size), 1, 1)
        run.add_batches(1)
        samples = []
        for _ in range(1 if quick else 5):
            before, started = run.segments, time.perf_counter()
            run.add_batches(2)
            samples.append((time.perf_counter() - started) / (run.segments - before) * 1e9)
        costs.append(float(np.median(samples)))
        figures[f"photon segment, {len(shapes):,} triangles, one core, ns"] = costs[-1]
    figures["photon segment: cost at most against fewest triangles"] = costs[-1] / costs[0]
    return figures
