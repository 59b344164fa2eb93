"""Compiled kernels on disk, in files that are checked whole before anything in them is used.

Numba's own cache trusts what it reads: a file that is cut short ends the program, and a flipped
byte runs as machine code. Here each file begins with the hash of the rest. A file with
any fault is set aside and its function compiled anew; code that cannot be written stays in memory.

A file holds one function for one set of types, and its name is a hash of everything that its
machine code depends on. So no index is needed, which processes that write at once could spoil.
"""

import hashlib
import logging
import os
import pickle
import sys
import threading
import uuid
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

import numba
from numba.core.caching import NullCache
from numba.core.compiler import CompileResult
from numba.core.serialize import dumps

HASH_SIZE = hashlib.sha256().digest_size  # bytes
ENDING = ".nbc"
WARNING = "warning: "

_log = logging.getLogger("raysim")  # without a handler Python writes the line to stderr
_first_trouble = threading.Lock()


def tell_trouble(what: str) -> None:
    """Log a warning about the cache: the first in this process, since others follow from it."""
    if _first_trouble.acquire(blocking=False):
        _log.warning("%s%s", WARNING, what)


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or type(error).__name__


def set_aside(path: Path, reason: str) -> None:
    """Rename a file that cannot be used, where that is allowed, and tell of it."""
    with suppress(OSError):  # if not, it is overwritten, or found again next time
        path.replace(path.with_name(f"{path.name}.damaged"))
    tell_trouble(
        f"a file of compiled kernels cannot be used ({path.name}: {reason}) and is compiled anew; "
        "results stay the same. Mend: if this comes again, check the disk, or delete "
        f"{str(path.parent)!r}"
    )


def sound_content(path: Path) -> bytes | None:
    """Content of a file behind its hash; None if there is no file, or if it had to be set aside."""
    if not os.path.lexists(path):
        return None
    try:
        content = path.read_bytes()
    except OSError as error:
        set_aside(path, _reason(error))
        return None
    if hashlib.sha256(memoryview(content)[HASH_SIZE:]).digest() != content[:HASH_SIZE]:
        set_aside(path, "its checksum is wrong")
        return None
    return content[HASH_SIZE:]


def write_whole(path: Path, content: bytes) -> None:
    """Write a file that is there either whole or not at all, headed by its hash.

    Only a power cut may leave part of it, and then the hash is wrong: no need to wait for the disk.

    Raises
    ------
    OSError
        If it cannot be written; nothing is left of it then.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f"{path.name}.{uuid.uuid4().hex[:16]}")
    try:
        with beside.open("wb") as file:
            file.write(hashlib.sha256(content).digest())
            file.write(content)
        beside.replace(path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


@cache
def _file_hash(path: str) -> bytes:
    return hashlib.sha256(Path(path).read_bytes()).digest()


class DiskCache(NullCache):
    """Machine code of one function, in place of numba's own cache of it.

    Raises
    ------
    OSError
        If the source of the function cannot be read: a change of it would go unseen.
    """

    def __init__(self, function: Callable[..., Any], folder: Path, options: dict[str, Any]) -> None:
        code = function.__code__
        self._folder = folder
        self._name = f"{Path(code.co_filename).stem}.{function.__qualname__}-{code.co_firstlineno}"
        self._source = (
            numba.__version__,
            sys.implementation.cache_tag,
            self._name,
            code.co_filename,
            _file_hash(code.co_filename),
            code.co_code,  # tells functions of one line apart
            sorted(options.items()),
        )

    @property
    def cache_path(self) -> str:
        """Folder of the files."""
        return str(self._folder)

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Machine code kept for these types; None if it has to be compiled."""
        target_context.refresh()
        key = self._key(sig, target_context.codegen())
        path = self._path(key)
        content = sound_content(path)
        if content is None:
            return None
        try:
            held, parts = pickle.loads(content)
            if held == key:
                return CompileResult._rebuild(target_context, *parts)
            reason = "it is that of another function"
        except Exception as error:  # numba may be unable to use even a sound file
            reason = _reason(error)
        set_aside(path, reason)
        return None

    def save_overload(self, sig: Any, data: Any) -> None:
        """Keep the machine code for these types, if possible."""
        if data.lifted or data.library.has_dynamic_globals:
            return  # the code holds addresses of this process
        key = self._key(sig, data.codegen)
        try:
            write_whole(self._path(key), dumps((key, data._reduce())))
        except Exception as error:  # the function is compiled, only not kept
            tell_unkept(self._folder, error)

    def _key(self, signature: Any, codegen: Any) -> tuple[Any, ...]:
        return (*self._source, signature, codegen.magic_tuple())

    def _path(self, key: tuple[Any, ...]) -> Path:
        digest = hashlib.sha256(repr(key).encode()).hexdigest()[:16]
        name = self._name.replace("<", "").replace(">", "")
        return self._folder / f"{name}-{digest}{ENDING}"


def tell_unkept(folder: Path, error: Exception) -> None:
    """Tell that compiled kernels cannot be kept in `folder`."""
    tell_trouble(
        f"compiled kernels cannot be kept in {str(folder)!r} ({_reason(error)}), so that every run "
        "compiles for about half a minute. Mend: free the way to this folder, or name another in "
        "NUMBA_CACHE_DIR"
    )
