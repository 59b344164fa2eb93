"""What differs between two scene files, key by key."""

import hashlib
import tomllib
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from raysim.scene.file.read import read_scene

NOT_THERE = "not there"
AS_BY_DEFAULT = "by default"


@dataclass(frozen=True)
class Difference:
    """A key of which two scenes have different values, as they are written."""

    key: str
    first: str
    second: str


def differences(first: Path, second: Path) -> list[Difference]:
    """Keys that mean something else in the second scene than in the first.

    Values are compared as they are read: "12 in" is 304.8, and a key that says what holds by
    default is no difference. Meshes are compared by their bytes. Tables with a name are found by
    it. One that is in one scene alone is one difference.

    Raises
    ------
    raysim.base.errors.SceneError
        Where one of the two cannot be read.
    """
    read, written = zip(*map(_entries, (first, second)), strict=True)
    alone = [_tables(one) - _tables(other) for one, other in (read, read[::-1])]
    rows = [Difference(table, "there", NOT_THERE) for table in sorted(alone[0])]
    rows += [Difference(table, NOT_THERE, "there") for table in sorted(alone[1])]
    for key in dict.fromkeys((*read[0], *read[1])):
        values = [one.get(key) for one in read]
        if values[0] != values[1] and key.rpartition(".")[0] not in alone[0] | alone[1]:
            rows.append(Difference(key, *(_shown(key, one) for one in written)))
    return rows


def _entries(path: Path) -> tuple[dict[str, Any], dict[str, Any]]:
    """Values of a scene by key: as they are read (SI), and as they are written."""
    scene = read_scene(path)
    read = _flat(scene.model_dump(by_alias=True, exclude={"units"}))
    for key, value in read.items():
        if key.endswith(".mesh") and value is not None:
            with suppress(OSError):  # a mesh that is missing is one by its name
                read[key] = hashlib.sha256((path.parent / value).read_bytes()).hexdigest()
    return read, _flat(tomllib.loads(path.read_text(encoding="utf-8-sig")))


def _flat(table: dict[str, Any], head: str = "") -> dict[str, Any]:
    """Entries of tables within tables, such as ``lamp "left".uvc``."""
    found: dict[str, Any] = {}
    for key, value in table.items():
        name = f"{head}.{key}" if head else key
        if isinstance(value, dict):
            found |= _flat(value, name)
        elif isinstance(value, list) and value and all(isinstance(row, dict) for row in value):
            for number, row in enumerate(value, 1):
                called = f'"{row["name"]}"' if row.get("name") else str(number)
                found |= _flat(row, f"{name} {called}")
        else:
            found[name] = value
    return found


def _tables(entries: dict[str, Any]) -> set[str]:
    """Names of the tables of lists, such as ``lamp "left"``: those that have an entry "name"."""
    return {key.removesuffix(".name") for key in entries if key.endswith(".name")}


def _shown(key: str, written: dict[str, Any]) -> str:
    if key not in written:
        return AS_BY_DEFAULT
    value = written[key]
    return value if isinstance(value, str) else str(value)
