"""What the commands of all studies share: options, and the way from the scene to the answer."""

import math
import signal
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from raysim.base.systems import shell_line
from raysim.cli.answers import tell_answer, tell_json
from raysim.cli.common import (
    FORCE,
    JSON,
    SCENE,
    SEED,
    THREADS,
    Teller,
    checked_scene,
    kept_scene,
    quiet_option,
)
from raysim.cli.given import PLACE, PRECISION
from raysim.cli.groups import together
from raysim.cli.statuses import INTERRUPTED, NO_FINITE_TIME

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from raysim.scene.build import BuiltScene
    from raysim.transport.options import RunOptions

OUT = click.option("--out", type=PLACE, help="Folder of the results.")
QUIET = quiet_option("No progress, no warnings, no answer.")


def _connect(context: click.Context, option: click.Parameter, address: str | None) -> Any:
    """The workers at an address, until the program ends."""
    if address is None:
        return None
    from raysim.transport.cluster import workers_at

    return context.find_root().with_resource(workers_at(address))


# For studies of many independent pieces.
CLUSTER = click.option(
    "--cluster",
    "executor",
    metavar="ADDRESS",
    callback=_connect,
    help="Of a dask scheduler, whose workers trace.",
)
# The scene and the options that all studies share; `run_study` takes them.
study_options = together(SCENE, OUT, SEED, THREADS, JSON, QUIET, FORCE)


def precision_option(default: float) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Option --precision of studies that settle worst faces: (worst - bound) / worst."""
    text = "How near the bound must come to the worst irradiance."
    return click.option("--precision", type=PRECISION, default=default, help=text)


def tell_pose(scene: "BuiltScene", name: str | None, teller: Teller) -> None:
    """Say which pose a study looks at, where there are several and none was named."""
    names = [pose.name for pose in scene.written.pose]
    if name is None and len(names) > 1:
        teller.say(f'of {len(names)} poses this looks at the first alone, "{names[0]}"')


def run_options(
    seed: int, threads: int | None, teller: Teller, executor: "Executor | None" = None
) -> "RunOptions":
    """How to trace, from the options of the command line."""
    from raysim.transport.options import RunOptions
    from raysim.transport.threads import default_threads

    return RunOptions(seed, threads or default_threads(), teller.progress, executor)


def run_study(
    name: str,
    title: Callable[[Any], str],
    *,
    scene: Path,
    out: Path | None,
    pose: str | None,
    seed: int,
    threads: int | None,
    as_json: bool,
    quiet: bool,
    force: bool,
    executor: "Executor | None" = None,
    **asked: Any,
) -> Any:
    """Run `study` of raysim.studies.NAME, write what it found, and tell the answer.

    `title` says what stands above the answer; `asked` is what this study alone takes. Returns what
    was found.
    """
    from raysim.output.files.folder import claimed

    teller = Teller(quiet or as_json)
    built, warnings = checked_scene(scene, teller)
    scene = built.name
    folder = out or Path("results") / f"{scene.stem}_{name}"
    click.get_current_context().with_resource(claimed(folder, force, scene=scene))
    teller.warn(warnings)
    tell_pose(built, pose, teller)
    teller.compiling()
    options = run_options(seed, threads, teller, executor)
    with teller.bar():
        study = import_module(f"raysim.studies.{name}").study
        found = study(built, pose=pose, options=options, **asked)
    import_module(f"raysim.output.studies.{name}").write(found, folder, command=typed())
    words = import_module(f"raysim.output.words.{name}")
    if as_json:
        tell_json(folder)
    elif not quiet:
        tell_answer(title(found), (words.answer(found), *words.more_lines(found)))
        click.echo(f"\n  Report: {folder / 'report.html'}")
    return found


def run_search(
    name: str, title: Callable[[Any], str], given: dict[str, Any], asked: Callable[..., Any]
) -> None:
    """Run a study that leaves scene files behind, from all that was typed, and exit.

    `asked` makes of it what `run_study` takes.
    """
    given["scene"] = kept_scene(given["scene"], Teller(given["quiet"] or given["as_json"]))
    words = asked(**given)
    end_like_ctrl_c()
    found = run_study(name, title, **words)
    leave(found.interrupted, math.isfinite(found.best.best.time))


def typed() -> str:
    """The command line that repeats what is run (definition)."""
    return shell_line(["raysim", *sys.argv[1:]])


def end_like_ctrl_c() -> None:
    """Let a time limit end this command as Ctrl-C does."""
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    click.get_current_context().call_on_close(lambda: signal.signal(signal.SIGTERM, before))


def leave(interrupted: bool, has_time: bool) -> None:
    """End with the status that tells of a study broken off, or without a finite time."""
    if interrupted:
        click.echo("raysim: interrupted; what was known by then was written", err=True)
        sys.exit(INTERRUPTED)
    if not has_time:
        sys.exit(NO_FINITE_TIME)
