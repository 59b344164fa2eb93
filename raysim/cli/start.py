"""`raysim start`: a commented scene to begin with."""

import shlex
from importlib import resources
from pathlib import Path

import click

from raysim.cli.given import PLACE
from raysim.cli.groups import with_examples

SCENE_NAME = "my_box.toml"


@with_examples("start", "raysim start my_box")
@click.argument("folder", type=PLACE, metavar="DIR")
def command(*, folder: Path) -> None:
    """Put a commented starter scene with its meshes into the new folder DIR."""
    write_starter(folder)
    scene = folder / SCENE_NAME
    from raysim.starter.files import mesh_files

    click.echo(f"Wrote {scene} and {len(mesh_files())} meshes. Next:")
    for next_step in ("check", "dose"):
        click.echo(f"  {shlex.join(['raysim', next_step, str(scene)])}")


def write_starter(folder: Path) -> None:
    """Write the starter scene and its meshes into a new folder."""
    from raysim.output.files.folder import write_new_folder
    from raysim.starter.files import mesh_files

    text = resources.files("raysim.starter").joinpath("starter_scene.toml").read_text("utf-8")

    def fill(fresh: Path) -> None:
        (fresh / SCENE_NAME).write_text(text, encoding="utf-8")
        for name, content in mesh_files().items():
            (fresh / name).write_bytes(content)

    write_new_folder(folder, fill)
