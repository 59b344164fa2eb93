"""One run at a time in a folder, by a lock that the operating system ends with the process."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from raysim.base.errors import RaysimError

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

LOCK_FILE = ".raysim-lock"

_held: set[Path] = set()  # folders that this process has locked


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Lock `folder` against other runs while the block runs; it is made if it is missing.

    New folders that are still empty at the end are removed. Within a block that has locked the same
    folder already this does nothing.

    Raises
    ------
    RaysimError
        If another run has locked the folder, or it cannot be written.
    """
    place = folder.absolute()
    if place in _held:
        yield
        return
    try:
        made = [path for path in (place, *place.parents) if not path.exists()]
        handle = _locked_file(place / LOCK_FILE)
    except BlockingIOError:
        raise RaysimError(
            f"--out {folder}: another run is writing there. Mend: wait for its end, or name "
            "another folder"
        ) from None
    except OSError as error:
        raise RaysimError(
            f"--out {folder}: cannot be written ({error.strerror or error}). "
            "Mend: name another folder"
        ) from None
    _held.add(place)
    try:
        yield
    finally:
        _held.discard(place)
        with suppress(OSError):  # except on Unix, open files cannot be removed
            (place / LOCK_FILE).unlink()
        os.close(handle)
        with suppress(OSError):
            for path in made:
                path.rmdir()


def _locked_file(path: Path) -> int:
    """Descriptor of the lock file, locked; missing folders are made.

    Raises
    ------
    BlockingIOError
        If another process has locked it.
    """
    while True:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except FileNotFoundError:
            continue  # the last holder has just removed the folder
        try:
            _lock(handle)
            if path.exists() and os.path.samestat(os.fstat(handle), path.stat()):
                return handle
        except FileNotFoundError:
            pass
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)  # the last holder has just removed it


def _lock(handle: int) -> None:
    if sys.platform == "win32":
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            raise BlockingIOError from None
    else:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise
        except OSError:
            return  # some shared file systems have no locks
