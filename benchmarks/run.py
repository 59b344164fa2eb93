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

from growth import growth
from merit import merit
from peers import hits, photons
from plans import plans

HERE = Path(__file__).resolve().parent
SCENES = HERE.parent / "scenes"
DEMO, FOLDED = SCENES / "clinic_locker.toml", SCENES / "folded_shut.toml"


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
    from raysim.transport.kernel_scene import kernel_scene
    from raysim.transport.photons import PhotonRun

    scene = raysim.load_scene(DEMO)
    started = time.perf_counter()
    arrays = kernel_scene(scene.triangles)
    figures = {"hierarchy build, s": time.perf_counter() - started}
    for threads in (1, 2):
        run = PhotonRun(arrays, 1, threads)
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


def folded(folder: str) -> Path:
    """The scene of two flat-fold respirators, of which only the opened one is judged.

    The other one is shut: there is no telling how far a bound lies below no light.
    """
    text = FOLDED.read_text(encoding="utf-8").replace("..", FOLDED.parents[1].as_posix())
    before, shut = text.split('name = "folded shut"')
    path = Path(folder) / "folded.toml"
    path.write_text(before + 'name = "shut"' + shut.replace("judged = true", "", 1), "utf-8")
    return path


def table(figures: dict[str, float], machine: str) -> str:
    """The text of benchmarks/README.md."""
    rows = "\n".join(f"| {name} | {value:.3g} |" for name, value in figures.items())
    return f"""# Figures

`python benchmarks/run.py` measures all of it, peers in turns with ours in the same run, and writes
this table and a line of results.jsonl; medians. `--quick` only proves that it runs.
`linings.py` and `hooks.py` answer questions of their own. What each part costs, and what was tried:
[COSTS.md](COSTS.md).

{date.today().isoformat()}, {machine}.

| what | figure |
|---|---|
{rows}
"""


def main() -> None:
    """Measure and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="only prove that it runs")
    quick = parser.parse_args().quick
    figures = {**command_times(quick), **tracing(quick)}
    beside = {**hits(quick), **photons(quick, DEMO)}
    figures |= {**beside, **growth(quick), **plans(quick, DEMO)}
    with tempfile.TemporaryDirectory() as folder:
        figures |= merit(quick, {"demo": DEMO, "folded": folded(folder)}, beside)
    for name, value in figures.items():
        print(f"{name:<72} {value:10.3f}")
    if quick:
        return
    machine = f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    row = {"date": date.today().isoformat(), "machine": machine, **figures}
    with (HERE / "results.jsonl").open("a", encoding="utf-8") as file:
        file.write(json.dumps(row) + "\n")
    (HERE / "README.md").write_text(table(figures, machine), encoding="utf-8")


if __name__ == "__main__":
    main()
