"""What several commands share: options, checking a scene, showing progress."""

import json
import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from raysim.base.errors import Fault, RaysimError, SceneError, any_error
from raysim.base.progress import PROGRESS_VARIABLE
from raysim.base.units import minutes_seconds
from raysim.cli.given import PATH
from raysim.cli.groups import together

if TYPE_CHECKING:
    from raysim.library.surfaces import Surface
    from raysim.scene.build import BuiltScene


def _open_scene(context: click.Context, argument: click.Parameter, path: Path) -> Path:
    """The scene file that was named; a parcel is unpacked until the program ends."""
    from raysim.scene.file.parcel import opened

    return context.find_root().with_resource(opened(path))


# Read first: lengths of other options are in its unit.
SCENE = click.argument("scene", type=PATH, callback=_open_scene, is_eager=True)
SEED = click.option(
    "--seed", type=click.IntRange(0, 2**64 - 1), default=1, help="Key of the random numbers."
)


def _choose_device(context: click.Context, option: click.Parameter, name: str) -> None:
    if name != "cpu":
        from raysim.transport.device import on_device

        context.find_root().with_resource(on_device(name))


THREADS = together(
    click.option("--threads", type=click.IntRange(1, 1024), help="Threads [all cores]."),
    click.option(
        "--device",
        type=click.Choice(("cpu", "cuda")),
        default="cpu",
        callback=_choose_device,
        expose_value=False,
        help="Trace on a graphics card.",
    ),
)
JSON = click.option("--json", "as_json", is_flag=True, help="Print result.json, and nothing else.")
FORCE = click.option("--force", is_flag=True, help="Overwrite results that stand there.")
POSE = click.option(
    "--pose", metavar="NAME", help="Which pose of a scene with several [the first]."
)
COMPILING = "first run on this machine: compiling the tracer, which takes about half a minute, once"
SLOWEST_QUIET_UPDATE = 0.1  # s between two drawings of the progress bar
SOONEST_GUESS = 0.05  # share done from which on the remaining time is guessed


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


def checked_scene(path: Path, teller: "Teller") -> tuple["BuiltScene", tuple[Fault, ...]]:
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

    with teller.bar(passing=True):
        scene = load_scene(path, teller.progress)
    teller.compiling()
    context = click.get_current_context(silent=True)
    asked = context.params.get("threads") if context else None
    compile_ahead(asked or default_threads())
    with teller.bar(passing=True):
        faults = check_scene(scene, teller.progress)
    if any_error(faults):
        raise SceneError(faults)
    return scene, tuple(faults)


def kept_scene(scene: Path, teller: "Teller") -> Path:
    """The scene itself; of a parcel, one that stays: unpacked into a new folder with its meshes.

    For what leaves scene files behind that name the meshes of this one.

    Raises
    ------
    RaysimError
        Where that folder stands there already.
    """
    import shutil

    from raysim.output.files.folder import write_new_folder
    from raysim.scene.file.named import parcel_of

    parcel = parcel_of(scene)
    if parcel is None:
        return scene
    inside = Path(parcel.manifest["scene"]["file"])
    folder = Path(f"{parcel.path.stem}_scene")
    kept = folder / inside
    if folder.exists():
        raise RaysimError(
            f"{parcel.path}: it would be unpacked into {folder}, which stands there already. Mend: "
            f"name the scene in it, {kept}, or move that folder"
        )
    place = scene.parents[len(inside.parts) - 1]

    def fill(fresh: Path) -> None:
        of_results = shutil.ignore_patterns("results", "guide")
        shutil.copytree(place, fresh, ignore=of_results, dirs_exist_ok=True)

    write_new_folder(folder, fill)
    teller.say(f"unpacked into {folder}, to be kept: what is written names the meshes in it")
    return kept


