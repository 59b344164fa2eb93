"""Seconds that `raysim hooks` takes for 200 and more hook positions of the demo, on two threads.

`python benchmarks/hooks.py [N|A..B]`: number of respirators, as of --number. Printed are the stages
with the seconds of wall and of processor time until each, then hook positions with room, layouts
traced, rays and both times. On a busy machine the processor time is the one to look at: half of it
is about what two idle cores take.
"""

import sys
import time
from pathlib import Path

import raysim
from raysim.cli.hooks_options import number_range
from raysim.studies import hooks
from raysim.studies.hooks.load import find_load
from raysim.studies.hooks.points import Grid, grid_points

DEMO = Path(__file__).resolve().parent.parent / "scenes" / "clinic_locker.toml"
LIMIT = 300.0  # s


class Watch:
    """Prints each stage once, with the time until it began."""

    def __init__(self) -> None:
        self.started, self.stage = time.perf_counter(), ""

    def __str__(self) -> str:
        wall = time.perf_counter() - self.started
        return f"{wall:.0f} s (limit {LIMIT:.0f} s), {time.process_time():.0f} s of processor time"

    def progress(self, what: str, done: float, whole: float) -> None:
        """Called by the study."""
        if what != self.stage:
            self.stage = what
            print(f"{what}: from {self}", flush=True)


def main() -> None:
    """Run the study of the demo once and print what it took."""
    watch = Watch()
    scene = raysim.load_scene(DEMO)
    points = grid_points(find_load(scene), Grid())
    study = hooks.study(
        scene,
        numbers=number_range(sys.argv[1]) if len(sys.argv) > 1 else None,
        points=points,
        options=raysim.RunOptions(threads=2, progress=watch.progress),
    )
    print(f"{len(points)} hook positions, {len(study.points)} with room")
    for one in study.numbers:
        print(
            f"  {one.number}: {one.best.time:.0f} s of exposure, {one.per_hour:.1f} per hour, "
            f"{one.worse} of {one.tried} layouts shown to be worse, {one.aside} set aside"
        )
    print(f"{study.rays / 1e6:.0f} million rays, {watch}")


if __name__ == "__main__":
    main()
