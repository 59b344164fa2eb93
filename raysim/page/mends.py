"""Faults with their mend as an edit, where it can be done without asking."""

import re
from collections.abc import Callable
from typing import Any

from raysim.base.fault_codes import Code
from raysim.library.lamps import lamp_like
from raysim.page.document import Document
from raysim.page.rows import rows

_ENTRY = re.compile(r'^(lamp|object|meter|gap) (\d+)( ".*")?(\.(?P<key>[\w.]+))?$')
CLEAR = 2.0  # mm between a tube and a wall where it is moved in: our own choice

Mend = tuple[str, dict[str, Any]]  # what the button says, and the edit


def with_mends(faults: list[dict[str, str]], document: Document) -> list[dict[str, Any]]:
    """Faults with the thing they are about, and with `button` and `edit` where a mend is known."""
    shown = rows(document.text.removeprefix("\ufeff"))
    found = []
    for fault in faults:
        met = _ENTRY.match(fault["key"])
        thing = [met[1], int(met[2]) - 1] if met else None
        key = met["key"] if met else fault["key"]
        more: dict[str, Any] = {"thing": thing, "about": key}
        mend = MENDS.get(Code(fault["code"])) if fault["code"] in set(Code) else None
        made = _tried(mend, fault, thing, shown)
        if made is not None:
            more |= {"button": made[0], "edit": made[1]}
        found.append({**fault, **more})
    return found


def _tried(
    mend: Callable[..., Mend | None] | None,
    fault: dict[str, str],
    thing: list[Any] | None,
    shown: dict[str, Any],
) -> Mend | None:
    if mend is None:
        return None
    try:
        return mend(fault, thing, shown)
    except (KeyError, IndexError, TypeError, ValueError):
        return None


def _set(path: list[Any], value: Any) -> dict[str, Any]:
    return {"do": "set", "path": path, "value": value}


def _of_entry(key: str, value: Any, says: str) -> Callable[..., Mend | None]:
    """The mend of setting a key of the thing that a fault is about."""

    def mend(fault: Any, thing: list[Any] | None, shown: Any) -> Mend | None:
        return None if thing is None else (says, _set([*thing, key], value))

    return mend


def _catalogue_watts(fault: Any, thing: list[Any], shown: dict[str, Any]) -> Mend | None:
    """Watts of UVC of the catalogue lamp of this tube, and those of the mains beside them."""
    row, raw = shown["lamp"][thing[1]], shown["raw"]["lamp"][thing[1]]
    arc = sum((a - b) ** 2 for a, b in zip(row["from"], row["to"], strict=True)) ** 0.5
    tube = (int(raw.get("tubes", 1)), row["diameter"], arc)
    kind = lamp_like(*tube) or lamp_like(*tube, "tube_length_mm")
    if kind is None:
        return None
    watts = f"{kind.uvc_W_low:g} W"
    says = f"take {watts} of UVC (catalogues of {kind.name}, {kind.mark.split(' + ')[0]})"
    edits = [_set([*thing, "uvc"], watts), _set([*thing, "electrical"], f"{kind.lamp_W_low:g} W")]
    return says, {"do": "several", "edits": edits}


def _move_in(fault: Any, thing: list[Any], shown: dict[str, Any]) -> Mend | None:
    """A lamp moved off the walls that it cuts, its length kept; of other things the place."""
    box, row = shown["box"], shown[thing[0]][thing[1]]
    if box is None or thing[0] not in ("lamp", "meter"):
        return None
    keys = ("from", "to") if thing[0] == "lamp" else ("at",)
    room = 0.0
    if thing[0] == "lamp":
        room = 0.5 * (row["diameter"] + row.get("spacing", 0.0)) + CLEAR
    points = [list(row[key]) for key in keys]
    for axis in range(3):
        low, high = min(p[axis] for p in points), max(p[axis] for p in points)
        if high - low > box[axis] - 2.0 * room:
            return None  # it is longer than the box
        shift = max(room - low, 0.0) + min(box[axis] - room - high, 0.0)
        for point in points:
            point[axis] = round(point[axis] + shift, 2)
    moves = [[*thing, key, point] for key, point in zip(keys, points, strict=True)]
    return "move it into the box", {"do": "move", "points": moves}


def _default_dose(fault: Any, thing: Any, shown: dict[str, Any]) -> Mend | None:
    if "organism" in shown["raw"].get("target", {}):
        return None
    return "ask for 1 J/cm²", _set(["target", "dose"], "1.0 J/cm2")


def _meant_surface(fault: dict[str, str], thing: Any, shown: dict[str, Any]) -> Mend | None:
    """The nearest name that the fault offers."""
    near = re.search(r'did you mean "([^"]+)"', fault["mend"])
    path = [*thing, fault["key"].rsplit(".", 1)[-1]] if thing else fault["key"].split(".")
    return None if near is None else (f"take “{near[1]}”", _set(path, near[1]))


def _full_name(fault: dict[str, str], thing: Any, shown: dict[str, Any]) -> Mend | None:
    full = re.search(r'is taken as "([^"]+)"', fault["what"])
    path = [*thing, "surface"] if thing else fault["key"].split(".")
    return None if full is None else (f"write “{full[1]}”", _set(path, full[1]))


def _no_judge_area(fault: Any, thing: Any, shown: Any) -> Mend | None:
    return "judge every face by itself", _set(["target", "judge_area"], None)


def _drop_key(fault: dict[str, str], thing: Any, shown: Any) -> Mend | None:
    """An unknown key taken out."""
    last = fault["key"].rsplit(".", 1)[-1]
    path = [*thing, last] if thing else fault["key"].split(".")
    return f"take “{last}” out", _set(path, None)


MENDS: dict[Code, Callable[..., Mend | None]] = {
    Code.MAINS_WATTS: _catalogue_watts,
    Code.CUTS_WALL: _move_in,
    Code.OUTSIDE_BOX: _move_in,
    Code.NOT_JUDGED: _of_entry("judged", True, "judge it"),
    Code.LAMP_PAST_LIFE: _of_entry("hours", 0, "I have put in a new lamp"),
    Code.SOLID_TRANSMITS: _of_entry("sides", "both", "take it as a thin sheet"),
    Code.LOW_TARGET: _default_dose,
    Code.JUDGE_AREA: _no_judge_area,
    Code.UNKNOWN_SURFACE: _meant_surface,
    Code.LOOSE_NAME: _full_name,
    Code.UNKNOWN_KEY: _drop_key,
}