def named_surface(name: str, unknown: str) -> "Surface":
    """The surface of this name; where there is none, `unknown` is told with the nearest names.

    Raises
    ------
    RaysimError
        If no surface has this name or alias.
    """
    from raysim.library.surfaces import UnknownSurface, find_surface

    try:
        return find_surface(name)
    except UnknownSurface as error:
        raise RaysimError(f"{unknown}. Mend: {error.mend}") from None


class Teller:
    """Tells on standard error what is going on: a bar on a terminal, nothing in a pipe."""

    def __init__(self, quiet: bool) -> None:
        self.quiet = quiet
        self.live = not quiet and sys.stderr.isatty()
        self._bar: Any = None
        self._tasks: dict[str, Any] = {}
        self._shown = self._written = 0.0
        self._told_of_compiling = False
        self._file = os.environ.get(PROGRESS_VARIABLE)

    def notice(self, what: str) -> None:
        """A line of passing interest, on a terminal only."""
        self._write(what, 0.0)
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

    def warn(self, faults: Iterable[Fault]) -> None:
        """Warnings, one line each, unless asked to be quiet."""
        if not self.quiet:
            for fault in faults:
                click.echo(f"warning: {fault}", err=True)

    def progress(self, what: str, done: float, whole: float) -> None:
        """Update the bar; a `Progress` callback for all long work."""
        self._write(what, done / whole)
        if self._bar is None:
            return
        task = self._tasks.get(what)
        if task is None:
            task = self._tasks[what] = self._bar.add_task(what, total=whole, begun=done / whole)
        elif self._bar.tasks[task].finished and done < whole:  # the same work on the next piece
            self._bar.reset(task, total=whole, begun=done / whole)
        now = time.monotonic()
        if now - self._shown > SLOWEST_QUIET_UPDATE or done >= whole:
            self._bar.update(task, completed=done, total=whole)
            self._shown = now

    def _write(self, what: str, share: float) -> None:
        """Tell the page that started this command, if one did; a file, so that any system can."""
        now = time.monotonic()
        if self._file and now - self._written > SLOWEST_QUIET_UPDATE:
            self._written = now
            with suppress(OSError):
                Path(self._file).write_text(json.dumps({"what": what, "share": share}))

    @contextmanager
    def bar(self, passing: bool = False) -> Iterator[None]:
        """A progress bar with the remaining time, while the block runs; a line of 80 letters.

        For work that is mostly quick, a `passing` one: it disappears when the block ends.
        """
        if not self.live:
            yield
            return
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn

        columns = (
            TextColumn("{task.description}"),
            BarColumn(bar_width=16),
            TextColumn("{task.percentage:>3.0f} %"),
            _LeftColumn(),
        )
        self._tasks = {}
        console = Console(stderr=True)
        with Progress(*columns, console=console, transient=passing) as self._bar:
            yield
        self._bar = None


def time_left(share: float, elapsed: float, begun: float = 0.0) -> str:
    """How long some work will take yet, from its share done and the time (s) since `begun` of it.

    Nothing is said of its first twentieth, which says little of the rest.
    """
    done, rest = share - begun, 1.0 - share
    if not (rest > 0.0 and done >= SOONEST_GUESS * (1.0 - begun)):
        return ""
    left = elapsed * rest / done
    if left < 90.0:
        return f"about {max(10.0 * round(left / 10.0), 10.0):.0f} s left"
    return (
        f"about {left / 60.0:.0f} min left"
        if left < 5400.0
        else f"about {left / 3600.0:.0f} h left"
    )


def _LeftColumn() -> Any:  # noqa: N802
    """The remaining time in words, at the end how long it took."""
    from rich.progress import ProgressColumn
    from rich.text import Text

    class Left(ProgressColumn):
        def render(self, task: Any) -> Text:
            if task.finished:
                return Text(f"took {minutes_seconds(task.finished_time)}")
            share, begun = task.percentage / 100.0, task.fields["begun"]
            return Text(time_left(share, task.elapsed or 0.0, begun))

    return Left()
