"""Seconds that `raysim lamps` takes for the demo and `raysim design` for the example wish."""

import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any


def plans(quick: bool, demo: Path) -> dict[str, float]:
    """Time by the clock and of the processor, and how much better any choice of lamps could be."""
    import raysim
    from raysim.starter.scenes import wish_text
    from raysim.studies import design, lamps

    scene = raysim.load_scene(demo)
    grid = lamps.LampGrid(most=8) if quick else lamps.LampGrid()
    numbers, precision = ((1,), 0.5) if quick else (range(1, 7), 0.05)
    found, figures = timed(
        "lamps of the demo",
        lambda: lamps.study(scene, numbers=numbers, places=grid, precision=precision),
    )
    for one in found.numbers:
        figures[f"lamps of the demo, {one.number}: could be better by, %"] = 100 * one.could_gain
    if not quick:
        with tempfile.TemporaryDirectory() as folder:
            wish = Path(folder) / "wish.toml"
            wish.write_text(wish_text(), encoding="utf-8")
            figures |= timed("design of the example wish", lambda: design.study(wish))[1]
    return figures


def timed(what: str, work: Callable[[], Any]) -> tuple[Any, dict[str, float]]:
    """What some work gives, and its seconds."""
    started, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_SELF).ru_utime
    found = work()
    spent = resource.getrusage(resource.RUSAGE_SELF).ru_utime - before
    return found, {f"{what}, s": time.perf_counter() - started, f"{what}, processor s": spent}
