"""What differs between operating systems, and is no more than a line or two."""

import shlex
import subprocess
import sys
from collections.abc import Sequence

LOWEST_CRASH = 0x8000_0000  # NTSTATUS codes of severity "error" on Windows, such as 0xC0000005


def shell_line(words: Sequence[str]) -> str:
    """A command as it is typed: quoted for cmd.exe and PowerShell on Windows, for sh elsewhere.

    >>> shell_line(["raysim", "check", "my box.toml"]).replace('"', "'")
    "raysim check 'my box.toml'"
    """
    return subprocess.list2cmdline(words) if sys.platform == "win32" else shlex.join(words)


def crashed(status: int) -> bool:
    """Whether an exit status says that the system ended the process: a signal, or an exception.

    >>> crashed(-11), crashed(0xC0000005), crashed(1)
    (True, True, False)
    """
    return status < 0 or status >= LOWEST_CRASH
