"""The last line of defence: whatever happens is told in a line or two, without a traceback."""

import errno
import os
import platform
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from typing import Any, TextIO

from raysim.base.errors import printable
from raysim.base.systems import shell_line
from raysim.cli.statuses import BAD_INPUT, UNFORESEEN
from raysim.version import __version__

LONGEST_REASON = 200  # letters of an exception's own words
WHOLE = "what lies in folders of results is whole, and as it was before or after a run"


class OutputLost(OSError):
    """Standard output cannot be written, as on a full disk."""


def defended(run: Callable[[], int]) -> int:
    """Exit status of `run`, or of what went wrong in it, which is told on standard error."""
    status = 0
    with _sound_outputs():
        try:
            status = run()
            sys.stdout.flush()  # a full disk may be noticed no sooner
        except Exception as error:
            status = _told(error)
            del error
    return status


@contextmanager
def _sound_outputs() -> Iterator[None]:
    """Have all three standard streams, and let a lost line on standard error stop nothing.

    Where one was closed, the next file that is opened would take its place: a warning of some
    library would then be written into a result.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free: this one
    out, err = sys.stdout or _opened(1), sys.stderr or _opened(2)
    sys.stdout, sys.stderr = _Output(out), _Forgiving(err)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = out, err


def _opened(number: int) -> TextIO:
    return open(number, "w", encoding="utf-8", errors="backslashreplace", closefd=False)


class _Output:
    """Standard output, of which one can tell that it was this that failed.

    Whoever reads it, such as `head`, may have had enough: the work goes on, and its files with it.
    """

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        with self._failing():
            self._stream.write(text)
        return len(text)

    def flush(self) -> None:
        with self._failing():
            self._stream.flush()

    def _failing(self) -> AbstractContextManager[Any]:
        return _output_failing()


class _Forgiving(_Output):
    """Standard error: what cannot be written is lost."""

    def _failing(self) -> AbstractContextManager[Any]:
        return suppress(OSError)


@contextmanager
def _output_failing() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError:
        _give_up_output()
    except OSError as error:
        raise OutputLost(error.errno, error.strerror) from None


def _told(error: Exception) -> int:
    """Tell what happened; returns the exit status."""
    if isinstance(error, MemoryError) or getattr(error, "errno", None) == errno.ENOMEM:
        _tell(
            "raysim: the memory of this machine ran out. Mend: close other programs, choose longer "
            f"edges or simpler meshes, or take a larger machine; {WHOLE}"
        )
        return BAD_INPUT
    if isinstance(error, OutputLost):
        _give_up_output()
        _tell(
            f"raysim: standard output cannot be written ({error.strerror or error}). Mend: make "
            f"room, or send it elsewhere; {WHOLE}"
        )
        return BAD_INPUT
    what = f"{type(error).__name__} {_place(error)}: {str(error)[:LONGEST_REASON]}"
    _tell(f"raysim: a fault of raysim itself ({what}); rely on nothing it told; {WHOLE}")
    report = _report(error)
    if report:
        _tell(f"raysim: Mend: report it with the file {report}, which names your files, too")
    return UNFORESEEN


def _tell(line: str) -> None:
    with suppress(Exception):  # nothing is left that could be told
        print(printable(line), file=sys.stderr, flush=True)


def _give_up_output() -> None:
    """Send nothing more to standard output, not even what it still holds when the program ends."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _place(error: Exception) -> str:
    """Where in this program an exception came from."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [frame for frame in frames if "raysim" in frame.filename] or frames
    return f"in {os.path.basename(own[-1].filename)}, line {own[-1].lineno}" if own else ""


def _report(error: Exception) -> str:
    """Name of a new file that tells all about an exception; "" where none can be written."""
    lines = [
        f"raysim {__version__}, Python {platform.python_version()}, {platform.platform()}",
        shell_line([repr(word) for word in sys.argv]),
        "",
        *traceback.format_exception(error),
    ]
    try:
        handle, name = tempfile.mkstemp(prefix="raysim-report-", suffix=".txt")
        with open(handle, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write("\n".join(lines))
    except OSError:
        return ""
    return name
