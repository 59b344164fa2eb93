"""The verdict of a result, as `raysim log start` obeys it."""

import sqlite3
from collections.abc import Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from raysim.base.errors import RaysimError, printable
from raysim.dose.verdict_record import State, Why

# What only a new run can settle, whatever is said to be done.
OF_A_RUN = {
    Why.READING_MISSING: ", then run 'raysim dose' anew: a reading can lengthen the timer",
    Why.READING_UNDATED: ", then run 'raysim dose' anew",
    Why.READING_OLD: ", then run 'raysim dose' anew: a reading can lengthen the timer",
    Why.RUN_INTERRUPTED: "",
}
ANEW = "Mend: run 'raysim dose' anew"


def obey(record: dict[str, Any], folder: Path, done: Sequence[str]) -> None:
    """Refuse a result that is not ready, or whose scene has changed.

    `record` is the content of result.json; `done`, CODE=WHAT each, says what was done of that
    which it asks for.

    Raises
    ------
    RaysimError
        DO NOT USE; something still to be done and not said to be; a reading too old by now; another
        scene than that of the result.
    KeyError, TypeError, ValueError
        Where the record is not one of raysim.
    """
    if "verdict" not in record:
        raise RaysimError(f"--result {folder}: it has no verdict, being of an older raysim. {ANEW}")
    found = record["verdict"]
    state = State(found["state"])
    reasons = [_told(reason) for reason in found["reasons"]]
    if state is State.DO_NOT_USE:
        _, says, mend = reasons[0]
        raise RaysimError(f"--result {folder}: DO NOT USE: {says}. Mend: {mend}")
    for code, says, mend in reasons:
        if code in OF_A_RUN:
            more = OF_A_RUN[Why(code)]
            raise RaysimError(f"--result {folder}: not ready yet: {says}. Mend: {mend}{more}")
    said = _said_to_be_done(done, [code for code, _, _ in reasons])
    for code, says, mend in reasons:
        if code not in said:
            raise RaysimError(
                f"--result {folder}: not ready yet: {says}. Mend: {mend}; or, where that was done "
                f'without an entry in the scene, --done {code}="WHAT WAS DONE, BY WHOM"'
            )
    _refuse_old(found["holds_for"], folder)
    _refuse_stale(record["scene"], folder)


def _refuse_old(held: dict[str, Any], folder: Path) -> None:
    """Refuse a result whose meter reading or survey of the seams has become too old by now."""
    from raysim.verdict.of_readings import too_old

    for what, day, mend in (
        ("meter reading", held["reading_date"], "read again, give reading and read_on"),
        ("survey of the seams", held.get("seams_date"), "survey them again, give checked_on"),
    ):
        if day is not None and too_old(date.fromisoformat(day)):
            raise RaysimError(
                f"--result {folder}: its {what} is of {printable(day)}, more than a year ago. "
                f"Mend: {mend}, and run 'raysim dose' anew"
            )


def refuse_made_to_come(made: datetime, folder: Path) -> None:
    """Refuse a result of the future: what is too old, or was changed since, could not be told."""
    from raysim.logbook.book import CLOCKS_APART

    now = datetime.now(UTC)
    if made.astimezone(UTC) > now + CLOCKS_APART:
        raise RaysimError(
            f"--result {folder}: it was made at {made.isoformat()}, and by this clock it is "
            f"{now.isoformat(timespec='seconds')}. Mend: set the clock right, or run "
            "'raysim dose' anew"
        )


def _told(reason: dict[str, Any]) -> tuple[str, str, str]:
    """Code, what is the matter and its mend."""
    code, says, mend = (printable(str(reason[key])) for key in ("code", "says", "mend"))
    return code, says, mend


def _said_to_be_done(done: Sequence[str], asked: Sequence[str]) -> set[str]:
    """Codes of what is said to be done: one word stands for one thing only."""
    said = set()
    for words in done:
        code, _, what = (part.strip() for part in words.partition("="))
        if code not in asked or not what:
            known = " or ".join(f'{one}="..."' for one in asked) or "leave it out: nothing is asked"
            raise RaysimError(f"--done {words}: says not what of. Mend: {known}")
        said.add(code)
    return said


def _refuse_stale(scene: dict[str, Any], folder: Path) -> None:
    """Refuse a result whose scene file or meshes have changed since; one that is gone passes."""
    from raysim.output.files.scene_file import scene_places
    from raysim.scene.file.parcel import opened
    from raysim.scene.file.read import file_hash, read_scene, scene_files

    places = scene_places(folder, str(scene["file"]))
    path = next((place for place in places if place.is_file()), None)
    if path is None:
        return  # the results were carried to another computer
    try:
        with opened(path) as file:
            now = file_hash(scene_files(file, read_scene(file)))
    except (RaysimError, OSError):
        now = ""
    if now != scene["sha256"]:
        raise RaysimError(
            f"--result {folder}: {printable(str(path))} or one of its meshes has changed since, so "
            f"this result holds no longer. {ANEW}"
        )


def refuse_changed_lamps(book: sqlite3.Connection, box: str, since: datetime, folder: Path) -> None:
    """Refuse a result, or the reading in it, that is older than a change of lamps in its box.

    `since` is when the older of the two was made.

    Raises
    ------
    RaysimError
        Naming the lamps.
    """
    from raysim.logbook.lamps import changed_since

    changed = changed_since(book, box, since)
    if changed:
        raise RaysimError(
            f"--result {folder}: lamp {' and '.join(changed)} of {box} was changed after it or "
            "after its reading. Mend: give the hours of the lamps in the scene, read the meter "
            "again, and run 'raysim dose' anew"
        )
