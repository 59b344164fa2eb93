"""`raysim start`: a commented scene to begin with, or a commented wish."""

from pathlib import Path

import click

from raysim.base.systems import shell_line
from raysim.cli.given import PLACE
from raysim.cli.groups import with_examples

SCENE_NAME, WISH_NAME = "my_box.toml", "wish.toml"


@with_examples("start", "raysim start my_box", "raysim start demo --demo", "raysim start w --wish")
@click.argument("folder", type=PLACE, metavar="DIR")
@click.option(
    "--demo", is_flag=True, help="The demo in place of it: a tool locker, six respirators."
)
@click.option("--wish", is_flag=True, help="A wish for 'raysim design' in place of a scene.")
def command(*, folder: Path, demo: bool, wish: bool) -> None:
    """Put a commented starter scene with its meshes into the new folder DIR.

    Beside it lies a schema, by which an editor with a language server of TOML completes keys.
    """
    from raysim.starter.files import mesh_files

    if demo and wish:
        raise click.UsageError("--demo and --wish are two things. Mend: leave one out")
    if wish:
        written, meshes, steps = _write_wish(folder), "", ["design"]
    else:
        written = write_starter(folder, demo)
        meshes, steps = f" and {len(mesh_files())} meshes", ["check", "dose"]
    click.echo(f"Wrote {written}{meshes}. Next:")
    for next_step in steps:
        click.echo(f"  {shell_line(['raysim', next_step, str(written)])}")


def write_starter(folder: Path, demo: bool = False) -> Path:
    """Write the starter scene, or the demo, with its meshes and schema into a new folder."""
    from raysim.output.files.folder import write_new_folder
    from raysim.output.files.schemas.print import schema_text
    from raysim.output.files.schemas.versions import IN_FIRST_LINE, SCENE, SCENE_FILE
    from raysim.starter.files import mesh_files
    from raysim.starter.scenes import DEMO, demo_text, starter_text

    name, text = (DEMO, demo_text()) if demo else (SCENE_NAME, starter_text())

    def fill(fresh: Path) -> None:
        (fresh / name).write_text(IN_FIRST_LINE + text, encoding="utf-8")
        (fresh / SCENE_FILE).write_text(schema_text(SCENE), encoding="utf-8")
        for mesh, content in mesh_files().items():
            (fresh / mesh).write_bytes(content)

    write_new_folder(folder, fill)
    return folder / name


def _write_wish(folder: Path) -> Path:
    from raysim.output.files.folder import write_new_folder
    from raysim.starter.scenes import wish_text

    def fill(fresh: Path) -> None:
        (fresh / WISH_NAME).write_text(wish_text(), encoding="utf-8")

    write_new_folder(folder, fill)
    return folder / WISH_NAME
