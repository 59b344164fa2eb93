"""Read a scene file; every fault names file, key and mend."""

import difflib
import hashlib
import re
import stat
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError

from raysim.base.errors import Fault, SceneError
from raysim.base.fault_codes import Code
from raysim.scene.file.broken_lines import broken_line
from raysim.scene.file.fields import UNIT_METRES
from raysim.scene.file.named import named
from raysim.scene.file.written import SceneAsWritten
from raysim.scene.mesh.gltf import buffer_files

Tables = TypeVar("Tables", bound=BaseModel)
LARGEST_SCENE_FILE = 5_000_000  # bytes: a scene is text written by hand
LONGEST_SHOWN = 80  # letters of a name in a message
MOST_FAULTS = 50  # shown for one file: nobody mends more at once
# Keys of a hundred parts are refused: the time to read one grows with the square of its parts.
_ENDLESS_KEY = re.compile(
    r"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){100}"""
)

# A key that only files of one kind have, what such a file is, and what takes it.
_KINDS = (
    ("chamber", "this is a scene, not a wish", "'raysim start DIR --wish' writes a wish"),
    ("load", "this is a wish, not a scene", "'raysim design' takes it, and writes scenes"),
)

# Names that people use for other keys of ours.
_WATTS = ("watts", "watt", "power", "wattage")
_LIKELY_MEANT = {
    **dict.fromkeys(_WATTS, "uvc (radiant watts at 254 nm) or electrical"),
    "material": "surface (objects) or lining (chamber)",
    "position": "at",
    "rotate": "turn",
    "rotation": "turn",
    "size": "inside",
    "dimensions": "inside",
}


def read_scene(path: Path) -> SceneAsWritten:
    """Scene of a TOML file.

    Raises
    ------
    SceneError
        With every fault found in the file.
    """
    return read_tables(path, SceneAsWritten)


def read_tables(path: Path, kind: type[Tables]) -> Tables:
    """The tables of a TOML file as a record of some kind; plain lengths are in its `units`.

    Raises
    ------
    SceneError
        With every fault found in the file.
    """
    shown = str(named(path))
    return tables_of_text(_text(path, shown), shown, kind)


def scene_of_text(text: str, shown: str) -> SceneAsWritten:
    """Scene of the text of a scene file; faults name the file as `shown`.

    Raises
    ------
    SceneError
        With every fault found in the text.
    """
    return tables_of_text(text, shown, SceneAsWritten)


def tables_of_text(text: str, shown: str, kind: type[Tables]) -> Tables:
    """The tables of the text of a TOML file, as `read_tables`; faults name it as `shown`.

    Raises
    ------
    SceneError
        With every fault found in the text.
    """
    data = _parse(text, shown)
    _refuse_other_kind(data, shown, kind)
    unit = data.get("units", "mm")
    scale = UNIT_METRES.get(unit, 0.001) if isinstance(unit, str) else 0.001
    try:
        return kind.model_validate(data, context={"metres_per_unit": scale})
    except ValidationError as error:
        details = error.errors(include_url=False)
        faults = [_as_fault(shown, data, detail, kind) for detail in details[:MOST_FAULTS]]
        if len(details) > MOST_FAULTS:
            more = f"{len(details) - MOST_FAULTS:,} more faults are not shown"
            faults.append(Fault(Code.MORE_FAULTS, shown, "file", more, "mend these first"))
        raise SceneError(list(dict.fromkeys(faults))) from None


def _refuse_other_kind(data: dict[str, Any], shown: str, kind: type[BaseModel]) -> None:
    """Refuse a scene in place of a wish, or a wish in place of a scene, in one line."""
    found = [entry for entry in _KINDS if entry[0] in data]
    if len(found) == 1 and found[0][0] not in kind.model_fields:
        _, what, mend = found[0]
        raise SceneError([Fault(Code.SCENE_UNREADABLE, shown, "file", what, mend)])


def mesh_names(scene: SceneAsWritten) -> list[str]:
    """Meshes that a scene names, as they are written, sorted."""
    names = {entry.mesh for entry in scene.object} | {scene.chamber.mesh}
    return sorted(str(name) for name in names if name is not None)


def rename_meshes(data: dict[str, Any], new: Callable[[str], str]) -> None:
    """Give the meshes that a scene file (as TOML reads it) names other names, in place."""
    for table in (data["chamber"], *data.get("object", []), *data.get("row", [])):
        for key in ("mesh", "hook", "rail"):
            if isinstance(table.get(key), list):
                table[key] = [new(name) for name in table[key]]
            elif key in table:
                table[key] = new(table[key])


def scene_files(path: Path, scene: SceneAsWritten) -> tuple[Path, ...]:
    """The scene file, its meshes, and the files beside them that hold their numbers, sorted."""
    meshes = {path.parent / mesh for mesh in mesh_names(scene)}
    return (path, *sorted(meshes.union(*map(buffer_files, meshes))))


def file_digests(paths: Sequence[Path]) -> tuple[str, ...]:
    """SHA-256 (hexadecimal) of each file (definition)."""
    return tuple(hashlib.sha256(path.read_bytes()).hexdigest() for path in paths)


def joined_hash(digests: Sequence[str]) -> str:
    """SHA-256 (hexadecimal) over the digests of the scene file and of its meshes (definition)."""
    return hashlib.sha256(b"".join(bytes.fromhex(digest) for digest in digests)).hexdigest()


