"""Seconds that `raysim hooks` takes for 200 and more hook positions of the demo, on two threads.

`python benchmarks/hooks.py [N|A..B]`: number of respirators, as of --number. Printed are hook
positions with room, layouts traced, rays, seconds of wall and of processor time.
"""

import resource
import sys
import time
from pathlib import Path

import raysim
from raysim.cli.hooks_options import number_range
from raysim.studies.hooks import find_hooks
from raysim.studies.hooks_load import find_load
from raysim.studies.hooks_points import SPACING, grid_points
from raysim.studies.hooks_room import Clearances

DEMO = Path(__file__).resolve().parent.parent / "scenes" / "clinic_locker.toml"
LIMIT = 300.0  # s


def main() -> None:
    """Run the study of the demo once and print what it took."""
    load = find_load(raysim.load_scene(DEMO))
    numbers = number_range(sys.argv[1] if len(sys.argv) > 1 else None, len(load.now))
    points = grid_points(load, (), SPACING, None, None, (0.0,))
    started = time.perf_counter()
    study = find_hooks(
        load,
        points,
        numbers,
        clearances=Clearances(),
        seed=1,
        precision=0.05,
        threads=2,
        progress=lambda *_: None,
    )
    wall = time.perf_counter() - started
    used = resource.getrusage(resource.RUSAGE_SELF)
    tried = sum(one.tried for one in study.numbers)
    print(f"{len(points)} hook positions, {len(study.points)} with room; {tried} layouts traced")
    for one in study.numbers:
        print(
            f"  {one.number}: {one.best.time:.0f} s of exposure, {one.per_hour:.1f} per hour, "
            f"{one.worse} of {one.tried} shown to be worse, {one.aside} set aside"
        )
    print(f"{study.rays / 1e6:.0f} million rays, {wall:.0f} s (limit {LIMIT:.0f} s),", end=" ")
    print(f"{used.ru_utime + used.ru_stime:.0f} s of processor time")


if __name__ == "__main__":
    main()
