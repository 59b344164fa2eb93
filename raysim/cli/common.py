"""What several commands share: options, checking a scene, showing progress."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from raysim.base.errors import Fault, Level, SceneError
from raysim.cli.given import PATH

if TYPE_CHECKING:
    from raysim.scene.build import BuiltScene

SCENE = click.argument("scene", type=PATH)
COMPILING = "first run on this machine: compiling the tracer, which takes about half a minute, once"
SLOWEST_QUIET_UPDATE = 0.1  # s between two drawings of the progress bar


def quiet_option(text: str) -> Callable[[Any], Any]:
    """The option --quiet; the rooms below the command line then log no warnings either."""
    return click.option("--quiet", is_flag=True, callback=_silence_log, help=text)


def _silence_log(context: click.Context, option: click.Parameter, quiet: bool) -> bool:
    if quiet:
        import logging

        log = logging.getLogger("raysim")
        log.setLevel(logging.CRITICAL)
        context.call_on_close(lambda: log.setLevel(logging.NOTSET))
    return quiet


def checked_scene(
    path: Path, teller: "Teller | None" = None
) -> tuple["BuiltScene", tuple[Fault, ...]]:
    """A scene without errors, and the warnings about it.

    The checks run compiled code. So `teller` tells here that the first run compiles, and a second
    process starts to compile the code that is needed later. `teller` also shows the progress.

    Raises
    ------
    SceneError
        With every fault found.
    """
    from raysim.dose.simulate import load_scene
    from raysim.scene.check.check import check_scene
    from raysim.transport.precompile import compile_ahead
    from raysim.transport.threads import default_threads

    teller = teller or Teller(quiet=True)
    with teller.passing_bar():
        scene = load_scene(path, teller.progress)
    teller.compiling()
    context = click.get_current_context(silent=True)
    asked = context.params.get("threads") if context else None
    compile_ahead(asked or default_threads())
    with teller.passing_bar():
        faults = check_scene(scene, teller.progress)
    if any(fault.level is Level.ERROR for fault in faults):
        raise SceneError(faults)
    return scene, tuple(faults)


def surface_mend(name: str) -> str:
    """How to mend an unknown name of a surface: the nearest names."""
    from raysim.library.surfaces import UnknownSurface, find_surface

    try:
        find_surface(name)
    except UnknownSurface as error:
        near = " or ".join(f'"{close}"' for close in error.nearest[:3])
        return f"did you mean {near}?" if near else "'raysim materials' lists all"
    return f"'raysim materials {name}' shows it"


class Teller:
    """Tells on standard error what is going on: a bar on a terminal, nothing in a pipe."""

    def __init__(self, quiet: bool) -> None:
        self.quiet = quiet
        self.live = not quiet and sys.stderr.isatty()
        self._bar: Any = None
        self._task: Any = None
        self._what = ""
        self._shown = 0.0
        self._told_of_compiling = False

    def notice(self, what: str) -> None:
        """A line of passing interest, on a terminal only."""
        if self.live:
            click.echo(f"{what} ...", err=True)

    def compiling(self) -> None:
        """Say once, on a terminal, that the first run on a machine takes longer."""
        from raysim.kernels.compile import is_warm

        if self.live and not self._told_of_compiling and not is_warm("trace_backward"):
            self.notice(COMPILING)
        self._told_of_compiling = True

    def say(self, what: str) -> None:
        """An important line, unless asked to be quiet."""
        if not self.quiet:
            click.echo(f"note: {what}", err=True)

    def warn(self, faults: tuple[Fault, ...]) -> None:
        """Warnings, one line each, unless asked to be quiet."""
        if not self.quiet:
            for fault in faults:
                click.echo(f"warning: {fault}", err=True)

    def progress(self, what: str, done: float, whole: float) -> None:
        """Update the bar; a `Progress` callback for all long work."""
        if self._bar is None:
            return
        if what != self._what:
            self._what = what
            self._task = self._bar.add_task(what, total=whole)
        now = time.monotonic()
        if now - self._shown > SLOWEST_QUIET_UPDATE or done >= whole:
            self._bar.update(self._task, completed=done, total=whole)
            self._shown = now

    def bar(self) -> AbstractContextManager[None]:
        """A progress bar with the rate and the remaining time, while the block runs."""
        return self._bar_that(stays=True)

    def passing_bar(self) -> AbstractContextManager[None]:
        """The same for work that is mostly quick: the bar disappears when the block ends."""
        return self._bar_that(stays=False)

    @contextmanager
    def _bar_that(self, stays: bool) -> Iterator[None]:
        if not self.live:
            yield
            return
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
        from rich.progress import TimeRemainingColumn as Remaining

        columns = (
            TextColumn("{task.description}"),
            BarColumn(),
            TextColumn("{task.percentage:>3.0f} %"),
            _RateColumn(),
            TextColumn("left"),
            Remaining(),
            TextColumn("run"),
            TimeElapsedColumn(),
        )
        self._what = ""
        console = Console(stderr=True)
        with Progress(*columns, console=console, transient=not stays) as self._bar:
            yield
        self._bar = None


def _RateColumn() -> Any:  # noqa: N802
    """Photons per second, in millions; blank for other work."""
    from rich.progress import ProgressColumn
    from rich.text import Text

    class Rate(ProgressColumn):
        def render(self, task: Any) -> Text:
            if not task.speed or (task.total or 0) <= 1:
                return Text("")
            return Text(f"{task.speed / 1e6:.2f} million/s")

    return Rate()
