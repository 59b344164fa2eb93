"""`raysim start`: a commented scene to begin with, or a commented wish."""

import shlex
from importlib import resources
from pathlib import Path

import click

from raysim.cli.given import PLACE
from raysim.cli.groups import with_examples

SCENE_NAME, WISH_NAME = "my_box.toml", "wish.toml"


@with_examples("start", "raysim start my_box", "raysim start my_wish --wish")
@click.argument("folder", type=PLACE, metavar="DIR")
@click.option("--wish", is_flag=True, help="A wish for 'raysim design' in place of a scene.")
def command(*, folder: Path, wish: bool) -> None:
    """Put a commented starter scene with its meshes into the new folder DIR."""
    from raysim.output.files.folder import write_new_folder
    from raysim.starter.files import mesh_files

    template, name = ("wish.toml", WISH_NAME) if wish else ("starter_scene.toml", SCENE_NAME)
    text = resources.files("raysim.starter").joinpath(template).read_text("utf-8")
    meshes = {} if wish else mesh_files()

    def fill(fresh: Path) -> None:
        (fresh / name).write_text(text, encoding="utf-8")
        for file, content in meshes.items():
            (fresh / file).write_bytes(content)

    write_new_folder(folder, fill)
    written = folder / name
    click.echo(f"Wrote {written}" + (f" and {len(meshes)} meshes" if meshes else "") + ". Next:")
    for next_step in ("design",) if wish else ("check", "dose"):
        click.echo(f"  {shlex.join(['raysim', next_step, str(written)])}")