def file_hash(paths: Sequence[Path]) -> str:
    """One hash of the scene file and of its meshes: the `joined_hash` of their digests."""
    return joined_hash(file_digests(paths))


def _text(path: Path, shown: str) -> str:
    def refuse(what: str, mend: str) -> SceneError:
        return SceneError([Fault(Code.SCENE_UNREADABLE, shown, "file", what, mend)])

    try:
        if path.is_dir():
            raise refuse("this is a folder", "name the .toml file of the scene")
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):  # reading a pipe may block, and a device never ends
            raise refuse("this is no ordinary file", "name the .toml file of the scene")
        if found.st_size > LARGEST_SCENE_FILE:
            raise refuse("larger than 5 MB, which no scene is", "name the .toml file of a scene")
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise refuse(
            "there is no such file", "check the name; 'raysim start DIR' makes one"
        ) from None
    except UnicodeDecodeError:
        raise refuse("not written in UTF-8", "save it as UTF-8 text") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise refuse(f"cannot be read ({reason})", "check the name and the rights") from None


def _parse(text: str, shown: str) -> dict[str, Any]:
    def refuse(what: str, mend: str) -> SceneError:
        return SceneError([Fault(Code.NOT_TOML, shown, "file", what, mend)])

    if _ENDLESS_KEY.search(text):
        raise refuse("nested too deeply", "write plain tables")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise refuse(*broken_line(text, error)) from None
    except ValueError:  # of int(), which refuses thousands of digits
        what = "a number has thousands of digits"
        raise refuse(what, "write it as 300 or 1.5e3") from None
    except RecursionError:
        raise refuse("nested too deeply", "write plain tables") from None


def _as_fault(shown: str, data: dict[str, Any], detail: Any, model: type[BaseModel]) -> Fault:
    """A fault in our own words, from one entry of pydantic's error list."""
    kind, context, given = detail["type"], detail.get("ctx", {}), detail.get("input")
    steps, key = _place(data, detail["loc"], kind == "missing")
    key = key or model.__name__.removesuffix("AsWritten").lower()
    if kind == "extra_forbidden":
        return Fault(Code.UNKNOWN_KEY, shown, key, "no such key", _nearest_key(steps, model))
    if kind == "missing":
        what, mend = "this key is missing", f"add {_as_written(steps, model)}"
        if isinstance(steps[-1], int):
            what, mend = "this number is missing", "give as many as are asked for"
        return Fault(Code.MISSING_KEY, shown, key, what, mend)
    if kind == "value_error":
        what, _, mend = str(context["error"]).partition(". Mend: ")
        mend = mend or "correct this entry"
    elif kind == "too_long" and context["field_type"] == "Tuple":
        many, asked = context["actual_length"], context["max_length"]
        what = f"{many} numbers stand here, {asked} are asked for"
        mend = 'write the decimal point as ".", 42.5 for 42,5'
    else:
        what, mend = detail["msg"].replace("Input should be", "must be"), "correct this value"
        what = what[0].lower() + what[1:]
        if isinstance(given, str | int | float) and not isinstance(given, bool):
            what += f" (found {str(given)[:60]})"
    return Fault(Code.BAD_VALUE, shown, key, what, mend)


def _place(data: Any, way: Sequence[str | int], missing: bool) -> tuple[list[str | int], str]:
    """Steps to an entry of the file, and its key, such as ``lamp 2 "upper left".uvc``.

    The way that pydantic names also has the branches of unions, which stand in no file.
    """
    steps: list[str | int] = []
    text = ""
    for step in way:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            if isinstance(step, str) and not (missing and step is way[-1]):
                continue
            data = None
        steps.append(step)
        if isinstance(step, int):
            name = data.get("name") if isinstance(data, dict) else None
            text += f" {step + 1}" + (f' "{name[:LONGEST_SHOWN]}"' if isinstance(name, str) else "")
        else:
            text += f".{step[:LONGEST_SHOWN]}" if text else step[:LONGEST_SHOWN]
    return steps, text


def _as_written(steps: list[str | int], model: type[BaseModel]) -> str:
    """Example of how to write a missing key: a table, one of several tables, or a value."""
    name = str(steps[-1])
    field = model.model_fields.get(name) if len(steps) == 1 else None
    if field is None or _find_model(field.annotation) is None:
        return f"{name} = ..."
    return f"a table [[{name}]]" if get_origin(field.annotation) is list else f"a table [{name}]"


def _nearest_key(steps: list[str | int], model: type[BaseModel]) -> str:
    """What may have been meant by a key that is not known, from the keys of its table."""
    fields = _fields(model)
    for step in steps:
        fields = _fields(_find_model(fields[step].annotation)) if step in fields else fields
    wrong = str(steps[-1])
    if wrong.casefold() in _LIKELY_MEANT:
        return f"did you mean {_LIKELY_MEANT[wrong.casefold()]}?"
    if wrong in _fields(model):
        return f"{wrong} stands above the first [table] or [[table]] of the file"
    close = difflib.get_close_matches(wrong, fields, n=1, cutoff=0.4)
    return f"did you mean {close[0]}?" if close else f"keys known here: {', '.join(fields)}"


def _fields(model: Any) -> dict[Any, Any]:
    """Fields of a table by key."""
    return {field.alias or name: field for name, field in model.model_fields.items()}


def _find_model(annotation: Any) -> Any:
    """The table class inside an annotation such as ``Annotated[list[Lamp], ...]``, or None."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(filter(None, map(_find_model, get_args(annotation))), None)
