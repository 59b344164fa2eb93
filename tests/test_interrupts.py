"""Ctrl-C inside of callbacks, where Python forgets exceptions."""

import subprocess
import sys

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
    assert said("KeyboardInterrupt") == ("heard", "")


def test_without_care_it_would_be_lost():
    out, err = said("KeyboardInterrupt", keep="", wait=0.5)
    assert out == "went on"
    assert "ignored" in err


@pytest.mark.parametrize("kind", ["ValueError", "SystemExit"])
def test_other_exceptions_are_told_as_before(kind):
    out, err = said(kind, wait=0.5)
    assert out == "went on"
    assert kind in err
