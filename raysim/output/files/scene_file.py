"""A scene file with the objects of a layout, or with other lamps: TOML that every command reads."""

import os
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from raysim.base.errors import printable
from raysim.output.words.readings import predicted_words
from raysim.output.words.survey import source_words
from raysim.scene.build import BuiltScene
from raysim.scene.file.fields import UNIT_METRES
from raysim.scene.file.read import rename_meshes
from raysim.scene.file.rows import spread
from raysim.scene.file.things import Object
from raysim.scene.file.toml import toml_lines, toml_text
from raysim.scene.file.written import Lamp
from raysim.studies.hooks.load import DIGITS, Layout, Load, written_layout
from raysim.studies.survey.run import Survey


def layout_toml(load: Load, layout: Layout, folder: Path, heading: tuple[str, ...]) -> str:
    """Scene file (text) of a layout, for `folder`; lengths in the units of the scene.

    Everything but the objects stays as the user wrote it, without comments. `heading` becomes
    comments at the top. Of several poses only the one of the layout is written.
    """
    scene = load.scene
    data = spread(read_again(scene), scene.written.object)
    entries = {entry["name"]: entry for entry in data.get("object", [])}
    per_metre = 1.0 / UNIT_METRES[scene.written.units]
    poses = data.pop("pose", [])
    if poses:
        pose = printable(scene.poses[0].name)
        heading += (f'The load hangs as in pose "{pose}"; the poses themselves are left out.',)
    objects = [
        _as_written(entries[entry.name], entry, _placed(entry, per_metre) if poses else {})
        for entry in load.stays
    ]
    moved = written_layout(load, layout).object[len(load.stays) :]
    for number, entry in enumerate(moved):
        source = load.hung[number % len(load.hung)]
        placed = _placed(entry, per_metre)
        objects.append(_as_written(entries[source.name], entry, placed))
    data["object"] = objects
    heading += _unread(data, "the load hangs otherwise")
    return scene_text(data, scene, folder, heading)


def lamps_toml(
    scene: BuiltScene, lamps: Sequence[Lamp], folder: Path, heading: tuple[str, ...]
) -> str:
    """Scene file (text) with other lamps, for `folder`; lengths in the units of the scene.

    Everything but the lamps stays as the user wrote it, without comments. `heading` becomes
    comments at the top.
    """
    data = read_again(scene)
    per_metre = 1.0 / UNIT_METRES[scene.written.units]
    data["lamp"] = [_lamp(lamp, per_metre) for lamp in lamps]
    heading += _unread(data, "the lamps are others")
    return scene_text(data, scene, folder, heading)


def read_again(scene: BuiltScene) -> dict[str, Any]:
    """The keys of the file of a scene, in its own units (definition)."""
    return tomllib.loads(scene.path.read_text(encoding="utf-8-sig"))


def scene_text(
    data: dict[str, Any], scene: BuiltScene, folder: Path, heading: tuple[str, ...]
) -> str:
    """Scene file (text) of keys, for `folder`, with the meshes of a scene and a head of comments.

    The names of meshes in `data` are changed.
    """
    rename_meshes(data, lambda mesh: path_from(folder, scene.path.parent / mesh))
    return "".join(f"# {line}\n" for line in heading) + "\n" + toml_text(data)


def _lamp(lamp: Lamp, per_metre: float) -> dict[str, Any]:
    """A lamp as the scene file has it (definition)."""
    lengths = {"diameter": lamp.diameter, "spacing": lamp.spacing}
    powers = {"uvc": lamp.uvc, "electrical": lamp.electrical}
    light = {"irradiance_at_1m": lamp.irradiance_at_1m}
    return {
        "name": lamp.name,
        "from": [_short(value * per_metre, DIGITS) for value in lamp.start],
        "to": [_short(value * per_metre, DIGITS) for value in lamp.end],
        **{key: _short(v * per_metre, DIGITS) for key, v in lengths.items() if v is not None},
        **({"tubes": lamp.tubes} if lamp.tubes > 1 else {}),
        **{key: f"{value:.10g} W" for key, value in powers.items() if value is not None},
        **{key: f"{value:.10g} W/m2" for key, value in light.items() if value is not None},
        **({} if lamp.reflectance is None else {"reflectance": lamp.reflectance}),
    }


def _unread(data: dict[str, Any], why: str) -> tuple[str, ...]:
    """Take meter readings out of a scene; what is said of that, if there were any."""
    read = [meter for meter in data.get("meter", []) if "reading" in meter]
    for meter in data["meter"] if read else ():
        for key in ("reading", "lamp_hours", "read_on"):
            meter.pop(key, None)
    if not read:
        return ()
    return (f"Meter readings are left out: {why}, so read again.",)


def meters_toml(found: Survey) -> str:
    """Meter points as lines to paste into the scene file, in its units, calculations beside them.

    With empty places for the reading and its day, switched off.
    """
    per_metre = 1.0 / UNIT_METRES[found.scene.written.units]
    lines = []
    for row in found.rows:
        point = row.meter.point
        table = {
            "name": point.name,
            "at": [_short(value * per_metre, DIGITS) for value in point.at],
            "facing": [_short(value, DIGITS) for value in point.facing],
        }
        lines.append(
            f"\n# Calculated: {predicted_words(row)} mW/cm2 (k = 2); {source_words(row)}.\n"
        )
        lines.append(f"[[meter]]\n{toml_lines(table)}")
        lines.append('#reading = "... mW/cm2"\n#read_on = 2026-03-01\n')
    return "".join(lines)


def _placed(entry: Object, per_metre: float) -> dict[str, Any]:
    at = [_short(value * per_metre, DIGITS) for value in entry.at]
    turn = {"turn": [_short(value, DIGITS) for value in entry.turn]} if any(entry.turn) else {}
    return {"at": at} | turn


def _as_written(source: dict[str, Any], entry: Object, changed: dict[str, Any]) -> dict[str, Any]:
    kept = {key: value for key, value in source.items() if key != "turn" or "at" not in changed}
    return kept | {"name": entry.name} | changed


def _short(value: float, digits: int) -> float | int:
    """A number without meaningless digits; the unit is kept."""
    rounded = round(float(value), digits)
    return int(rounded) if rounded == int(rounded) else rounded


def path_from(folder: Path, file: Path) -> str:
    """Path of a file relative to a folder, with slashes; absolute if there is none."""
    try:
        return Path(os.path.relpath(file.resolve(), folder.resolve())).as_posix()
    except ValueError:  # another drive
        return file.resolve().as_posix()


def scene_places(folder: Path, recorded: str) -> list[Path]:
    """Where the scene of a folder of results may be, named `recorded` in it; none if "".

    As it was named, or beside the folder or one above it.
    """
    if not recorded:
        return []
    above = [parent / recorded for parent in (folder.resolve(), *folder.resolve().parents)]
    return list(dict.fromkeys([Path(recorded), *above]))
