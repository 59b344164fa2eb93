"""`raysim start`: a commented scene to begin with."""

from pathlib import Path

import click

from raysim.base.systems import shell_line
from raysim.cli.given import PLACE
from raysim.cli.groups import with_examples

SCENE_NAME = "my_box.toml"


@with_examples("start", "raysim start my_box", "raysim start demo --demo")
@click.argument("folder", type=PLACE, metavar="DIR")
@click.option(
    "--demo", is_flag=True, help="The demo in place of it: a tool locker, six respirators."
)
def command(*, folder: Path, demo: bool) -> None:
    """Put a commented starter scene with its meshes into the new folder DIR.

    Beside it lies a schema, by which an editor with a language server of TOML completes keys.
    """
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
    scene = folder / name
    click.echo(f"Wrote {scene} and {len(mesh_files())} meshes. Next:")
    for next_step in ("check", "dose"):
        click.echo(f"  {shell_line(['raysim', next_step, str(scene)])}")
