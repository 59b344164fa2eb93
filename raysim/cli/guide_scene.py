"""From a scene to the plan of a box: rounded, checked, traced and judged."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from raysim.base.errors import SceneError, any_error
from raysim.cli.common import Teller
from raysim.cli.dose import traced, with_budget

if TYPE_CHECKING:
    from raysim.dose.result import Result
    from raysim.workshop.grid import Grid
    from raysim.workshop.plan import Plan


def planned(
    path: Path,
    folder: Path,
    teller: Teller,
    *,
    units: str | None,
    stock: str | None,
    prices: Path | None,
    **run: Any,
) -> tuple["Plan", "Result"]:
    """The plan of a scene, and the result of the scene as it is rounded to a grid.

    `units` names the grid, None: inches for a scene in inches or feet. `stock` is "2440x1220".

    Raises
    ------
    SceneError
        With every fault of the scene, or of the scene once it is rounded.
    KeyboardInterrupt
        Where tracing was broken off: of half a run no guide is made.
    """
    from raysim.dose.checkpoint import Checkpoint
    from raysim.dose.simulate import load_scene
    from raysim.output.files.guide_scene import aside, renamed, rounded_scene
    from raysim.scene.check.check import check_scene
    from raysim.workshop.grid import GRIDS, grid_of
    from raysim.workshop.plan import plan_of

    written = load_scene(path, teller.progress)
    grid = GRIDS[units] if units else grid_of(written.written.units)
    size = None if stock is None else _stock(stock, grid)
    try:
        scene, moved = rounded_scene(written, grid, folder, load_scene)
        teller.compiling()
        with teller.bar(passing=True):
            faults = check_scene(scene, teller.progress)
        faults = renamed(SceneError(faults), path, grid)
        if any_error(faults):
            raise SceneError(faults)
        teller.warn(faults)
        plan = plan_of(scene, grid, moved, size, prices)
        warnings = tuple(faults)
        result = traced(
            scene, teller, warnings=warnings, checkpoint=Checkpoint(), without=(), **run
        )
        if result.interrupted:
            raise KeyboardInterrupt
        result = with_budget(result, scene, run["seed"], run["threads"])
    except BaseException:
        aside(folder).unlink(missing_ok=True)
        raise
    return plan, result


def _stock(text: str, grid: "Grid") -> tuple[int, int]:
    """Width and height of a sheet of stock, steps of the grid, from "2440x1220"."""
    try:
        across, up = (grid.read(part.strip()) for part in text.casefold().split("x"))
    except ValueError:
        across = up = 0
    if min(across, up) <= 0:
        raise click.BadParameter(
            f'"{text}" is no size of a sheet: write width x height in {grid.unit}',
            param_hint="--stock",
        )
    return across, up
