"""Let Ctrl-C wait until data are consistent."""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def hold_interrupts() -> Iterator[None]:
    """Let Ctrl-C wait until the block has ended.

    A block adds to tallies and to the counts by which they are divided. Both must change
    together: an interrupt between the two would make the box seem too bright, and the timer too
    short.
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
