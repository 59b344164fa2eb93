"""When a process changes what stands in its folder, noted by itself, and when it is killed by that.

Files opened to write, renamed, made or removed are told by Python itself (PEP 578, audit hooks);
statements that change a logbook by SQLite.
"""

import os
import sqlite3
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from raysim.output.files.lock import LOCK_FILE

FILE = ".temporary/changes"  # a line for each: seconds since the process began
PATHS = {"os.rename": 2, "os.mkdir": 1, "os.remove": 1, "os.rmdir": 1, "os.truncate": 1}
WRITES = ("BEGIN", "INSERT", "CREATE", "COMMIT")


def note_changes() -> None:
    """Note each change from now on; those of locks and of temporary files are none."""
    began, home = time.monotonic(), os.path.realpath(".")
    notes = os.open(FILE, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_APPEND)

    def note() -> None:
        os.write(notes, b"%.6f\n" % (time.monotonic() - began))

    def stated(sql: str) -> None:
        if sql.startswith(WRITES):
            note()

    def connected(*words: Any, **more: Any) -> sqlite3.Connection:
        connection = connect(*words, **more)
        connection.set_trace_callback(stated)
        return connection

    def is_ours(path: Any) -> bool:
        if not isinstance(path, str | bytes | Path):
            return False
        rest = os.path.relpath(os.path.join(home, os.fsdecode(path)), home)
        return not rest.startswith(("..", ".temporary")) and os.path.basename(rest) != LOCK_FILE

    def heard(event: str, words: tuple[Any, ...]) -> None:
        if event == "open":
            writes = words[2] & (os.O_WRONLY | os.O_RDWR)
            paths = words[:1] if writes else ()
        else:
            paths = words[: PATHS.get(event, 0)]
        if any(map(is_ours, paths)):
            note()

    connect, sqlite3.connect = sqlite3.connect, connected
    sys.addaudithook(heard)


def noted(folder: Path) -> list[float]:
    """Seconds after its begin at which the last process changed what stands in a folder."""
    file = folder / FILE
    return [float(line) for line in file.read_text().splitlines()] if file.exists() else []


@dataclass(frozen=True)
class Course:
    """How a run goes that nobody kills: its seconds, and those at which it changes something."""

    seconds: float
    changes: list[float]

    def limits(self, folder: Path, moment: float | None) -> dict[str, Any]:
        """When a run is killed: half of the moments lie anywhere, half while it writes."""
        if moment is None:
            return {}
        if moment < 0.5:
            return {"wall": 2.0 * moment * self.seconds}
        writes = self.changes[-1] - self.changes[0]
        return {"after": (str(folder / FILE), (2.0 * moment - 1.0) * writes)}

    def is_amid(self, folder: Path, writes: str) -> bool:
        """Whether a killed run had begun to change what stands there, and not come to its last."""
        begun = len(noted(folder))
        return 0 < begun < len(self.changes) or (folder / f"{writes}-journal").exists()
