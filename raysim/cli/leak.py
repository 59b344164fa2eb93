"""`raysim leak`: stray light outside gaps."""

from pathlib import Path

import click

from raysim.cli.answers import tell_study
from raysim.cli.common import (
    POSE,
    SCENE,
    SEED,
    THREADS,
    Teller,
    checked_scene,
    quiet_option,
)
from raysim.cli.groups import with_examples
from raysim.cli.study import run_options, tell_pose


@with_examples("leak", "raysim leak my_box/my_box.toml", "raysim leak my_box/my_box.toml --json")
@SCENE
@POSE
@SEED
@THREADS
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
@quiet_option("No warnings.")
def command(
    *, scene: Path, pose: str | None, seed: int, threads: int | None, as_json: bool, quiet: bool
) -> None:
    """Stray UVC outside the gaps of SCENE, and how long a person may stay there.

    A gap is a table [[gap]] with wall, from, to (ends of its middle line on the inside of the
    wall), width, depth (of the wall) and distance (of a person). around = { z = 840 } in place of
    wall, from and to is a seam all round the box at that height, such as that of a drum's lid;
    points is any other line. kind = "rabbet" with step makes two bends of it. Its own walls take
    the lining's reflectance unless reflectance is given.
    """
    from raysim.output.studies.leak import json_of
    from raysim.output.words.leaks import answer, leak_table, rows
    from raysim.studies.leak import study

    teller = Teller(quiet or as_json)
    built, warnings = checked_scene(scene, teller)
    teller.warn(tuple(fault for fault in warnings if fault.key != "gap"))
    tell_pose(built, pose, teller)
    teller.notice("looking through the gaps")
    found = study(built, pose=pose, options=run_options(seed, threads, teller))
    if as_json:
        click.echo(json_of(found), nl=False)
        return
    title = f"{found.scene.written.title}: stray light outside"
    tell_study(title, answer(found), leak_table(found), rows(found))
