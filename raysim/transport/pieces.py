"""Independent pieces of work: done here one after the other, or by the workers of an executor.

What comes out never depends on who did what. A piece is a function of its arguments, results are
taken in the order of the pieces, and a piece that its worker did not bring to an end, because it
died or ran out of memory, is done again here. Workers must have the same versions as this machine:
what they would find otherwise could differ.
"""

import os
import pickle
import platform
import tempfile
import threading
import weakref
from collections import OrderedDict
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future
from contextlib import suppress
from functools import cache, cached_property
from hashlib import sha256
from pathlib import Path
from typing import Any

import numba
import numpy as np

from raysim.base.errors import RaysimError
from raysim.kernels.compile import source_hash
from raysim.version import __version__

PACKAGE = Path(__file__).resolve().parents[1]
MOST_KEPT = 2  # of what pieces share, in each thread of a worker
Piece = Callable[[Any, Any], Any]  # of what all share, and of what this one is about


class Shared:
    """What all pieces of some work need. A worker gets it once, and knows it by its hash.

    `options` in it travel as those of one thread (`RunOptions`): workers are many.
    """

    def __init__(self, value: Any) -> None:
        self.value = value

    @cached_property
    def packed(self) -> bytes:
        """The value as it is sent."""
        return pickle.dumps(self.value, pickle.HIGHEST_PROTOCOL)

    @cached_property
    def key(self) -> str:
        """SHA-256 of what is sent, hexadecimal (definition)."""
        return sha256(self.packed).hexdigest()

    @cached_property
    def file(self) -> str:
        """A file of it, for workers that see this disk; it goes with this object."""
        handle, name = tempfile.mkstemp(prefix="raysim-", suffix=".shared")
        weakref.finalize(self, _remove, name)
        with suppress(OSError), os.fdopen(handle, "wb") as file:
            file.write(self.packed)
        return name


def each(
    piece: Piece, shared: Shared, items: Sequence[Any], executor: Executor | None = None
) -> Iterator[Any]:
    """What `piece(shared.value, item)` returns for every item, in their order.

    Here it is called with the value itself, on a worker with a copy: what it changes there is lost.
    `piece` is a function of a module, so that it can be sent.

    Raises
    ------
    RaysimError
        Where a worker has other versions than this machine.
    Exception
        What the piece raises here.
    """
    if executor is None:
        for item in items:
            yield piece(shared.value, item)
        return
    spread = getattr(executor, "spread", None)  # of an executor that has a quicker way to all
    where = spread(shared.packed) if spread else shared.file
    waiting = [_begun(executor, shared, where, piece, item) for item in items]
    try:
        for item, future in zip(items, waiting, strict=True):
            done, found = _ended(executor, shared, future, (piece, item))
            yield found if done else piece(shared.value, item)
    finally:
        for future in waiting:
            if future is not None:
                future.cancel()


@cache
def versions() -> dict[str, str]:
    """What must be the same on every machine that takes part."""
    return {
        "raysim": f"{__version__} {source_hash(PACKAGE)}",
        "python": platform.python_version(),
        "numpy": np.__version__,
        "numba": numba.__version__,
    }


def _begun(
    executor: Executor, shared: Shared, where: str | bytes, piece: Piece, item: Any
) -> Future[Any] | None:
    """A piece handed over; None where nobody takes it any more."""
    try:
        return executor.submit(_work, versions(), shared.key, where, piece, item)
    except RuntimeError:  # a pool that is broken or closed
        return None


def _ended(
    executor: Executor, shared: Shared, future: Future[Any] | None, again: tuple[Piece, Any]
) -> tuple[bool, Any]:
    """Whether a worker did a piece, and what it found."""
    if future is None:
        return False, None
    try:
        done, found = future.result()
        if not done:  # it does not see this disk
            later = _begun(executor, shared, shared.packed, *again)
            done, found = (False, None) if later is None else later.result()
    except RaysimError:
        raise
    except Exception:  # whatever befell the worker: where the piece itself is wrong, it fails here
        return False, None
    return done, found


class _Kept(threading.local):
    """What pieces share, by its hash, for each thread: a piece may change what it works on."""

    def __init__(self) -> None:
        self.values: OrderedDict[str, Any] = OrderedDict()


_kept = _Kept()


def _work(
    sent: dict[str, str], key: str, where: str | bytes, piece: Piece, item: Any
) -> tuple[bool, Any]:
    """Do a piece on a worker; not where what is shared cannot be had from `where`."""
    own = versions()
    if sent != own:
        unlike = "; ".join(f"{k} {own.get(k)} for {sent[k]}" for k in sent if own.get(k) != sent[k])
        raise RaysimError(
            f"a worker on {platform.node()} has {unlike}. Mend: install the same versions on all "
            "machines"
        )
    if key not in _kept.values:
        value = _unpacked(key, where)
        if value is None:
            return False, None
        _kept.values[key] = value
        while len(_kept.values) > MOST_KEPT:
            _kept.values.popitem(last=False)
    _kept.values.move_to_end(key)
    return True, piece(_kept.values[key], item)


def _unpacked(key: str, where: str | bytes) -> Any:
    """What is shared, if this is it."""
    try:
        packed = where if isinstance(where, bytes) else Path(where).read_bytes()
    except OSError:
        return None
    return pickle.loads(packed) if sha256(packed).hexdigest() == key else None


def _remove(name: str) -> None:
    with suppress(OSError):
        Path(name).unlink()
