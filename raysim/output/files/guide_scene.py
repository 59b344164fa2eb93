"""The scene of a guide: rounded to what is printed, and written where the guide will be."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from raysim.base.errors import Fault, SceneError
from raysim.dose.checkpoint_file import ASIDE
from raysim.output.files.scene_file import read_again, scene_text
from raysim.scene.build import BuiltScene
from raysim.scene.file.rows import spread
from raysim.workshop.grid import GRIDS, Grid
from raysim.workshop.plan import places_as_printed
from raysim.workshop.rounding import Moved, moved, rounded

SCENE_FILE = "as_built.toml"


def rounded_scene(
    scene: BuiltScene, grid: Grid, folder: Path, load: Callable[[Path], BuiltScene]
) -> tuple[BuiltScene, tuple[Moved, ...]]:
    """The scene on a grid, and what rounding moved; its file is left aside in `folder`.

    The file is kept under the name that `aside` tells until the guide is written. `load` reads and
    builds it.

    Raises
    ------
    SceneError
        Where the rounded scene cannot be built; faults name the scene that was rounded.
    """
    text, rows = rounded_text(scene, grid, folder)
    aside(folder).write_text(text, encoding="utf-8")
    try:
        built = load(aside(folder))
    except SceneError as error:
        raise SceneError(renamed(error, scene.path, grid)) from None
    return replace(built, path=folder / SCENE_FILE), rows


def rounded_text(scene: BuiltScene, grid: Grid, folder: Path) -> tuple[str, tuple[Moved, ...]]:
    """The file of a scene on a grid, for `folder`, and what rounding moved."""
    data = spread(read_again(scene), scene.written.object)
    rows = tuple(moved(data, scene.written, grid))
    data = rounded(data, scene.written, grid, places_as_printed(scene, grid))
    heading = f"Rounded to {grid.step_words} by raysim guide: the box that its drawings show."
    return scene_text(data, scene, folder, (heading,)), rows


def shows(scene: BuiltScene, folder: Path, unit: str) -> bool:
    """Whether the guide in `folder`, in this unit, is of the scene as it is now: rounded anew."""
    grid = next((one for one in GRIDS.values() if one.unit == unit), None)
    if grid is None:
        return False
    there = (folder / SCENE_FILE).read_text("utf-8")
    return there == rounded_text(scene, grid, folder)[0]


def aside(folder: Path) -> Path:
    """Where the scene lies until the guide is written."""
    return folder / f"{SCENE_FILE}{ASIDE}"


def renamed(error: SceneError, path: Path, grid: Grid) -> list[Fault]:
    """Faults of a rounded scene, with the file that its user knows."""
    shown = f"{path} (rounded to {grid.step_words})"
    return [replace(fault, file=shown) for fault in error.faults]
