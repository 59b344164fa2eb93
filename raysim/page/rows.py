"""A draft as rows for the page: lengths in mm beside what stands in the file, faults or not."""

import tomllib
from typing import Any

from raysim.page.edits import KINDS
from raysim.page.lengths import as_mm

POINTS = {"lamp": ("from", "to"), "object": ("at",), "meter": ("at",), "gap": ("from", "to")}
LENGTHS = {"lamp": ("diameter", "spacing"), "gap": ("width", "depth", "step", "distance")}
SAME_PLACE = 1e-3  # mm


def rows(text: str) -> dict[str, Any]:
    """What the page shows of the text of a scene file.

    `raw` is the file as TOML reads it; `box` its inside (mm) or None; of each list the points and
    lengths that can be read, in mm, and of objects which others hang at the same place.
    """
    data = tomllib.loads(text)
    chamber = data.get("chamber") if isinstance(data.get("chamber"), dict) else {}
    found: dict[str, Any] = {
        "raw": _plain(data),
        "box": _point((chamber or {}).get("inside"), data),
    }
    for kind in KINDS:
        entries = data.get(kind, [])
        tables = [e for e in entries if isinstance(e, dict)] if isinstance(entries, list) else []
        found[kind] = [_row(kind, entry, data) for entry in tables]
    _join(found["object"])
    return found


def _row(kind: str, entry: dict[str, Any], data: dict[str, Any]) -> dict[str, Any]:
    row: dict[str, Any] = {"name": str(entry.get("name", ""))}
    for key in POINTS[kind]:
        default = [0, 0, 0] if key == "at" else None
        row[key] = _point(entry.get(key, default), data)
    for key in LENGTHS.get(kind, ()):
        if key in entry:
            row[key] = as_mm(entry[key], data)
    if kind == "gap" and isinstance(entry.get("points"), list):
        row["points"] = [_point(one, data) for one in entry["points"]]
    return row


def _point(value: Any, data: dict[str, Any]) -> list[float] | None:
    if not isinstance(value, list) or len(value) != 3:
        return None
    found = [as_mm(one, data) for one in value]
    return None if None in found else [float(x) for x in found if x is not None]


def _join(objects: list[dict[str, Any]]) -> None:
    """Note of each object which others hang at its place: they are moved together."""
    for row in objects:
        row["with"] = [
            number
            for number, other in enumerate(objects)
            if other is not row
            and None not in (row["at"], other["at"])
            and max(abs(a - b) for a, b in zip(row["at"], other["at"], strict=True)) < SAME_PLACE
        ]


def _plain(value: Any) -> Any:
    """A TOML value as JSON has it: days as text, and no number that is none."""
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_plain(one) for one in value]
    if isinstance(value, float) and not abs(value) < float("inf"):
        return str(value)
    return value if isinstance(value, bool | int | float | str) else str(value)
