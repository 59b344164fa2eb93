"""Ctrl-C inside of callbacks, where Python forgets exceptions."""

import subprocess
import sys
import time

import pytest

SCRIPT = """
import ctypes, time
from raysim.interrupts import keep_interrupts

def callback():
    raise {kind}("in a callback")

{keep}
try:
    ctypes.CFUNCTYPE(None)(callback)()
    time.sleep({wait})
    print("went on")
except KeyboardInterrupt:
    print("heard")
"""


def said(kind, keep="keep_interrupts()", wait=30.0):
    """What the script prints, and what of the callback's exception reaches standard error."""
    script = SCRIPT.format(kind=kind, keep=keep, wait=wait)
    run = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=True
    )
    return run.stdout.strip(), run.stderr


def test_ctrl_c_in_a_callback_is_heard_a_moment_later():
    # The script waits for 30 s: heard in a thread of its own, Ctrl-C would not end that.
    began = time.monotonic()
    assert said("KeyboardInterrupt") == ("heard", "")
    assert time.monotonic() - began < 15.0


def test_without_care_it_would_be_lost():
    out, err = said("KeyboardInterrupt", keep="", wait=0.5)
    assert out == "went on"
    assert "ignored" in err


@pytest.mark.parametrize("kind", ["ValueError", "SystemExit"])
def test_other_exceptions_are_told_as_before(kind):
    out, err = said(kind, wait=0.5)
    assert out == "went on"
    assert kind in err


FAILING = """
import ctypes
import raysim.cli

def callback():
    raise {kind}("in a callback")

def fails(**words):
    ctypes.CFUNCTYPE(None)(callback)()
    raise RuntimeError("no machine code")

raysim.cli.raysim.main = fails
raysim.cli.main()
"""


def failed(kind):
    """Status of a command that fails right after a callback, and what it says."""
    script = FAILING.format(kind=kind)
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60)
    return run.returncode, run.stderr


def test_what_fails_in_the_wake_of_a_lost_ctrl_c_ends_as_interrupted():
    assert failed("KeyboardInterrupt") == (130, "raysim: interrupted; nothing was written\n")


def test_other_failures_are_not_hidden():
    status, err = failed("ValueError")
    assert status == 1
    assert "RuntimeError: no machine code" in err


def test_an_interrupt_is_due_until_it_is_heard():
    script = """
import ctypes, time
from raysim.interrupts import interrupt_is_due, keep_interrupts

def callback():
    raise KeyboardInterrupt

keep_interrupts()
print(interrupt_is_due())
try:
    ctypes.CFUNCTYPE(None)(callback)()
    print(interrupt_is_due())
    time.sleep(30.0)
except KeyboardInterrupt:
    print(interrupt_is_due())
"""
    words = [sys.executable, "-c", script]
    run = subprocess.run(words, capture_output=True, text=True, timeout=60, check=True)
    assert run.stdout.split() == ["False", "True", "False"]
