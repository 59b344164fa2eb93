"""What differs between two scene files, key by key."""

import hashlib
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from raysim.scene.file.fields import UNIT_METRES
from raysim.scene.file.read import read_scene
from raysim.scene.file.rows import as_table
from raysim.scene.file.toml import toml_value
from raysim.scene.file.written import SceneAsWritten

NOT_THERE = "not there"
NOT_GIVEN = "not given"
BY_DEFAULT = "by default"
MESHES = ("mesh", "hook", "rail")  # keys that name mesh files
LENGTHS = ("edge", "at", "rail_at")  # keys of a length that have a default
# Tables of keys; any other is one value, as a surface or the response of a head.
TABLES = (
    "chamber", "walls", "parts", "target", "lamps_behaviour", "warm_up", "wear", "seams", "around",
)  # fmt: skip
NAMES = ("title", "units")  # they stand beside the values, or above them


@dataclass(frozen=True)
class Difference:
    """A key of which two scenes have different values, as they are written."""

    key: str
    first: str
    second: str


@dataclass(frozen=True)
class _Entry:
    """A value of a scene: as it is read (SI), and how it is shown."""

    read: Any
    shown: str


def differences(first: Path, second: Path) -> list[Difference]:
    """Keys that mean something else in the second scene than in the first.

    Values are compared as they are read: "12 in" is 304.8, and a key that says what holds by
    default is no difference; nor is the title. Meshes are compared by their bytes. Tables with a
    name are found by it. One that is in one scene alone is one difference. A row that is in one
    scene alone counts as the objects that it is short for.

    Raises
    ------
    raysim.base.errors.SceneError
        Where one of the two cannot be read.
    """
    scenes = [read_scene(path) for path in (first, second)]
    rows = {row.name for row in scenes[0].row} & {row.name for row in scenes[1].row}
    one, other = (
        _entries(path, scene, rows) for path, scene in zip((first, second), scenes, strict=True)
    )
    alone = tuple(f"{key}." for key in one.keys() ^ other.keys() if key.endswith('"'))
    found = []
    for key in dict.fromkeys((*one, *other)):
        nothing = _Entry(None, NOT_THERE if key.endswith('"') else NOT_GIVEN)
        mine, theirs = one.get(key, nothing), other.get(key, nothing)
        if mine.read != theirs.read and not key.startswith(alone):
            found.append(Difference(key, mine.shown, theirs.shown))
    return found


def _entries(path: Path, scene: SceneAsWritten, rows: set[str]) -> dict[str, _Entry]:
    """Values of a scene by key such as ``lamp "left".uvc``; ``lamp "left"`` is there or not.

    Only these `rows` stand as rows; the others as the objects that they are short for.
    """
    written = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    unit = "inch" if scene.units == "in" else scene.units  # "3 in in A" reads badly
    kept = [row for row in scene.row if row.name in rows]
    own = scene.object[: len(written.get("object", []))]
    hung = [entry for row in scene.row if row.name not in rows for entry in row.objects()]
    read = scene.model_copy(update={"row": kept, "object": own + hung})
    tables = [as_table(entry, UNIT_METRES[unit]) for entry in hung]
    written |= {
        "row": [row for row in written.get("row", []) if row["name"] in rows],
        "object": written.get("object", []) + tables,
    }
    entries = {}
    for key, value, text in _leaves(read.model_dump(by_alias=True, exclude=set(NAMES)), written):
        if key.endswith('"'):
            entries[key] = _Entry(True, "there")
        elif key.rpartition(".")[2] in MESHES and value is not None:
            files = [value] if isinstance(value, str) else value
            entries[key] = _Entry(
                [_content(path.parent / name) for name in files], _as_written(text)
            )
        else:
            entries[key] = _Entry(_rounded(value), _shown(key, value, text, unit))
    return entries


def _leaves(read: Any, written: Any, head: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Key, value as read and as written (None: by default); a named table gives its name alone."""
    for key, value in read.items():
        text = written.get(key) if isinstance(written, dict) else None
        name = f"{head}.{key}" if head else key
        if isinstance(value, dict) and key in TABLES:
            yield from _leaves(value, text, name)
        elif isinstance(value, list) and value and all(isinstance(row, dict) for row in value):
            taken: set[str] = set()
            for row, line in zip(value, text or [{}] * len(value), strict=True):
                called = _called(row, taken)
                taken.add(called)
                yield f'{name} "{called}"', None, None
                yield from _leaves(row, line, f'{name} "{called}"')
        elif value != []:
            yield name, value, text


def _called(row: dict[str, Any], taken: set[str]) -> str:
    """The name of a table of a list; its number behind it where another has the same."""
    name = str(row["name"])
    return name if name not in taken else f"{name} ({len(taken) + 1})"


def _content(mesh: Path) -> str:
    """Hash of a mesh file; its name where it cannot be read."""
    try:
        return hashlib.sha256(mesh.read_bytes()).hexdigest()
    except OSError:
        return mesh.name


def _shown(key: str, read: Any, written: Any, unit: str) -> str:
    """A value as it is written, lengths with their unit; the default where it is not."""
    metres = UNIT_METRES[unit]
    numbers = _numbers(read)
    if written is None:
        if not numbers and not isinstance(read, str):
            return NOT_GIVEN if read is None else BY_DEFAULT
        if key.rpartition(".")[2] in LENGTHS:
            return f"{_listed([f'{number / metres:g}' for number in numbers])} {unit}, {BY_DEFAULT}"
        return f"{read if isinstance(read, str) else _listed(map(str, numbers))}, {BY_DEFAULT}"
    plain = _numbers(written)
    lengths = [number * metres for number in plain]
    if plain and any(plain) and lengths == numbers and metres != 1.0:
        return f"{written} {unit}"
    return _as_written(written)


def _as_written(value: Any) -> str:
    return toml_value(value) if isinstance(value, list | dict) else str(value)


def _rounded(value: Any) -> Any:
    """A value whose numbers keep 12 digits: 12 in and 304.8 mm are one length."""
    if isinstance(value, dict):
        return {key: _rounded(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(part) for part in value]
    return float(f"{value:.12g}") if isinstance(value, float) else value


def _listed(words: Any) -> str:
    every = list(words)
    return every[0] if len(every) == 1 else f"[{', '.join(every)}]"


def _numbers(value: Any) -> list[float]:
    """The numbers of a value, a list or a list of lists, in order; none of a text."""
    if isinstance(value, list | tuple):
        return [number for part in value for number in _numbers(part)]
    return [value] if isinstance(value, int | float) and not isinstance(value, bool) else []
