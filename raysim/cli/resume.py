"""Resume an interrupted run: its checkpoint, and its original numbers."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource

from raysim.base.errors import RaysimError
from raysim.base.interrupts import hold_interrupts
from raysim.base.systems import shell_line
from raysim.dose.checkpoint import CHECKPOINT_FILE, Checkpoint


def checkpoint_in(folder: Path, resume: bool, quiet: bool) -> Checkpoint:
    """Checkpoint of a run with results in `folder`; a run that starts anew removes the old one.

    Raises
    ------
    RaysimError
        If a run is to be resumed and there is no complete checkpoint.
    """
    path = folder / CHECKPOINT_FILE
    checkpoint = Checkpoint.resumed(path) if resume else Checkpoint(path)
    if not resume:
        checkpoint.remove()
    if not quiet:
        checkpoint.tell = lambda line: click.echo(f"warning: {line}", err=True)
    return checkpoint


def run_options(typed: dict[str, Any], checkpoint: Checkpoint) -> dict[str, Any]:
    """Seed, photons, precision, lamps left out, part: as `typed`, else as in the checkpoint."""
    chosen = dict(typed)
    if checkpoint.is_resumed:
        context = click.get_current_context()
        for name in typed:
            if context.get_parameter_source(name) is ParameterSource.DEFAULT:
                chosen[name] = checkpoint.options.get(name, chosen[name])
    return chosen | {"without": tuple(chosen["without"])}


@contextmanager
def writing(checkpoint: Checkpoint) -> Iterator[None]:
    """Let Ctrl-C wait while results are written; if writing fails, tell what is kept.

    Raises
    ------
    RaysimError
        Where results cannot be written.
    """
    try:
        with hold_interrupts():
            yield
    except RaysimError as error:
        if checkpoint.path is None or not checkpoint.path.exists():
            raise
        kept = "what was traced up to the last checkpoint is kept: --resume goes on from there"
        raise RaysimError(f"{error}; {kept}") from None


def resume_line(scene: Path, folder: Path) -> str:
    """The command line that resumes a run whose results go into `folder`."""
    return shell_line(["raysim", "dose", str(scene), "--out", str(folder), "--resume"])
