"""A scene rounded to what is printed, so that the box that is traced is the box that is built.

Rounded are the lengths that a builder makes: the inside and the sheet, places of lamps, things and
meter points, and gaps. What is bought or drawn elsewhere (tubes, meshes) stays as it is.
"""

from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from raysim.scene.file.written import SceneAsWritten
from raysim.workshop.grid import Grid

Place3 = tuple[float, float, float]
OF_GAPS = ("points", "width", "depth", "step")
HALF_DEGREES = 2  # turns are printed in half degrees


@dataclass(frozen=True)
class Moved:
    """What rounding moved: its key, as it was written and as it is built, in the grid's unit."""

    key: str
    before: float
    after: str


def rounded(
    data: dict[str, Any],
    scene: SceneAsWritten,
    grid: Grid,
    printed: Mapping[Place3, Place3] = MappingProxyType({}),
) -> dict[str, Any]:
    """The tables of a scene file with every length that is built as a whole number of steps.

    Parameters
    ----------
    data : dict
        The scene file as TOML reads it; it is left as it is.
    scene : SceneAsWritten
        The same, read.
    printed : mapping
        Places (m) that are printed as other measures than coordinates, and where these put them.
    """
    found = deepcopy(data)
    for table, key, value in _built(found, scene):
        exact = printed.get(value) if isinstance(value, tuple) else None
        table[key] = [f"{x!r} m" for x in exact] if exact else _written(value, grid)
    for table in _turned(found):
        table["turn"] = [round(HALF_DEGREES * angle) / HALF_DEGREES for angle in table["turn"]]
    return found


def moved(data: dict[str, Any], scene: SceneAsWritten, grid: Grid) -> list[Moved]:
    """Every length that rounding changes by more than a hundredth of a step, as it is told.

    Of a chamber from a mesh nothing: there the places are printed as other measures.
    """
    if scene.chamber.inside is None:
        return []
    rows = []
    for table, key, value in _built(data, scene):
        name = f'"{table["name"]}" ' if isinstance(table.get("name"), str) else ""
        for one in value if isinstance(value, Sequence) else [value]:
            for length in one if isinstance(one, Sequence) else [one]:
                steps = grid.steps(length)
                if abs(length - grid.metres(steps)) > 0.01 * grid.step:
                    before = length / grid.step / grid.per_unit
                    rows.append(Moved(f"{name}{key}", before, grid.text(steps)))
    return rows


def _written(value: Any, grid: Grid) -> Any:
    if isinstance(value, Sequence):
        return [_written(one, grid) for one in value]
    return grid.written(grid.steps(value))


def _built(data: dict[str, Any], scene: SceneAsWritten) -> Iterator[Any]:
    """Table, key and value (m) of each length, or list of lengths, that a builder makes."""
    yield from _of(data["chamber"], scene.chamber, {"inside": "inside", "sheet": "sheet"})
    of_lists = {
        "lamp": {"from": "start", "to": "end"},
        "object": {"at": "at"},
        "meter": {"at": "at"},
        "gap": {"from": "start", "to": "end"} | {k: k for k in OF_GAPS},
    }
    for kind, keys in of_lists.items():
        for table, entry in zip(data.get(kind, []), getattr(scene, kind), strict=True):
            yield from _of(table, entry, keys)
    for table, gap in zip(data.get("gap", []), scene.gap, strict=True):
        if gap.around is not None:
            axis, at = gap.around.plane
            yield table["around"], "xyz"[axis], at
    for table, pose in zip(data.get("pose", []), scene.pose, strict=True):
        for inner, entry in zip(table.get("object", []), pose.object, strict=True):
            yield from _of(inner, entry, {"at": "at"})


def _of(table: dict[str, Any], entry: Any, keys: dict[str, str]) -> Iterator[Any]:
    for key, name in keys.items():
        if key in table:
            yield table, key, getattr(entry, name)


def _turned(data: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Tables with a turn, in degrees."""
    for table in [*data.get("object", []), *data.get("pose", [])]:
        for inner in [table, *table.get("object", [])]:
            if "turn" in inner:
                yield inner
