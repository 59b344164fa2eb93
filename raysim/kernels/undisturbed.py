"""Ctrl-C waits while numba compiles a function, or reads one from the cache.

Python closes LLVM's objects in two steps. After an interrupt between the two an object is freed
twice, and the process crashes. LLVM also calls back into Python, and exceptions there are lost.
"""

import signal
import threading
from types import FrameType

from numba.core import event

LOCK = "numba:compiler_lock"  # nested: once more for every called function


class Undisturbed(event.Listener):
    """Holds Ctrl-C while numba's lock is held by the main thread.

    The interrupt is raised as soon as the current function is compiled, even if more are to come:
    after a second or so while compiling, at once otherwise.
    """

    def __init__(self) -> None:
        self._depth = 0
        self._held: list[tuple[int, FrameType | None]] = []
        self._before: signal._HANDLER = None

    def on_start(self, begun: event.Event) -> None:
        """Numba is about to take its lock."""
        if threading.current_thread() is not threading.main_thread():
            return
        if self._depth == 0:
            self._before = signal.getsignal(signal.SIGINT)
            if callable(self._before):
                signal.signal(signal.SIGINT, self._hold)
        self._depth += 1

    def on_end(self, ended: event.Event) -> None:
        """Numba has let go of its lock."""
        if threading.current_thread() is not threading.main_thread():
            return
        self._depth -= 1
        if self._depth == 0 and callable(self._before):
            signal.signal(signal.SIGINT, self._before)
        held, self._held = self._held, []
        if held and callable(self._before):
            self._before(*held[0])

    def _hold(self, number: int, frame: FrameType | None) -> None:
        self._held.append((number, frame))


def leave_compiler_undisturbed() -> None:
    """Have Ctrl-C wait for numba from now on, in this process."""
    event.register(LOCK, Undisturbed())
