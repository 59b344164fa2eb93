"""`raysim compare`: two boxes or results side by side."""

from pathlib import Path

import click

from raysim.cli.answers import tell_answer, tell_json
from raysim.cli.common import FORCE, JSON, Teller, quiet_option
from raysim.cli.given import PATH, PLACE
from raysim.cli.groups import with_examples
from raysim.cli.study import typed


@with_examples(
    "compare",
    "raysim compare scenes/clinic_locker.toml my_box/my_box.toml",
    "raysim compare results/monday results/tuesday/result.json --out results/two_days",
    "raysim compare my_box/my_box.toml from_ward_3.zip --json --no-pictures",
)
@click.argument("first", type=PATH, metavar="A")
@click.argument("second", type=PATH, metavar="B")
@click.option("--out", type=PLACE, help="Folder of the page [results/compared].")
@JSON
@click.option("--pictures/--no-pictures", default=True, help="Draw both dose maps.")
@quiet_option("No warnings, no answer.")
@FORCE
def command(
    *,
    first: Path,
    second: Path,
    out: Path | None,
    as_json: bool,
    pictures: bool,
    quiet: bool,
    force: bool,
) -> None:
    """Two results side by side: what differs, timers, worst spots, spread, cost, pictures.

    A and B are folders of 'raysim dose', their result.json, zip files of 'raysim share', or scenes
    that 'raysim dose' has traced into results/NAME. Nothing is traced here: a page to decide on
    rests on runs that you have seen.
    """
    from raysim.output.files.folder import claimed
    from raysim.output.files.found import found_result
    from raysim.output.studies.compare import scene_differences, write
    from raysim.output.words.compare import answer, lines

    folder = out or Path("results") / "compared"
    context = click.get_current_context()
    one, other = (context.with_resource(found_result(path)) for path in (first, second))
    context.with_resource(claimed(folder, force))
    trouble = write(one, other, folder, command=typed(), pictures=pictures)
    if trouble:
        Teller(quiet or as_json).say(f"warning: {trouble}")
    if as_json:
        tell_json(folder)
    elif not quiet:
        title = f"A: {one.name}\nB: {other.name}"
        records = (one.record, other.record)
        tell_answer(title, [answer(*records), *lines(*records, *scene_differences(one, other))])
        click.echo(f"\n  Report: {folder / 'report.html'}")
