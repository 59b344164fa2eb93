"""Measure what users feel and what the kernels do: `python benchmarks/run.py`.

Prints a table and keeps it as a JSON line in benchmarks/results.jsonl. `--quick` only proves
that everything runs.
"""

import argparse
import json
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
DEMO = HERE.parent / "scenes" / "clinic_locker.toml"


def command_times(quick: bool) -> dict[str, float]:
    """Seconds of the demo as a command: first run, with compilation, and once compiled."""
    with tempfile.TemporaryDirectory() as folder:
        words = [sys.executable, "-m", "raysim", "dose", str(DEMO), "--force", "--quiet"]
        words += ["--photons", "300000", "--precision", "0.3"] if quick else []
        words += ["--out", str(Path(folder) / "out")]
        own_cache = {**os.environ, "NUMBA_CACHE_DIR": folder}
        seconds = []
        for _ in range(2):
            started = time.perf_counter()
            subprocess.run(words, check=True, env=own_cache)
            seconds.append(time.perf_counter() - started)
    return {"demo, first run with compilation, s": seconds[0], "demo, compiled, s": seconds[1]}


def tracing(quick: bool) -> dict[str, float]:
    """The demo through the Python API: time to precision, rates, memory."""
    import raysim
    from raysim.tracing import ForwardRun, kernel_scene

    scene = raysim.load_scene(DEMO)
    started = time.perf_counter()
    arrays = kernel_scene(scene.triangles)
    figures = {"hierarchy build, s": time.perf_counter() - started}
    for threads in (1, 2):
        run = ForwardRun(arrays, 1, threads)
        run.add_batches(threads)
        before = run.segments
        started = time.perf_counter()
        run.add_batches((2 if quick else 24) * threads)
        rate = (run.segments - before) / (time.perf_counter() - started)
        figures[f"photon segments/s, {threads} thread(s), millions"] = rate / 1e6
    options = {"photons": 300_000, "precision": 0.5} if quick else {}
    result = raysim.simulate(scene, **options)
    figures["simulate() to 2 % of the worst face, s"] = result.seconds
    figures["reached distance of the bound, %"] = 100 * result.cases["cautious"].precision
    figures["backward paths, millions"] = result.paths / 1e6
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    figures["peak memory of simulate(), GiB"] = peak / 2**30
    return figures


def closest_hits(quick: bool) -> dict[str, float]:
    """Closest hits per second on one core, and the ratio to Embree where embreex is there."""
    import raysim
    from raysim.kernels.probe import first_hits
    from raysim.tracing import kernel_scene

    scene = raysim.load_scene(DEMO)
    geometry = kernel_scene(scene.triangles).geometry
    count = 20_000 if quick else 500_000
    generator = np.random.default_rng(1)
    size = scene.triangles.corners.reshape(-1, 3).max(axis=0)
    origins = generator.random((count, 3)) * size
    directions = generator.normal(size=(count, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    things = (geometry.nodes, geometry.blocks, np.zeros((0, 8)), len(geometry.normals))
    reach = np.full(count, np.inf)
    first_hits(*things, origins[:10], directions[:10], reach[:10])
    ours, theirs = [], []
    embree = _embree(scene)
    for _ in range(1 if quick else 5):
        started = time.perf_counter()
        first_hits(*things, origins, directions, reach)
        ours.append(count / (time.perf_counter() - started) / 1e6)
        if embree:
            started = time.perf_counter()
            embree.run(origins.astype("f4"), directions.astype("f4"), query="DISTANCE")
            theirs.append(count / (time.perf_counter() - started) / 1e6)
    figures = {"closest hits/s, one core, millions": float(np.median(ours))}
    if theirs:
        figures["Embree, same rays, millions"] = float(np.median(theirs))
        figures["ratio to Embree"] = float(np.median(ours) / np.median(theirs))
    return figures


def _embree(scene):
    try:
        from embreex import rtcore_scene
        from embreex.mesh_construction import TriangleMesh
    except ImportError:
        print("embreex is not installed (extra 'bench'): no comparison with Embree")
        return None
    embree = rtcore_scene.EmbreeScene()
    TriangleMesh(embree, scene.triangles.corners.astype("f4"))
    return embree


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="only prove that it runs")
    quick = parser.parse_args().quick
    figures = {**command_times(quick), **tracing(quick), **closest_hits(quick)}
    for name, value in figures.items():
        print(f"{name:<48} {value:10.3f}")
    if not quick:
        machine = (
            f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
        )
        row = {"date": date.today().isoformat(), "machine": machine, **figures}
        with (HERE / "results.jsonl").open("a", encoding="utf-8") as file:
            file.write(json.dumps(row) + "\n")


if __name__ == "__main__":
    main()
