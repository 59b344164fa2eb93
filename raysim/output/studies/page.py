"""What the folders of all studies have in common: result.json, pictures and the report."""

from pathlib import Path
from typing import Any

from raysim.output.files.folder import RESULT_FILE, json_text


def write_record(record: dict[str, Any], folder: Path) -> None:
    """Write result.json into `folder`, and make the folder of the pictures."""
    (folder / RESULT_FILE).write_text(json_text(record), encoding="utf-8")
    (folder / "pictures").mkdir()


def repeat_rows(command: str, what: str, value: str) -> tuple[tuple[str, str], ...]:
    """How to get the same numbers again: the command line if there was one, and a value."""
    return (*((("command", command),) if command else ()), (what, value))
