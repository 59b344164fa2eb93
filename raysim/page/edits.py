"""Small edits of a scene file: one value, one table; comments, order and units stay."""

from collections.abc import Iterator
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Array, Comment, InlineTable, Whitespace

from raysim.base.errors import RaysimError
from raysim.page.lengths import as_mm, written_length
from raysim.scene.file.fields import UNIT_METRES
from raysim.scene.file.read import scene_of_text
from raysim.scene.file.rows import as_table

KINDS = ("lamp", "object", "meter", "gap")
MOST_ROWS = 100  # copies at a time
LARGEST_TEXT = 2_000  # letters of one value


def edited(text: str, edit: dict[str, Any]) -> str:
    """The text of a scene file after an edit.

    Parameters
    ----------
    edit : dict
        `do` names one of `DOES`; its other keys are the arguments.

    Raises
    ------
    RaysimError
        Where it does not fit the scene: the text is then as it was.
    """
    try:
        document = tomlkit.parse(text)
        DOES[edit["do"]](document, edit)
        return tomlkit.dumps(document)
    except (KeyError, IndexError, TypeError, ValueError, AttributeError, TOMLKitError) as error:
        raise RaysimError(f"this change does not fit the scene ({error}). Mend: undo it") from None


def _set(document: Any, edit: dict[str, Any]) -> None:
    """Set the value at a `path`; None takes the key out. Tables on the way are made."""
    *way, last = edit["path"]
    table = document
    for step in way:
        if isinstance(step, str) and step not in table:
            inline = isinstance(table, InlineTable)
            table[step] = tomlkit.inline_table() if inline else tomlkit.table()
        table = table[step]
    if edit["value"] is None:
        table.pop(last, None)
        return
    value = _plain(edit["value"])
    if isinstance(table, list):
        table[int(last)] = value
    elif last in table and not isinstance(table[last], AoT):
        _replace(table, last, value)
    elif isinstance(value, dict):
        inside = tomlkit.inline_table()
        inside.update(value)
        table[last] = inside
    else:
        table.append(last, value) if hasattr(table, "append") else table.update({last: value})


def _replace(table: Any, key: str, value: Any) -> None:
    """Put a value where another stood, with the comment behind it; of a list only what differs."""
    old = table[key]
    if isinstance(old, list) and isinstance(value, list) and len(old) == len(value):
        for number, one in enumerate(value):
            if old[number] != one or isinstance(old[number], str) != isinstance(one, str):
                old[number] = one
        return
    item = tomlkit.item(value)
    if hasattr(old, "trivia"):
        item.trivia.comment_ws, item.trivia.comment = old.trivia.comment_ws, old.trivia.comment
        item.trivia.trail = old.trivia.trail
    table[key] = item


