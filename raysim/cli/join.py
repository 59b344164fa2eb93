"""`raysim join`: the parts of a dose run, traced on several machines, put together."""

from pathlib import Path
from typing import Any

import click

from raysim.base.errors import RaysimError
from raysim.cli.common import FORCE, THREADS, Teller, checked_scene
from raysim.cli.dose import QUIET, SHOWN, worked_out
from raysim.cli.given import PATH, PLACE
from raysim.cli.groups import with_examples


@with_examples(
    "join",
    "raysim join part_1 part_2 part_3",
    "raysim join parts/* --scene my_box/my_box.toml --out results/tuesday",
)
@click.argument("parts", metavar="FOLDER...", type=PATH, nargs=-1, required=True)
@click.option("--scene", type=PATH, help="The scene [where it lay for one of the parts].")
@click.option("--out", type=PLACE, help="Folder of the results [results/NAME].")
@THREADS
@SHOWN
@QUIET
@FORCE
def command(
    *,
    parts: tuple[Path, ...],
    scene: Path | None,
    out: Path | None,
    threads: int | None,
    force: bool,
    case: str,
    as_json: bool,
    pictures: bool,
    quiet: bool,
) -> None:
    """One result from the FOLDERs of all parts of a dose run (`raysim dose --part`).

    Scene, options, versions and parts have to fit together, none twice and none missing. It goes
    on as `raysim dose` with these options would, and writes what that writes, to the last bit.
    Broken off, it goes on by `raysim dose SCENE --out FOLDER --resume`.
    """
    from raysim.cli.part import folder_of
    from raysim.dose.checkpoint import CHECKPOINT_FILE
    from raysim.dose.parts import joined
    from raysim.output.files.folder import claimed
    from raysim.scene.file.named import named
    from raysim.scene.file.parcel import opened

    context = click.get_current_context()
    checkpoint, names = joined(parts)
    place = context.find_root().with_resource(opened(scene or _scene_here(names)))
    teller = Teller(quiet or as_json)
    built, warnings = checked_scene(place, teller)
    folder = out or folder_of(named(place), None)
    _refuse_own(folder, parts)
    context.with_resource(claimed(folder, force, False, named(place)))
    checkpoint.path = folder / CHECKPOINT_FILE
    if not quiet:
        checkpoint.tell = lambda line: click.echo(f"warning: {line}", err=True)
    teller.warn(warnings)
    run: dict[str, Any] = checkpoint.options | {"threads": threads}
    worked_out(
        built,
        place,
        folder,
        checkpoint,
        warnings=warnings,
        run=run | {"without": tuple(run["without"])},
        shown={"case": case, "pictures": pictures},
        as_json=as_json,
        quiet=quiet,
    )


def _scene_here(names: list[str]) -> Path:
    """The first of these files that is on this machine."""
    for name in names:
        if Path(name).is_file():
            return Path(name)
    known = ", ".join(dict.fromkeys(names))
    raise RaysimError(
        f"the scene of these parts is not here ({known}). Mend: name it by --scene SCENE"
    )


def _refuse_own(folder: Path, parts: tuple[Path, ...]) -> None:
    """Refuse to write over a part."""
    if folder.resolve() in {(p if p.is_dir() else p.parent).resolve() for p in parts}:
        raise RaysimError(
            f"--out {folder}: a part lies there. Mend: name another folder with --out"
        )
