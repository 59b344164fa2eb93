"""What holds for all tests."""

import signal

import pytest
from watchdog import Kennel


@pytest.fixture(scope="session")
def kennel():
    """Process that runs command lines in children of its own, under limits."""
    with Kennel() as running:
        yield running


@pytest.fixture(scope="session")
def drawn(tmp_path_factory):
    """Pictures of the made-up result, drawn in this process into a folder that was not there."""
    import synthetic

    from raysim.output.pictures.pictures import write_pictures

    return write_pictures(synthetic.result(), tmp_path_factory.mktemp("drawn") / "new" / "folder")


def pytest_configure() -> None:
    """Hear Ctrl-C also where the suite was started in the background, which has it ignored.

    Tests of an interruption would else wait for ever, and what they start inherits it.
    """
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
