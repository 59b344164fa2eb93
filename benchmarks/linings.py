"""What a dozen linings cost against one dose run: `python benchmarks/linings.py [SCENE]`.

Twice: the commands as a user runs them, with their reports and pictures, by the clock (compiling
left out); and the tracing alone to the same precision, in processor time of all threads, so that
other work on the machine does not spoil the ratio. `--quick` only proves that it runs.
"""

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

DEMO = Path(__file__).resolve().parents[1] / "scenes" / "clinic_locker.toml"
PRECISION = 0.02
QUICK = 0.3


def processor_seconds() -> float:
    """Processor time of this process so far, s, all threads."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def commands(scene_file: Path, quick: bool) -> dict[str, float]:
    """Seconds of the whole commands, `dose` before and after `linings`, and their ratio.

    One wall at a time, a question of its own, is left out.
    """
    precision = ["--precision", str(QUICK if quick else PRECISION)]
    options = {
        "dose": [*precision, "--photons", "1"] if quick else precision,
        "linings": [*precision, "--no-walls", *(["--lining", "white paint"] if quick else [])],
    }
    seconds = []
    for command in ("dose", "linings", "dose"):
        with tempfile.TemporaryDirectory() as folder:
            out = ["--out", f"{folder}/out", "--quiet"]
            words = [command, str(scene_file), *options[command], *out]
            started = time.perf_counter()
            subprocess.run([sys.executable, "-m", "raysim", *words], check=True)
            seconds.append(time.perf_counter() - started)
    dose = 0.5 * (seconds[0] + seconds[2])
    return {
        "raysim dose, s": dose,
        "raysim linings, s": seconds[1],
        "raysim linings, times raysim dose": seconds[1] / dose,
    }


def tracing(scene_file: Path, quick: bool) -> dict[str, float]:
    """Processor seconds of one dose run and of a dozen linings, and their ratio."""
    import raysim
    from raysim.studies.linings.run import LININGS, study

    scene = raysim.load_scene(scene_file)
    precision = QUICK if quick else PRECISION
    raysim.simulate(scene, photons=1, precision=0.5)  # compiles
    figures = {}
    started = processor_seconds()
    result = raysim.simulate(scene, photons=1 if quick else None, precision=precision)
    dose = processor_seconds() - started
    figures["tracing of a dose run, processor s"] = dose
    figures["its ray segments, millions"] = result.segments / 1e6
    linings = [raysim.find_surface(name) for name in LININGS[: 3 if quick else None]]
    started = processor_seconds()
    found = study(scene, linings, walls=False, precision=precision)
    seconds = processor_seconds() - started
    figures[f"tracing of {len(linings)} linings, processor s"] = seconds
    figures["their ray segments, millions"] = found.rays / 1e6
    figures[f"tracing of {len(linings)} linings, times a dose run"] = seconds / dose
    return figures


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scene", nargs="?", type=Path, default=DEMO)
    parser.add_argument("--quick", action="store_true")
    chosen = parser.parse_args()
    for measured in (tracing, commands):  # the first compiles what the second one runs
        for what, value in measured(chosen.scene, chosen.quick).items():
            print(f"{what:58s} {value:10.3g}", flush=True)


if __name__ == "__main__":
    main()
