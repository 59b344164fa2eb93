"""Options of all studies, and their last lines: one sentence to act on, and the caution."""

import shlex
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from raysim.cli.common import SCENE, Teller, quiet_option
from raysim.cli.given import PLACE, FiniteRange

if TYPE_CHECKING:
    from raysim.scene.build import BuiltScene
    from raysim.transport.options import RunOptions

OUT = click.option("--out", type=PLACE, help="Folder of the results.")
SEED = click.option(
    "--seed",
    type=click.IntRange(0, 2**64 - 1),
    default=1,
    show_default=True,
    help="Key of the random numbers.",
)
THREADS = click.option("--threads", type=click.IntRange(1, 1024), help="Threads [all cores].")
JSON = click.option("--json", "as_json", is_flag=True, help="Print result.json, and nothing else.")
QUIET = quiet_option("No progress, no warnings, no answer.")
POSE = click.option(
    "--pose", metavar="NAME", help="Which pose of a scene with several [the first]."
)
FORCE = click.option("--force", is_flag=True, help="Overwrite results that stand there.")


def study_options(command: Callable[..., None]) -> Callable[..., None]:
    """A command with the scene and the options that all studies share."""
    for option in (FORCE, QUIET, JSON, THREADS, SEED, OUT, SCENE):
        command = option(command)
    return command


def precision_option(default: float) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Option --precision of studies that settle worst faces: (worst - bound) / worst."""
    return click.option(
        "--precision",
        type=FiniteRange(0.0005, 1.0, max_open=True),
        default=default,
        show_default=True,
        help="How near the bound must come to the worst irradiance.",
    )


def tell_pose(scene: "BuiltScene", name: str | None, teller: Teller) -> None:
    """Say which pose a study looks at, where there are several and none was named."""
    names = [pose.name for pose in scene.written.pose]
    if name is None and len(names) > 1:
        teller.say(f'of {len(names)} poses this looks at the first alone, "{names[0]}"')


def run_options(seed: int, threads: int | None, teller: Teller) -> "RunOptions":
    """How to trace, from the options of the command line."""
    from raysim.transport.options import RunOptions
    from raysim.transport.threads import default_threads

    return RunOptions(seed, threads or default_threads(), teller.progress)


def command_line() -> str:
    """What was typed, to be shown in a report."""
    return shlex.join(["raysim", *sys.argv[1:]])


def show(
    folder: Path, title: str, said: tuple[str, tuple[str, ...]], as_json: bool, quiet: bool
) -> None:
    """Print the answer, its qualifications and the caution, or result.json as it was written."""
    from raysim.output.files.folder import RESULT_FILE
    from raysim.output.words.cautions import CAUTION_LINE

    if as_json:
        click.echo((folder / RESULT_FILE).read_text(encoding="utf-8"), nl=False)
        return
    if quiet:
        return
    answer, more = said
    click.echo(f"\n{title}\n")
    for line in (answer, *more):
        click.echo(click.wrap_text(line, 92, "  ", "  "))
    click.echo("\n" + click.wrap_text(CAUTION_LINE, 92, "  ", "  "))
    click.echo(f"\n  Report: {folder / 'report.html'}")
