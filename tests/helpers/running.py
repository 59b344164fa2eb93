"""Run the program as a user does, in a folder of its own.

`raysim_said` runs it inside the process of the tests, which saves two seconds of imports each time,
and in small batches of photons, of which the shortest run takes sixteen, with as much fewer paths
for meters, lamp failures and the uncertainty budget, and lines through gaps.
Where the process itself matters (its environment, its signals, its outputs as bytes, what it
imports) stands `process_said`.
"""

import contextlib
import io
import math
import os
import subprocess
import sys
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any
from unittest import mock

import pytest

import raysim
import raysim.cli
import raysim.transport.poses
from raysim.assess import uncertainty
from raysim.cli.statuses import UNFORESEEN
from raysim.dose import simulate, trace_failures
from raysim.output.pictures import draw
from raysim.output.words.cautions import CAUTION_LINE
from raysim.studies.design import chosen, finals, relax, search
from raysim.studies.design import run as design_run
from raysim.studies.lamps import board
from raysim.studies.lamps import trace as lamps_trace
from raysim.studies.leak import brightest
from raysim.studies.leak import run as leak_run
from raysim.studies.linings import bench, compare
from raysim.transport.photons import BATCH_PHOTONS, PhotonRun

ENVIRONMENT = os.environ | {
    "PYTHONPATH": str(Path(raysim.__file__).parents[1]),
    "PYTHONIOENCODING": "utf-8",
}
# Enough for scenes of a few faces; photons are rounded up to whole batches.
QUICK = ("--photons", "1", "--precision", "0.2")
SMALL_BATCH = 4_096  # photons, an eighth of what a run of a user takes


@dataclass(frozen=True)
class Said:
    """What a run left: its exit status, and what it wrote to both outputs."""

    status: int
    out: str
    err: str

    @property
    def words(self) -> str:
        """Standard output with all white space as single blanks."""
        return " ".join(self.out.split())


def raysim_said(
    *words: str | Path, folder: Path, batch: int = SMALL_BATCH, painted: bool = False
) -> Said:
    """Run `raysim WORDS` in `folder`, in this process; what nobody foresaw fails the test.

    Where its numbers are held against those of another run, `batch` must be BATCH_PHOTONS. Charts
    and plans are blank unless `painted`.
    """
    out, err = io.StringIO(), io.StringIO()
    status = 0
    with (
        contextlib.chdir(folder),
        batches_of(batch),
        contextlib.nullcontext() if painted else blank_figures(),
        mock.patch.object(draw, "default_threads", return_value=1),  # each process loads VTK
        mock.patch.object(sys, "argv", ["raysim", *map(str, words)]),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        _warnings_told(err),
    ):
        try:
            raysim.cli.main()
        except SystemExit as stop:
            status = stop.code
    assert isinstance(status, int), status
    assert status != UNFORESEEN, err.getvalue()
    return Said(status, out.getvalue(), err.getvalue())


def blank_figures() -> contextlib.AbstractContextManager:
    """Have figures of matplotlib composed and written, but not painted: half of what pages cost."""
    return mock.patch("matplotlib.figure.Figure.draw", _not_painted)


def _not_painted(figure: Any, renderer: Any) -> None: ...


# What is traced in proportion to the photons of a batch.
PATHS = ((uncertainty, "PATHS"), (uncertainty, "PAIRED_PATHS"), (compare, "PAIRED_PATHS"))
PATHS += ((simulate, "METER_PATHS"), (trace_failures, "SHARE"))
PATHS += ((bench, "PHOTONS"), (lamps_trace, "BATCH_PHOTONS"), (board, "ROW_PATHS"))
LINES = ((leak_run, "LINES"), (brightest, "LINES_OUT"), (brightest, "FIRST_LINES"))
GRIDS = ((leak_run, "WALL_LINES"), (leak_run, "TUBE_LINES"))  # which are square


@contextlib.contextmanager
def batches_of(photons: int) -> Iterator[None]:
    """Have photons traced in batches of this size, and all that only adds detail in proportion."""

    def fewer(count):
        return type(count)(count * photons / BATCH_PHOTONS)

    defaults = PhotonRun.__init__.__kwdefaults__
    assert defaults["batch_photons"] == BATCH_PHOTONS
    # Most lines are those of the walks of an eye uphill; how far up it gets is of no matter here.
    walks = tuple(
        (max(fewer(eyes), 1), steps, fewer(lines) // 4) for eyes, steps, lines in brightest.WALKS
    )
    scans = tuple((fewer(lines), *more) for lines, *more in leak_run.SCANS)
    with contextlib.ExitStack() as patched:
        for module, name in PATHS + LINES + GRIDS:
            count = fewer(getattr(module, name))
            count = math.isqrt(count) ** 2 if (module, name) in GRIDS else count
            patched.enter_context(mock.patch.object(module, name, count))
        patched.enter_context(mock.patch.object(brightest, "WALKS", walks))
        patched.enter_context(mock.patch.object(leak_run, "SCANS", scans))
        patched.enter_context(
            mock.patch.dict(PhotonRun.__init__.__kwdefaults__, batch_photons=photons)
        )
        patched.enter_context(mock.patch.object(raysim.transport.poses, "BATCH_PHOTONS", photons))
        yield


@contextlib.contextmanager
def _warnings_told(err: io.StringIO) -> Iterator[None]:
    """Write Python's warnings where a process would; pytest would swallow them."""
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("default")
        for hidden in (DeprecationWarning, PendingDeprecationWarning, ImportWarning):
            warnings.simplefilter("ignore", hidden)
        warnings.simplefilter("ignore", ResourceWarning)
        yield
    for w in told:
        err.write(warnings.formatwarning(w.message, w.category, w.filename, w.lineno))


def process_said(*words: str | Path, folder: Path, **environment: str) -> Said:
    """Run `raysim WORDS` in `folder` as a process of its own, which must not show a traceback."""
    done = subprocess.run(
        [sys.executable, "-m", "raysim", *map(str, words)],
        cwd=folder,
        env=ENVIRONMENT | environment,
        capture_output=True,
        encoding="utf-8",
        stdin=subprocess.DEVNULL,
        timeout=300,
        check=False,
    )
    assert "Traceback" not in done.stderr + done.stdout, done.stderr
    return Said(done.returncode, done.stdout, done.stderr)


def shows_cautions(text: str) -> bool:
    """Whether the cautions of the terminal stand in a text, however it is wrapped."""
    return CAUTION_LINE in " ".join(text.split())


def contents(folder: Path) -> dict[str, bytes]:
    """Every file under a folder with its bytes."""
    files = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


def with_few_traces(patch: pytest.MonkeyPatch, rounds: int, first: int, full: int) -> None:
    """A search for designs of few traces, for all that does not depend on how many there are.

    Full traces are as coarse as those of studies, and lamps are chosen among few places.
    """
    patch.setattr(finals, "simulate", partial(simulate.simulate, precision=0.2))
    patch.setattr(chosen, "CANDIDATES", 12)
    patch.setattr(design_run, "ROUNDS", rounds)
    patch.setattr(relax, "ROUNDS", rounds)
    patch.setattr(finals, "MOST_FULL", full)
    for module in (search, design_run):
        patch.setattr(module, "FIRST", first)
        patch.setattr(module, "EACH", rounds)
