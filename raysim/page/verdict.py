"""The verdict at the foot of the job card: that of result.json, and whether it still holds.

Nothing is decided here. A verdict of another scene than the draft is stale, and shows no time.
"""

from datetime import date
from functools import lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Any, Protocol

from raysim.base.errors import RaysimError, printable
from raysim.base.units import minutes_seconds
from raysim.dose.verdict_record import State, Why
from raysim.output.files.folder import RESULT_FILE, record_in
from raysim.scene.file.read import joined_hash, scene_files
from raysim.scene.file.written import SceneAsWritten
from raysim.verdict.of_readings import too_old

NOT_YET = "Not worked out yet: no results/{} beside the scene"
STALE = "The scene has changed since it was worked out"


class Draft(Protocol):
    """A scene as it stands now; `scene` is None where its text cannot be read."""

    @property
    def path(self) -> Path:
        """Its file."""

    @property
    def text(self) -> str:
        """Its text."""

    @property
    def scene(self) -> SceneAsWritten | None:
        """The text as read."""


def result_folder(scene: Path) -> Path:
    """Where the dose of a scene is worked out to (definition)."""
    return scene.parent / "results" / scene.stem


def verdict(document: Draft) -> dict[str, Any]:
    """State, its words, time and reasons for the page; no time unless the record has one."""
    record = result_record(result_folder(document.path))
    if record is None:
        says = NOT_YET.format(printable(document.path.stem))
        return {"state": "none", "says": says, "time": None, "reasons": [], "report": None}
    found = record["verdict"]
    reasons = [
        {key: printable(str(reason[key])) for key in ("code", "says", "mend")}
        for reason in found["reasons"]
    ]
    report = f"/results/{document.path.stem}/report.html"
    shown = {"report": report, "meters": _meters(record), "time": None}
    if record["scene"]["sha256"] != draft_hash(document) or _aged(found["holds_for"]):
        return {"state": "stale", "says": STALE, "reasons": [], **shown}
    state = State(found["state"])
    time, poses = found["timer_s"], bool(document.scene and document.scene.pose)
    if state is State.DO_NOT_USE or time is None or not 0.0 < float(time) < float("inf"):
        time = None
    told = None if time is None else minutes_seconds(float(time))
    if told is not None and poses:
        told = f"{told} in all; a time for each pose stands on the card"
    words = {State.READY: "READY", State.READY_AFTER: "READY AFTER what stands here"}
    says = words.get(state, "DO NOT USE")
    label = _label([reason["code"] for reason in reasons])
    return {
        **shown,
        "state": str(state),
        "says": says,
        "time": told,
        "label": label,
        "reasons": reasons,
    }


def _label(codes: list[str]) -> str:
    """What stands above a time, as on report and card: from when on it holds."""
    setting = "timer setting, from cold lamps"
    if Why.READING_MISSING in codes:
        return f"Then, unless the reading makes it longer, the {setting}"
    return f"Then the {setting}" if codes else f"T{setting[1:]}"


def _meters(record: dict[str, Any]) -> list[dict[str, Any]]:
    """What each meter point should read by the record, mW/cm2, with its uncertainty (k = 2)."""
    return [
        {
            "name": str(row["name"]),
            "irradiance": row["irradiance_mW_cm2"],
            "expanded": row["expanded_uncertainty_mW_cm2"],
            "verdict": printable(str(row["verdict"])),
        }
        for row in record.get("meters", [])
        if row.get("expanded_uncertainty_mW_cm2") is not None
    ]


def result_record(folder: Path) -> dict[str, Any] | None:
    """The content of result.json with a verdict; None where there is none that can be read."""
    try:
        record = record_in(folder / RESULT_FILE)
        found = record["verdict"]
        State(found["state"]), found["timer_s"], found["holds_for"]["reading_date"]
        return record if isinstance(found["reasons"], list) else None
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def draft_hash(document: Draft) -> str:
    """The hash that a run of the draft would give its result; "" where it cannot be read."""
    if document.scene is None:
        return ""
    try:
        _, *meshes = scene_files(document.path, document.scene)
        digests = [_digest(path, path.stat().st_mtime_ns, path.stat().st_size) for path in meshes]
    except (OSError, ValueError, RaysimError):
        return ""
    return joined_hash([sha256(document.text.encode("utf-8")).hexdigest(), *digests])


@lru_cache(maxsize=1000)
def _digest(path: Path, changed: int, size: int) -> str:
    return sha256(path.read_bytes()).hexdigest()


def _aged(held: dict[str, Any]) -> bool:
    """Whether the reading or the survey of the seams has become too old by now."""
    days = [held["reading_date"], held.get("seams_date")]
    try:
        return any(too_old(date.fromisoformat(day)) for day in days if day is not None)
    except ValueError:
        return True
