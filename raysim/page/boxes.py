"""The boxes of before: scenes that were opened on this computer, with their verdicts.

The list is a file of this user alone, where the system keeps the state of programs. It may be
lost, damaged or full of nonsense: then it is empty. Nothing in it is needed for a box.
"""

import json
import os
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from platformdirs import user_state_path

from raysim.base.errors import RaysimError, SceneError, printable
from raysim.output.files.new_file import write_new
from raysim.page.document import BOM
from raysim.page.verdict import verdict
from raysim.scene.file.read import LARGEST_SCENE_FILE, scene_of_text
from raysim.scene.file.written import SceneAsWritten

LIST = "boxes.json"
MOST, LARGEST = 20, 100_000  # boxes, bytes
NEAR = ("*.toml", "*/*.toml")  # where scenes are looked for in the folder one is in
MOST_NEAR = 30


@dataclass(frozen=True)
class OnDisk:
    """A scene as its file has it; `scene` is None where it cannot be read."""

    path: Path
    text: str
    scene: SceneAsWritten | None


def list_path() -> Path:
    """Where the list lies (definition)."""
    return user_state_path("raysim", appauthor=False) / LIST


def known_boxes() -> dict[Path, float]:
    """Scenes that were opened and when (s since 1970), the last one first."""
    found: dict[Path, float] = {}
    with suppress(OSError, ValueError, KeyError, TypeError, RuntimeError, RecursionError):
        if list_path().stat().st_size > LARGEST:
            return {}
        for row in json.loads(list_path().read_text(encoding="utf-8"))["boxes"][:MOST]:
            path, when = Path(str(row["path"])), float(row["opened"])
            if path.is_absolute() and abs(when) < 1e12:
                found[path] = when
    return dict(sorted(found.items(), key=lambda one: -one[1]))


def remember(scene: Path) -> None:
    """Note that a scene is opened; where that cannot be kept it is not."""
    boxes = {**known_boxes(), scene.resolve(): time.time()}
    newest = sorted(boxes.items(), key=lambda one: -one[1])[:MOST]
    rows = [{"path": str(path), "opened": when} for path, when in newest]
    with suppress(OSError, RaysimError, RuntimeError, UnicodeError):
        path = list_path()
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        write_new("boxes", path, json.dumps({"boxes": rows}).encode())
        os.chmod(path, 0o600)


def forget() -> None:
    """Clear the list.

    Raises
    ------
    RaysimError
        Where it cannot be taken away.
    """
    try:
        list_path().unlink(missing_ok=True)
    except OSError as error:
        raise RaysimError(
            f"{list_path()}: cannot be deleted ({error.strerror}). Mend: delete it by hand"
        ) from None


def scenes_near(here: Path) -> list[Path]:
    """Scene files in a folder and in those in it (definition: TOML with a [chamber])."""
    found = []
    with suppress(OSError):
        for pattern in NEAR:
            for path in sorted(here.glob(pattern)):
                if not path.parent.name.startswith(".") and "[chamber" in _text(path):
                    found.append(path.resolve())
    return found[:MOST_NEAR]


def box_record(path: Path, opened: float | None) -> dict[str, Any]:
    """A box for the page: name, folder, title, when it was opened, and the verdict of its record.

    No time unless the record has one for the scene as it stands on disk.
    """
    text = _text(path)
    scene = None
    with suppress(SceneError):
        scene = scene_of_text(text.removeprefix(BOM), path.name) if text else None
    found = verdict(OnDisk(path, text, scene))
    shown = {key: found.get(key) for key in ("state", "says", "time", "label")}
    return {
        "path": str(path),
        "name": printable(path.name),
        "folder": printable(str(path.parent)),
        "title": printable(scene.title) if scene else "",
        "there": bool(text),
        "opened": opened,
        "verdict": shown if scene else None,
    }


def _text(path: Path) -> str:
    """What stands in a scene file, "" where it cannot be read."""
    try:
        if path.is_file() and path.stat().st_size <= LARGEST_SCENE_FILE:
            return path.read_bytes().decode("utf-8")
    except (OSError, ValueError):
        pass
    return ""
