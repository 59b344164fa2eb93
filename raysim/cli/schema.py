"""`raysim schema`: JSON Schemas of scenes and results."""

import click

from raysim.cli.groups import with_examples
from raysim.output.files.schemas.print import schema_text
from raysim.output.files.schemas.versions import NAMES


@with_examples(
    "schema",
    "raysim schema scene > my_box/scene.schema.json",
    "raysim schema dose",
)
@click.argument("name", type=click.Choice(NAMES))
def command(*, name: str) -> None:
    """JSON Schema (draft 2020-12): "scene" of scene files, else what that command writes.

    An editor with a language server of TOML completes a scene whose first line is
    "#:schema ./scene.schema.json".
    """
    click.echo(schema_text(name), nl=False)
