"""Ctrl-C that waits for a good moment, and is not lost in a bad one."""

import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def hold_interrupts() -> Iterator[None]:
    """Let Ctrl-C wait until the block has ended.

    What a block adds to tallies and to the counts they are divided by must go in together: an
    interrupt between the two would make the box brighter than it is, and the timer too short.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    held: list[tuple[Any, ...]] = []
    before = signal.signal(signal.SIGINT, lambda *args: held.append(args))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if held and callable(before):
        before(*held[0])


HEARD_LATER = 0.1  # s
_due = threading.Event()


def keep_interrupts() -> None:
    """Have Ctrl-C heard a moment later where Python would ignore it.

    While numba compiles, Python runs inside of callbacks now and then; an exception that is raised
    there is written to the terminal and forgotten (`sys.unraisablehook`). What called the callback
    may fail in its wake, before the moment is over: see `interrupt_is_due`.
    """
    before = sys.unraisablehook

    def again(lost: "sys.UnraisableHookArgs") -> None:
        if not issubclass(lost.exc_type, KeyboardInterrupt):
            before(lost)
            return
        _due.set()
        later = threading.Timer(HEARD_LATER, _raise_again)
        later.daemon = True
        later.start()

    sys.unraisablehook = again


def interrupt_is_due() -> bool:
    """Whether a Ctrl-C was ignored a moment ago and is still to be heard."""
    return _due.is_set()


def _raise_again() -> None:
    _due.clear()
    # Raised in this thread, it would not end a wait of the main one.
    if hasattr(signal, "pthread_kill"):
        signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGINT)
    else:
        signal.raise_signal(signal.SIGINT)
