"""`raysim leak`: stray light outside gaps."""

from pathlib import Path

import click

from raysim.cli.common import SCENE, Teller, checked_scene, quiet_option
from raysim.cli.groups import examples
from raysim.cli.study import POSE, SEED, THREADS, in_one_pose
from raysim.output.words.cautions import CAUTION_LINE


@click.command(
    name="leak",
    epilog=examples("raysim leak my_box/my_box.toml", "raysim leak my_box/my_box.toml --json"),
)
@SCENE
@POSE
@SEED
@THREADS
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
@quiet_option("No warnings.")
def command(
    scene: Path, pose: str | None, seed: int, threads: int | None, as_json: bool, quiet: bool
) -> None:
    """Stray UVC outside the gaps of SCENE, and how long a person may stay there.

    A gap is a table [[gap]] with wall, from, to (ends of its middle line on the inside of the
    wall), width, depth (of the wall) and distance (of a person); kind = "rabbet" with step makes
    two bends of it. Its own walls take the lining's reflectance unless reflectance is given.
    """
    from raysim.output.files.folder import json_text
    from raysim.output.words.leaks import (
        gap_words,
        leak_record,
        leak_table,
        limit_lines,
        pose_words,
    )
    from raysim.studies.leak.study import leaks

    teller = Teller(quiet or as_json)
    built, warnings = checked_scene(scene, teller)
    teller.warn(tuple(fault for fault in warnings if fault.key != "gap"))
    poses = [entry.name for entry in built.written.pose]
    built = in_one_pose(built, teller, pose)
    teller.notice("looking through the gaps")
    found = leaks(built, seed, threads)
    if as_json:
        click.echo(json_text(leak_record(built, found, seed, poses)), nl=False)
        return
    click.echo(f"\n{built.written.title}: stray light outside\n")
    table = leak_table(found)
    for row in table.rows:
        for heading, cell in zip(table.headings, row, strict=True):
            click.echo(f"  {heading}: {cell}")
        click.echo("")
    for line in [*gap_words(found), *pose_words(built, poses), *limit_lines(built), CAUTION_LINE]:
        click.echo(click.wrap_text(line, 92, "  ", "  "))