def _plain(value: Any) -> Any:
    """A value from the page, if it is one that a scene file can hold."""
    if isinstance(value, dict):
        return {str(key): _plain(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_plain(one) for one in value]
    if not isinstance(value, str | int | float | bool):
        raise TypeError("no value of a scene file")
    if isinstance(value, str) and len(value) > LARGEST_TEXT:
        raise ValueError("too long a text")
    return value


def _move(document: Any, edit: dict[str, Any]) -> None:
    """Put points (mm) of entries elsewhere: `points` are [kind, number, key, [x, y, z]]."""
    for kind, number, key, mm in edit["points"]:
        table = _entry(document, kind, number)
        old = table.get(key, [0, 0, 0])
        new = [
            before
            if as_mm(before, document) is not None
            and abs((as_mm(before, document) or 0.0) - float(one)) < 1e-6
            else written_length(float(one), before, document)
            for before, one in zip(old, mm, strict=True)
        ]
        _set(document, {"path": [kind, number, key], "value": [_unwrapped(x) for x in new]})


def _unwrapped(value: Any) -> Any:
    return value.unwrap() if hasattr(value, "unwrap") else value


def _entry(document: Any, kind: str, number: int) -> Any:
    if kind not in KINDS:
        raise ValueError(f"{kind} is no list of things")
    return document[kind][number]


def _add(document: Any, edit: dict[str, Any]) -> None:
    """A new entry of a `kind`, behind the last one; points in `points` are in mm."""
    table = tomlkit.table()
    for key, value in _plain(edit["table"]).items():
        if isinstance(value, dict):
            inside = tomlkit.inline_table()
            inside.update(value)
            table.append(key, inside)
        else:
            table.append(key, value)
    for key, mm in edit.get("points", {}).items():
        table.append(key, [written_length(float(x), 0, document) for x in mm])
    for key, mm in edit.get("lengths", {}).items():
        table.append(key, written_length(float(mm), 0, document))
    table["name"] = free_name(document, edit["kind"], str(table["name"]))
    _append(document, edit["kind"], table)


def _append(document: Any, kind: str, table: Any) -> None:
    if kind not in KINDS:
        raise ValueError(f"{kind} is no list of things")
    if kind in document and isinstance(document[kind], Array):
        inside = tomlkit.inline_table()
        inside.update(table.unwrap())
        document[kind].append(inside)
    elif kind in document:
        last = document[kind][-1]
        behind = _trivia(last)
        last.add(tomlkit.nl())
        for item in behind:
            table.add(item)
        document[kind].append(table)
    else:
        rows = tomlkit.aot()
        rows.append(table)
        document.append(kind, rows)


def _trivia(table: Any) -> list[Any]:
    """Blank lines and comments at the end of a table, taken off: they speak of what comes next."""
    found = []
    body = table.value.body
    while body and body[-1][0] is None and isinstance(body[-1][1], Whitespace | Comment):
        found.append(body.pop()[1])
    return found[::-1]


def _copy(document: Any, edit: dict[str, Any]) -> None:
    """Copies of entries: `things` are [kind, number], each moved by `by` (mm) times 1, 2, ..."""
    for turn in range(1, min(int(edit.get("times", 1)), MOST_ROWS) + 1):
        for kind, number in edit["things"]:
            source = _entry(document, kind, number)
            table = tomlkit.table()
            for key, value in source.items():
                table.append(key, _copied(value))
            table["name"] = free_name(document, kind, str(source["name"]))
            for key in _point_keys(table):
                place = zip(table[key], edit["by"], strict=True)
                mm = [(as_mm(x, document) or 0.0) + turn * float(b) for x, b in place]
                values = zip(mm, table[key], strict=True)
                table[key] = [written_length(x, _unwrapped(old), document) for x, old in values]
            _append(document, kind, table)


def _copied(value: Any) -> Any:
    if isinstance(value, InlineTable):
        inside = tomlkit.inline_table()
        inside.update(value.unwrap())
        return inside
    return _unwrapped(value)


def _point_keys(table: Any) -> Iterator[str]:
    yield from (key for key in ("from", "to", "at") if key in table)


def _mirror(document: Any, edit: dict[str, Any]) -> None:
    """Copies of entries on the other side of the middle of the box: `axis` 0, 1 or 2."""
    axis = int(edit["axis"])
    whole = as_mm(document["chamber"]["inside"][axis], document)
    if whole is None:
        raise ValueError("the box has no size")
    for kind, number in edit["things"]:
        _copy(document, {"things": [[kind, number]], "by": [0, 0, 0]})
        table = document[kind][-1]
        for key in _point_keys(table):
            old = table[key]
            mm = whole - (as_mm(old[axis], document) or 0.0)
            old[axis] = written_length(mm, _unwrapped(old[axis]), document)
        if "facing" in table:
            table["facing"][axis] = -_unwrapped(table["facing"][axis])


def _delete(document: Any, edit: dict[str, Any]) -> None:
    """Take entries out: `things` are [kind, number]."""
    for kind, number in sorted(edit["things"], key=lambda one: -int(one[1])):
        _entry(document, kind, number)
        document[kind].pop(number)
        if not len(document[kind]):
            del document[kind]


def _write_out(document: Any, edit: dict[str, Any]) -> None:
    """Rows as the objects that they are short for, which can be moved one by one."""
    scene = scene_of_text(tomlkit.dumps(document), "the draft")
    per_unit = UNIT_METRES[scene.units]
    hung = scene.object[len(document.get("object", [])) :]
    del document["row"]
    for entry in hung:
        _add(document, {"kind": "object", "table": as_table(entry, per_unit)})


def _several(document: Any, edit: dict[str, Any]) -> None:
    """Several edits as one step."""
    for one in edit["edits"]:
        DOES[one["do"]](document, one)


def free_name(document: Any, kind: str, wish: str) -> str:
    """A name that no entry of a kind has: the wish itself, or with the next free number.

    >>> free_name({"lamp": [{"name": "rear"}, {"name": "rear 2"}]}, "lamp", "rear")
    'rear 3'
    """
    taken = {str(entry.get("name", "")).casefold() for entry in document.get(kind, [])}
    stem = wish.rstrip("0123456789 ") or wish
    if wish.casefold() not in taken:
        return wish
    return next(f"{stem} {k}" for k in range(2, 10_000) if f"{stem} {k}".casefold() not in taken)


DOES = {
    "set": _set,
    "move": _move,
    "add": _add,
    "copy": _copy,
    "mirror": _mirror,
    "delete": _delete,
    "write out": _write_out,
    "several": _several,
}
