"""Command lines of broken input run in children of one process."""

import pytest
from watchdog import Kennel


@pytest.fixture(scope="session")
def kennel():
    """Process that runs command lines in children of its own, under limits."""
    with Kennel() as running:
        yield running
