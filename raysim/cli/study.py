"""Options of all studies, and their last lines: one sentence to act on, and the caution."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from raysim.base.errors import RaysimError
from raysim.cli.common import SCENE, Teller, quiet_option
from raysim.cli.given import PLACE, FiniteRange

if TYPE_CHECKING:
    from raysim.scene.build import BuiltScene

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


def in_one_pose(scene: "BuiltScene", teller: Teller, name: str | None = None) -> "BuiltScene":
    """The scene in the pose `name`, else in the first one, with a notice; the title names the pose.

    Raises
    ------
    RaysimError
        For an unknown name.
    """
    names = [pose.name for pose in scene.written.pose]
    if name is None:
        if len(names) > 1:
            teller.say(f'of {len(names)} poses this looks at the first alone, "{names[0]}"')
        return _titled(scene, 0)
    folded = [own.casefold() for own in names]
    if name.casefold() not in folded:
        known = " or ".join(f'"{own}"' for own in names) or "leave --pose out: there are none"
        raise RaysimError(f'--pose "{name}": no pose has this name. Mend: {known}')
    return _titled(scene, folded.index(name.casefold()))


def _titled(scene: "BuiltScene", number: int) -> "BuiltScene":
    """The scene in one pose; the title names the pose if there are several."""
    alone = scene.in_pose(number)
    if len(scene.written.pose) < 2:
        return alone
    title = f'{scene.written.title} (pose "{alone.poses[0].name}")'
    return replace(alone, written=alone.written.model_copy(update={"title": title}))


def compile_notice(teller: Teller) -> None:
    """Say once that the first run on a machine compiles."""
    teller.compiling()


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
