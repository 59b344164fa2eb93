"""One part of a dose run that several machines share: traced, written, no time shown."""

import sys
from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource

from raysim.base.errors import RaysimError
from raysim.cli.common import Teller
from raysim.cli.resume import resume_line, writing
from raysim.cli.statuses import INTERRUPTED
from raysim.dose.checkpoint import Checkpoint
from raysim.dose.part import PART_FILE, Part
from raysim.scene.build import BuiltScene


def folder_of(scene: Path, part: str | None) -> Path:
    """Folder of the results of a scene, or of a part of them, unless another one is named."""
    name = f"{scene.stem}_part_{part.replace('/', '_of_')}" if part else scene.stem
    return Path("results") / name


def refuse_shown(part: str | None) -> None:
    """Refuse options on how results are shown with a part: it has none.

    Raises
    ------
    RaysimError
        Where one of them was typed.
    """
    context = click.get_current_context()
    options = {"as_json": "--json", "case": "--case", "pictures": "--pictures/--no-pictures"}
    for name, option in options.items():
        if part and context.get_parameter_source(name) is not ParameterSource.DEFAULT:
            raise RaysimError(
                f"{option}: a part of a run has no results to show. Mend: leave it out, and give "
                "it to raysim join"
            )


def part_alone(
    built: BuiltScene,
    scene: Path,
    folder: Path,
    teller: Teller,
    checkpoint: Checkpoint,
    *,
    part: str,
    **run: Any,
) -> None:
    """Trace a part of a run and write its file into `folder`; `run` is as in `trace_part`."""
    from raysim.dose.parts import trace_part
    from raysim.output.files.folder import write_whole

    teller.compiling()
    with teller.bar():
        stated = trace_part(built, Part.read(part), checkpoint, progress=teller.progress, **run)
    if stated is None:
        if not teller.quiet:
            click.echo(f"\nraysim: interrupted; go on with: {resume_line(scene, folder)}", err=True)
        sys.exit(INTERRUPTED)

    def fill(staged: Path) -> None:
        checkpoint.write(staged / PART_FILE, scene=str(scene), batches=stated["batches"])

    with writing(checkpoint):
        write_whole(folder, fill)
    checkpoint.remove()
    if not teller.quiet:
        click.echo(
            f"Part {part} of the photons of {scene} is traced ({stated['own_photons']:,} of "
            f"{stated['photons']:,}) and lies in {folder / PART_FILE}. It tells no time yet: bring "
            "all parts to one machine, then: raysim join FOLDER..."
        )
