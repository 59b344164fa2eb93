"""`raysim start`: a commented scene to begin with, or a commented wish."""

from pathlib import Path

import click

from raysim.base.systems import shell_line
from raysim.cli.given import PLACE
from raysim.cli.groups import with_examples


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
    from raysim.output.files.beginnings import write_starter, write_wish
    from raysim.starter.files import mesh_files

    if demo and wish:
        raise click.UsageError("--demo and --wish are two things. Mend: leave one out")
    if wish:
        written, meshes, steps = write_wish(folder), "", ["design"]
    else:
        written = write_starter(folder, demo)
        meshes, steps = f" and {len(mesh_files())} meshes", ["check", "dose"]
    click.echo(f"Wrote {written}{meshes}. Next:")
    for next_step in steps:
        click.echo(f"  {shell_line(['raysim', next_step, str(written)])}")
