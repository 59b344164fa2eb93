"""Lets these tests import the helpers that lie with the tests of scenes."""

import sys
from pathlib import Path

import pytest
from watchdog import Kennel

for helpers in ("scene", "physics", "output"):
    sys.path.insert(0, str(Path(__file__).parents[1] / helpers))


@pytest.fixture(scope="session")
def kennel():
    """Process that runs command lines in children of its own, under limits."""
    with Kennel() as running:
        yield running
