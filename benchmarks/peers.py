"""Closest hits beside Embree, and the demo's photons beside Mitsuba 3, in turns in one run."""

import time

import bumps
import numpy as np

SIZES = (5_000, 50_000, 500_000)


def hits(quick: bool) -> dict[str, float]:
    """Closest hits per second on one core, incoherent rays, ours and Embree's in turns."""
    try:
        from embreex import rtcore_scene
        from embreex.mesh_construction import TriangleMesh
    except ImportError:
        print("embreex is not installed (extra 'bench'): no comparison with Embree")
        return {}
    from raysim.kernels.hierarchy import build_tree
    from raysim.kernels.probe import first_hits

    figures = {}
    for size in SIZES[:1] if quick else SIZES:
        shapes = bumps.corners(size)
        count = 20_000 if quick else 400_000
        random = np.random.default_rng(1)
        origins = random.random((count, 3))
        ways = random.normal(size=(count, 3))
        ways /= np.linalg.norm(ways, axis=1)[:, None]
        nodes, blocks, order = build_tree(shapes)
        things = (nodes, blocks, np.zeros((0, 8)), len(order))
        reach = np.full(count, np.inf)
        first_hits(*things, origins[:10], ways[:10], reach[:10])
        embree = rtcore_scene.EmbreeScene()
        TriangleMesh(embree, shapes.astype("f4"))
        single = origins.astype("f4"), ways.astype("f4")
        ours, theirs = [], []
        for _ in range(1 if quick else 7):
            started = time.perf_counter()
            distance, _ = first_hits(*things, origins, ways, reach)
            ours.append(count / (time.perf_counter() - started) / 1e6)
            started = time.perf_counter()
            other = embree.run(*single, query="DISTANCE")
            theirs.append(count / (time.perf_counter() - started) / 1e6)
        # Single precision and no care of edges on the other side: nearly all must agree.
        assert (np.abs(distance - other) < 1e-4).mean() > 0.999
        name = f"closest hits, {len(order):,} triangles, one core, M/s"
        figures[name] = float(np.median(ours))
        figures[f"{name}: Embree"] = float(np.median(theirs))
        figures[f"{name}: ratio"] = float(np.median(ours) / np.median(theirs))
    return figures


def photons(quick: bool, demo) -> dict[str, float]:
    """Photon segments of the demo per second on all cores, beside Mitsuba's LLVM mode."""
    import raysim
    from raysim.transport.kernel_scene import kernel_scene
    from raysim.transport.photons import PhotonRun
    from raysim.transport.threads import default_threads

    try:
        from mitsuba_photons import Photons

        triangles = raysim.load_scene(demo).triangles
        peer = Photons(triangles)
    except ImportError as error:
        print(f"no comparison with Mitsuba: {error}")
        return {}
    count = 50_000 if quick else 1_000_000
    run = PhotonRun(kernel_scene(triangles), 1, default_threads())
    run.add_batches(run.threads)
    batches = -(-count // int(run.batch_photons.sum()))
    peer.trace(count, 1)  # compiles
    ours, theirs, sent = [], [], []
    for seed in range(2, 3 if quick else 9):
        before, started = run.segments, time.perf_counter()
        run.add_batches(batches)
        seconds = time.perf_counter() - started
        ours.append((run.segments - before) / seconds / 1e6)
        sent.append(batches * int(run.batch_photons.sum()) / seconds / 1e6)
        started = time.perf_counter()
        _, segments = peer.trace(count, seed)
        seconds = time.perf_counter() - started
        theirs.append((segments / seconds / 1e6, count / seconds / 1e6))
    segments, emitted = np.median(theirs, axis=0)
    return {
        "demo, photon segments, all cores, M/s": float(np.median(ours)),
        "demo, photon segments: Mitsuba": float(segments),
        "demo, photon segments: ratio": float(np.median(ours) / segments),
        "demo, photons (three cases at once), M/s": float(np.median(sent)),
        "demo, photons (one case): Mitsuba": float(emitted),
        "demo, photons: ratio": float(np.median(sent) / emitted),
    }
