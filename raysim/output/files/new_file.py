"""A single output file of a command, refused before any work if it cannot be written."""

import os
from pathlib import Path

from raysim.base.errors import RaysimError

LONGEST_NAME = 255  # letters, a limit of file systems


def refuse_unfit(
    option: str, path: Path, may_replace: bool = False, mend: str = "name a new file"
) -> None:
    """Refuse, before any work is done, a file that cannot be written.

    Raises
    ------
    RaysimError
        If something exists there, or the folder is missing or cannot be written.
    """
    folder = path.absolute().parent
    if path.exists() and not may_replace:
        raise RaysimError(f"{option} {path}: stands there already. Mend: {mend}")
    if not folder.is_dir():
        raise RaysimError(f"{option} {path}: there is no such folder. Mend: make it first")
    if not os.access(path if path.exists() else folder, os.W_OK):
        raise RaysimError(
            f"{option} {path}: cannot be written (Permission denied). Mend: name another folder"
        )


def write_new(option: str, path: Path, content: bytes) -> None:
    """Write a file, completely or not at all, also where the process is killed.

    Raises
    ------
    RaysimError
        If writing fails.
    """
    aside = path.with_name(f".{path.name}.part"[-LONGEST_NAME:])
    try:
        with aside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        aside.replace(path)
    except OSError as error:
        aside.unlink(missing_ok=True)
        raise RaysimError(
            f"{option} {path}: cannot be written ({error.strerror or error}). Mend: make room or "
            "name another folder"
        ) from None
