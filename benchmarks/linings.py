"""What a dozen linings cost against one dose run: `python benchmarks/linings.py [SCENE]`.

Both to the same precision. Processor time is counted (all threads, compiling left out), so that
other work on the machine does not spoil the ratio. `--quick` only proves that it runs.
"""

import argparse
import resource
import time
from pathlib import Path

DEMO = Path(__file__).resolve().parents[1] / "scenes" / "clinic_locker.toml"
PRECISION = 0.02
QUICK = 0.3


def processor_seconds() -> float:
    """Processor time of this process so far, s, all threads."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def compared(scene_file: Path, quick: bool) -> dict[str, float]:
    """Processor seconds of one dose run and of a dozen linings, and their ratio."""
    import raysim
    from raysim.cli.linings import AS_WRITTEN, DEFAULT
    from raysim.library import find_surface
    from raysim.studies.columns import wall_surfaces
    from raysim.studies.linings import compare_linings

    scene = raysim.load_scene(scene_file)
    precision = QUICK if quick else PRECISION
    raysim.simulate(scene, photons=1, precision=0.5)  # compiles
    figures = {}
    started, wall = processor_seconds(), time.perf_counter()
    result = raysim.simulate(scene, photons=1 if quick else None, precision=precision)
    figures["one dose run, processor s"] = processor_seconds() - started
    figures["one dose run, s"] = time.perf_counter() - wall
    figures["its ray segments, millions"] = result.segments / 1e6
    linings = [find_surface(name) for name in DEFAULT[: 3 if quick else None]]
    for walls in (False, True):
        started, wall = processor_seconds(), time.perf_counter()
        study = compare_linings(
            scene,
            linings,
            as_written=(AS_WRITTEN, wall_surfaces(scene.triangles)),
            prices={},
            seed=1,
            precision=precision,
            threads=None,
            wall_lining=None,
            walls=walls,
            progress=lambda *_: None,
        )
        what = f"{len(linings)} linings" + (" and one wall at a time" if walls else "")
        figures[f"{what}, processor s"] = processor_seconds() - started
        figures[f"{what}, s"] = time.perf_counter() - wall
        figures[f"{what}, ray segments, millions"] = study.rays / 1e6
        figures[f"{what}, times one dose run"] = (processor_seconds() - started) / figures[
            "one dose run, processor s"
        ]
    return figures


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scene", nargs="?", type=Path, default=DEMO)
    parser.add_argument("--quick", action="store_true")
    chosen = parser.parse_args()
    for what, value in compared(chosen.scene, chosen.quick).items():
        print(f"{what:58s} {value:10.3g}")


if __name__ == "__main__":
    main()
