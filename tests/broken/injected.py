"""Have the n-th write, fsync, rename or allocation of this process fail, and count them.

Files that Python opens write through `_Raw`, so that each write to the system is one call; what
libraries in C write by themselves is reached by limits of size (RLIMIT_FSIZE) instead. Allocations
are those of arrays by NumPy; what compiled code takes is reached by limits of memory.
"""

import builtins
import errno
import io
import itertools
import math
import os
import resource
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from running import batches_of, contents

import raysim.dose.checkpoint
from raysim.dose.checkpoint import is_checkpoint

SMALLEST_BATCH = 512  # photons
CALLS = {
    "write": (),
    "fsync": ((os, "fsync"),),
    "rename": ((os, "rename"), (os, "replace")),
    "allocation": tuple((np, name) for name in ("empty", "zeros", "full", "ones", "stack")),
}
FAULTS: dict[str, Callable[[], Exception]] = {
    "write": lambda: OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)),
    "fsync": lambda: OSError(errno.EIO, os.strerror(errno.EIO)),
    "rename": lambda: OSError(errno.EACCES, os.strerror(errno.EACCES)),
    "allocation": lambda: MemoryError("no room for an array"),
}


class Counter:
    """Counts the calls of one kind, and fails at the n-th; with `ever` at all later ones too."""

    def __init__(self, kind: str, n: int, ever: bool) -> None:
        self.kind, self.n, self.ever = kind, n, ever
        self.calls, self._next = 0, itertools.count(1)

    def __call__(self) -> None:
        self.calls = next(self._next)
        if self.calls == self.n or (self.ever and 0 < self.n < self.calls):
            raise FAULTS[self.kind]()


def failing(kind: str, n: int, ever: bool = False, count_in: str = "") -> None:
    """Have the n-th call of a kind fail, none if n is 0; `count_in` gets how many there were.

    Checkpoints are written whenever they can be, and batches are small.
    """
    batches_of(SMALLEST_BATCH).__enter__()  # for good
    raysim.dose.checkpoint.INTERVAL, raysim.dose.checkpoint.LARGEST_SHARE = 0.0, math.inf
    if kind == "size":
        resource.setrlimit(resource.RLIMIT_FSIZE, (n, resource.RLIM_INFINITY))
        return
    counter = Counter(kind, n, ever)
    for owner, name in CALLS[kind]:
        setattr(owner, name, _counted(getattr(owner, name), counter))
    if kind == "write":
        builtins.open = io.open = _opening(counter)
    if count_in:
        leave = os._exit

        def told(status: int) -> None:
            counter.n = 0
            Path(count_in).write_text(str(counter.calls))
            leave(status)

        os._exit = told  # a child of the kennel ends so


def _counted(call: Callable[..., Any], counter: Counter) -> Callable[..., Any]:
    def counted(*words: Any, **more: Any) -> Any:
        counter()
        return call(*words, **more)

    return counted


def _opening(counter: Counter) -> Callable[..., Any]:
    """`open`, with every write to the system counted."""
    plain = io.open

    class Raw(io.FileIO):
        def write(self, data: Any) -> int:
            counter()
            return super().write(data)

    def opened(
        file: Any, mode: str = "r", buffering: int = -1, encoding: Any = None,
        errors: Any = None, newline: Any = None, closefd: bool = True, opener: Any = None,
    ) -> Any:  # fmt: skip
        if not set(mode) & set("wxa+") or buffering not in (-1, 1):
            return plain(file, mode, buffering, encoding, errors, newline, closefd, opener)
        place = file if isinstance(file, int) else os.fspath(Path(file))
        raw = Raw(place, mode.replace("b", "").replace("t", ""), closefd, opener)
        binary = io.BufferedRandom(raw) if "+" in mode else io.BufferedWriter(raw)
        return binary if "b" in mode else io.TextIOWrapper(binary, encoding, errors, newline)

    return opened


def is_new(folder: Path, new: Path) -> bool:
    """Whether the results in a folder are the new ones; seconds and the time of day differ.

    The answer, which is written first, may stand alone.
    """
    now, then = contents(folder), contents(new)
    now = {n: c for n, c in now.items() if not is_checkpoint(n) and not n.startswith(".")}
    timeless = {"faces.csv", "dose_map.vtp", "card.html"}
    pages = now.keys() - timeless - {"result.json"}
    return (
        now.keys() in (then.keys(), {"result.json", "card.html"})
        and all(now[name] == then[name] for name in timeless & now.keys())
        and all(now[name].rstrip().endswith(b"</html>") for name in pages)
        and now["result.json"].endswith(b"}\n")
    )
