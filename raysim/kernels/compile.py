"""The one decorator of every kernel function, and a disk cache that forgets old physics.

Numba decides from the file of the function itself whether cached machine code is still good. It
does not see a change in a *called* function of another file, so that an upgraded package could run
the physics of the old one. The cache folder is therefore named by a hash of the sources of all
kernels. Its files are checked before they are run (`disk_cache`).
"""

import hashlib
import os
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

import numba
from platformdirs import user_cache_path

from raysim.kernels.disk_cache import ENDING, DiskCache, sound_content, tell_unkept
from raysim.kernels.undisturbed import leave_compiler_undisturbed

leave_compiler_undisturbed()

# Typed loosely: numba sets these attributes at run time.
settings: Any = numba.config

KERNEL_FOLDER = Path(__file__).resolve().parent


@cache
def source_hash(folder: Path = KERNEL_FOLDER) -> str:
    """Hash of every Python source under `folder`: 16 hexadecimal digits (definition: SHA-256)."""
    digest = hashlib.sha256()
    for path in sorted(folder.rglob("*.py")):
        digest.update(path.relative_to(folder).as_posix().encode())
        digest.update(b"\0")
        digest.update(path.read_bytes())
        digest.update(b"\0")
    return digest.hexdigest()[:16]


def _cache_base() -> Path:
    """Folder for caches: NUMBA_CACHE_DIR if set, else where this system has those of a user.

    Raises
    ------
    RuntimeError
        Where the user has no home.
    """
    if os.environ.get("NUMBA_CACHE_DIR"):
        return Path(os.environ["NUMBA_CACHE_DIR"])
    folder = user_cache_path("raysim", appauthor=False)
    if not folder.is_absolute():
        raise RuntimeError("no home")
    return folder


@cache
def cache_folder() -> Path | None:
    """Folder of compiled kernels for exactly these sources; None where there can be none."""
    folder = Path("~")
    try:
        folder = _cache_base() / f"kernels-{source_hash()}"
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, RuntimeError) as error:
        tell_unkept(folder, error)
        return None
    return folder


def kernel(
    function: Callable[..., Any] | None = None, *, inlined: bool = False, allocates: bool = False
) -> Any:
    """Compile `function` lazily: IEEE division, no fast-math, cached by the package's sources.

    Fast-math stays off because the slab test and the fates rely on inf and NaN. No signature is
    given, so that a GPU kernel can call the very same functions later. `inlined` copies the
    function into each caller, which pays where many arrays are passed for little work. Python's
    lock is released, so that threads run side by side.

    Only a kernel that `allocates` arrays, or calls one that does, counts references to them. The
    others use arrays of their callers. Numba would count references there as well, for every array
    taken out of a tuple, in memory that all threads write to.
    """
    if function is None:
        return lambda f: kernel(f, inlined=inlined, allocates=allocates)
    options: dict[str, Any] = {
        "error_model": "numpy",
        "nogil": True,
        "forceinline": inlined,
        "_nrt": allocates,
    }
    compiled = numba.njit(**options)(function)
    kept = (
        not settings.DISABLE_JIT and function.__closure__ is None
    )  # the values of a closure may differ
    if kept and (folder := cache_folder()):
        with suppress(OSError):  # a function without a file
            compiled._cache = DiskCache(function, folder, options)
    return compiled


def is_warm(name: str) -> bool:
    """Whether sound machine code of the function called `name` already lies in the cache folder."""
    folder = cache_folder()
    if folder is None:
        return False
    return any(sound_content(path) for path in folder.glob(f"*{name}-*{ENDING}"))
