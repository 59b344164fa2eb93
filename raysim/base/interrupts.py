"""Ctrl-C that waits for a good moment."""

import signal
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
