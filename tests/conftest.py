"""What holds for all tests."""

import signal


def pytest_configure() -> None:
    """Hear Ctrl-C also where the suite was started in the background, which has it ignored.

    Tests of an interruption would else wait for ever, and what they start inherits it.
    """
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
