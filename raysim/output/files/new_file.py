"""A single output file of a command, refused before any work if it cannot be written."""

import os
from pathlib import Path

from raysim.base.errors import RaysimError


def refuse_unfit(option: str, path: Path, may_replace: bool = False) -> None:
    """Refuse, before any work is done, a file that cannot be written.

    Raises
    ------
    RaysimError
        If something exists there, or the folder is missing or cannot be written.
    """
    folder = path.absolute().parent
    if path.exists() and not may_replace:
        raise RaysimError(f"{option} {path}: stands there already. Mend: name a new file")
    if not folder.is_dir():
        raise RaysimError(f"{option} {path}: there is no such folder. Mend: make it first")
    if not os.access(path if path.exists() else folder, os.W_OK):
        raise RaysimError(
            f"{option} {path}: cannot be written (Permission denied). Mend: name another folder"
        )


def write_new(option: str, path: Path, text: str) -> None:
    """Write a text file in UTF-8, completely or not at all.

    Raises
    ------
    RaysimError
        If writing fails.
    """
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        path.unlink(missing_ok=True)
        raise RaysimError(
            f"{option} {path}: cannot be written ({error.strerror or error}). Mend: make room or "
            "name another folder"
        ) from None
