"""On the first run on a machine: a second process compiles what this one will need later.

This process compiles the hierarchy and the checks of a scene at once; meanwhile the other one
compiles the tracing (`precompile_process`), into the same cache on disk. Whoever needs it waits
until it lies there. If the second process fails, is not allowed, or finds the cache of no use,
this one compiles by itself: only time is lost.
"""

import atexit
import os
import subprocess
import sys
import threading
import time

from raysim.kernels.compile import cache_folder, is_warm, settings
from raysim.kernels.disk_cache import WARNING, tell_trouble

KERNELS = ("trace_photons", "trace_backward")  # in the order in which they are needed
LONGEST_WAIT = 120.0  # s; from then on it would be quicker to compile here
HEARD_AGAIN = 0.2  # s between two chances for Ctrl-C
# The same modules as here, whatever way they were found; Ctrl-C is for the first process alone.
PROGRAM = """
import signal
signal.signal(signal.SIGINT, signal.SIG_IGN)
import sys
sys.path[:] = {path!r}
from raysim.transport.precompile_process import run
run()
"""


class SecondCompiler:
    """The second process, which tells line by line what it has compiled, and ends with this one."""

    def __init__(self) -> None:
        self._owner = os.getpid()
        self._ready = {name: threading.Event() for name in KERNELS}
        self._process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM.format(path=sys.path)],
            stdin=subprocess.PIPE,  # closed when this process ends, however it ends
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()
        atexit.register(self.stop)

    def _listen(self) -> None:
        assert self._process.stdout is not None
        for line in map(str.strip, self._process.stdout):
            if line in self._ready:
                self._ready[line].set()
            elif line.startswith(WARNING):
                tell_trouble(line.removeprefix(WARNING))
        for event in self._ready.values():  # it has ended, well or not
            event.set()

    def wait_for(self, name: str) -> None:
        """Return when the kernel called `name` is compiled, or will not be."""
        until = time.monotonic() + LONGEST_WAIT
        if self._owner == os.getpid():  # a fork of this process cannot hear it
            while not self._ready[name].wait(HEARD_AGAIN) and time.monotonic() < until:
                pass

    def stop(self) -> None:
        """End the process, if it still runs."""
        if self._owner == os.getpid():
            self._process.kill()
            self._process.wait()
            self._listener.join()


_running: SecondCompiler | None = None


def compile_ahead(threads: int) -> None:
    """Begin to compile the tracing in a second process, where that is of use.

    Not where it lies in the cache already, where there is no cache to hand it over, where nothing
    is compiled, and not for a user who wants a single thread.
    """
    global _running
    missing = [name for name in KERNELS if not is_warm(name)]
    useful = missing and threads > 1 and cache_folder() is not None and not settings.DISABLE_JIT
    if _running is not None or not useful or not sys.executable:
        return
    try:
        _running = SecondCompiler()
    except OSError:
        return  # no process may be started here


def wait_until_compiled(name: str) -> None:
    """Wait while a second process compiles the kernel called `name`; no time at all otherwise."""
    if _running is not None:
        _running.wait_for(name)
