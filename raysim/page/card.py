"""The lines of the job card, each with its one-line answer, ticked or not, in any order."""

from typing import Any

from raysim.base.errors import RaysimError
from raysim.dose.verdict_record import State
from raysim.library.surfaces import UnknownSurface
from raysim.page.document import Document
from raysim.page.verdict import result_folder, verdict
from raysim.scene.file.written import SceneAsWritten
from raysim.workshop.grid import grid_of


def card(document: Document, shown: dict[str, Any]) -> dict[str, Any]:
    """Lines of the card and the verdict at its foot, for the page.

    What the check finds is added by the page, when it is known.
    """
    found = verdict(document)
    scene = document.scene
    lines = dict.fromkeys(("box", "lining", "lamps", "load", "target"), ("to be read again", False))
    if scene is not None:
        lines = {
            "box": _box(scene, shown),
            "lining": _lining(scene),
            "lamps": _lamps(scene),
            "load": _load(scene),
            "target": _target(scene),
        }
    lines["timer"] = (_timer(found), found["state"] == State.READY)
    lines["readings"] = _readings(scene)
    lines["build"] = _build(document)
    rows = [{"line": name, "says": says, "ticked": done} for name, (says, done) in lines.items()]
    return {"lines": rows, "verdict": found}


def _box(scene: SceneAsWritten, shown: dict[str, Any]) -> tuple[str, bool]:
    if shown["box"] is None:
        return f"mesh {scene.chamber.mesh}", scene.chamber.mesh is not None
    grid = grid_of(scene.units)
    sides = [grid.told(0.001 * side) for side in shown["box"]]
    return f"{' x '.join(sides)} {grid.unit} inside", True


def _lining(scene: SceneAsWritten) -> tuple[str, bool]:
    choice = scene.chamber.lining
    others = len(scene.chamber.walls)
    more = f", {others} other wall{'s' * (others > 1)}" if others else ""
    if not isinstance(choice, str):
        return f"{choice.name or 'a surface of your own'}{more}", True
    try:
        found = scene.find_surface(choice)
    except (UnknownSurface, ValueError):
        return f"{choice} is not known", False
    return f"{found.name}, {100.0 * found.reflectance:.0f} % ({found.quality}){more}", True


def _lamps(scene: SceneAsWritten) -> tuple[str, bool]:
    watts = [lamp.uvc for lamp in scene.lamp if lamp.uvc is not None]
    tubes = sum(lamp.tubes for lamp in scene.lamp)
    told = f", {sum(watts):.4g} W of UVC" if len(watts) == len(scene.lamp) else ""
    return f"{tubes} tube{'s' * (tubes != 1)}{told}", bool(scene.lamp)


def _load(scene: SceneAsWritten) -> tuple[str, bool]:
    judged = sum(entry.judged for entry in scene.object)
    rest = len(scene.object) - judged
    respirators = f"{judged} respirator{'s' * (judged != 1)}"
    return f"{respirators}, {rest} hook{'s' * (rest != 1)} or rails", judged > 0


def _target(scene: SceneAsWritten) -> tuple[str, bool]:
    target = scene.target
    return f"{target.dose / 1e4:.3g} J/cm² on every side, × {target.safety_factor:g}", True


def _timer(found: dict[str, Any]) -> str:
    if found["state"] in ("none", "stale"):
        return "to be worked out"
    if found["state"] == State.READY_AFTER:
        return "worked out, not ready yet"
    return str(found["time"] or "no timer setting")


def _readings(scene: SceneAsWritten | None) -> tuple[str, bool]:
    points = scene.meter if scene else []
    read = sum(point.reading is not None for point in points)
    if not points:
        return "no meter point yet", False
    return f"{read} of {len(points)} point{'s' * (len(points) != 1)} read", read > 0


def _build(document: Document) -> tuple[str, bool]:
    folder = result_folder(document.path)
    guide = folder.with_name(f"{folder.name}_guide") / "guide.html"
    try:
        return ("a guide was written", True) if guide.is_file() else ("no guide yet", False)
    except (OSError, RaysimError):
        return "no guide yet", False
