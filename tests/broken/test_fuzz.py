"""The fuzzer for a short and for a long time; `fuzz.py` runs it by hand."""

import os
import time

import pytest
from fuzz import KINDS, fuzz

SHORT = 6  # cases of each kind
SECONDS = float(os.environ.get("RAYSIM_FUZZ_SECONDS", "600"))  # of the long form


def test_a_few_odd_files_are_answered(kennel, record_property):
    fuzzed(*fuzz(kennel, list(KINDS), 1, 0, lambda number: number >= SHORT), record_property)


@pytest.mark.slow
def test_many_odd_files_are_answered(kennel, record_property):
    end = time.monotonic() + SECONDS
    until = lambda number: time.monotonic() > end  # noqa: E731
    fuzzed(*fuzz(kennel, list(KINDS), 2, 0, until), record_property)


def fuzzed(count, wrong, record_property) -> None:
    """Note how many cases of each kind were answered, and assert that all were."""
    for kind in KINDS:
        well = count[kind] - sum(f"--kind {kind}" in text for text in wrong)
        what = f"{kind} files from the fuzzer: answered in lines, no traceback, no signal"
        record_property("evidence", f"{what}|{count[kind]}|{well}|")
    assert not wrong, "\n\n".join(wrong)
