"""Ctrl-C while numba compiles: held until the function at hand is done, and never lost."""

import os
import signal
import subprocess
import sys
import threading

import pytest
from numba.core import event
from numba.core.compiler_lock import global_compiler_lock

from raysim.kernels.compile import kernel
from raysim.kernels.undisturbed import LOCK, Undisturbed

pytestmark = pytest.mark.skipif(os.name == "nt", reason="sends signals to itself")


def interrupt():
    os.kill(os.getpid(), signal.SIGINT)


def under_lock(*jobs):
    """Do these one after the other while numba's lock is held."""
    with global_compiler_lock:
        for job in jobs:
            job()


def test_it_listens_as_soon_as_there_are_kernels():
    assert kernel is not None
    assert sum(isinstance(one, Undisturbed) for one in event._registered[LOCK]) == 1


def test_ctrl_c_waits_until_the_lock_is_let_go():
    done = []
    with pytest.raises(KeyboardInterrupt):
        under_lock(interrupt, lambda: done.append("compiled"))
    assert done == ["compiled"]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_it_waits_for_the_innermost_function_only():
    done = []

    def callee():
        under_lock(interrupt, lambda: done.append("callee"))

    with pytest.raises(KeyboardInterrupt):
        under_lock(callee, lambda: done.append("caller"))
    assert done == ["callee"]
    with global_compiler_lock:  # nothing is left over
        assert signal.getsignal(signal.SIGINT) is not signal.default_int_handler
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_many_are_heard_once():
    with pytest.raises(KeyboardInterrupt):
        under_lock(interrupt, interrupt, interrupt)
    under_lock()


def test_another_thread_that_compiles_holds_nothing_up():
    begun, over = threading.Event(), threading.Event()

    def compiles():
        with global_compiler_lock:
            begun.set()
            over.wait(20.0)

    other = threading.Thread(target=compiles)
    other.start()
    try:
        assert begun.wait(20.0)
        with pytest.raises(KeyboardInterrupt):
            interrupt()
        assert other.is_alive()
    finally:
        over.set()
        other.join()


@pytest.mark.parametrize("handler", [signal.SIG_IGN, signal.SIG_DFL])
def test_who_wants_no_python_handler_gets_none(handler):
    before = signal.signal(signal.SIGINT, handler)
    try:
        with global_compiler_lock:
            assert signal.getsignal(signal.SIGINT) is handler
        assert signal.getsignal(signal.SIGINT) is handler
    finally:
        signal.signal(signal.SIGINT, before)


CLOSING = """
import os, signal
from llvmlite.binding.ffi import ObjectRef
from numba.core.compiler_lock import global_compiler_lock
{guard}

class Thing(ObjectRef):
    freed = 0
    def _dispose(self):
        Thing.freed += 1

    def detach(self):
        if Thing.freed == 1:
            os.kill(os.getpid(), signal.SIGINT)
        super().detach()

thing = Thing(1)
try:
    with global_compiler_lock:
        thing.close()
except KeyboardInterrupt:
    print("heard")
del thing
print(Thing.freed)
"""


@pytest.mark.parametrize(
    ("guard", "freed"), [("import raysim.kernels.compile", 1), ("", 2)], ids=["guarded", "not"]
)
def test_no_object_of_llvm_is_freed_twice(guard, freed):
    words = [sys.executable, "-c", CLOSING.format(guard=guard)]
    run = subprocess.run(words, capture_output=True, text=True, timeout=60, check=False)
    assert run.stdout.split()[:1] == ["heard"], run.stderr
    assert run.stdout.split()[1:2] == [str(freed)], run.stderr
