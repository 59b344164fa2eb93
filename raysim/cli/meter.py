"""`raysim meter`: what a meter should read, and what readings mean."""

import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from raysim.cli import INTERRUPTED, NO_FINITE_TIME
from raysim.cli.common import SCENE, SEED, THREADS, Teller, checked_scene, quiet_option, tell
from raysim.cli.given import PHOTONS, PLACE, PRECISION
from raysim.cli.groups import with_examples
from raysim.cli.study import run_options
from raysim.output.words.cautions import CAUTION_LINE

if TYPE_CHECKING:
    from raysim.dose.result import Result
    from raysim.studies.survey import Survey


@with_examples(
    "meter",
    "raysim meter my_box/my_box.toml",
    "raysim meter my_box/my_box.toml --sheet survey.html",
    "raysim meter my_box/my_box.toml --places",
    "raysim meter my_box/my_box.toml --no-time --json",
)
@SCENE
@SEED
@click.option("--photons", type=PHOTONS, help="As in 'raysim dose'.")
@click.option("--precision", type=PRECISION, help="As in 'raysim dose'.")
@THREADS
@click.option(
    "--time/--no-time", default=True, help="With readings or --places, also trace for the timer."
)
@click.option(
    "--places",
    is_flag=True,
    help="Propose three places, as lines for the scene file, and where a dosimeter strip belongs.",
)
@click.option("--sheet", type=PLACE, help="Write a survey sheet (HTML) there.")
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
@quiet_option("No progress, no warnings.")
def command(
    *,
    scene: Path,
    time: bool,
    places: bool,
    sheet: Path | None,
    as_json: bool,
    quiet: bool,
    **run: Any,
) -> None:
    """What a cosine-corrected meter should read at the [[meter]] points of SCENE.

    With a reading = "1.2 mW/cm2" at some of them: whether they agree, the output of each lamp and
    the mean reflectance that fit them best, and the timer that follows: none where one disagrees
    (exit status 3), never a shorter one.
    """
    from raysim.dose.simulate import simulate
    from raysim.output.files.new_file import refuse_unfit, write_new
    from raysim.output.studies.survey import json_of, sheet_of
    from raysim.studies.survey import propose, study
    from raysim.verdict.rules import with_verdict
    from raysim.verdict.stray_light import stray_light

    teller = Teller(quiet or as_json)
    built, warnings = checked_scene(scene, teller)
    if sheet is not None:
        refuse_unfit("--sheet", sheet)
    teller.warn(warnings)
    options = run_options(run["seed"], run["threads"], teller)
    found = study(propose(built, options=options) if places else built, options=options)
    result = None
    if time and (places or any(row.meter.point.reading is not None for row in found.rows)):
        with teller.bar():
            result = simulate(built, progress=teller.progress, **run)
            result = with_verdict(result, stray_light(built, options))
    if sheet is not None:
        write_new("--sheet", sheet, sheet_of(found, result))
    if as_json:
        click.echo(json_of(found, result), nl=False)
    else:
        _tell(found, result, places)
        if sheet is not None:
            click.echo(f"\n  Sheet: {sheet}")
    if result is not None and result.interrupted:
        sys.exit(INTERRUPTED)
    if result is not None and not math.isfinite(result.timer):
        sys.exit(NO_FINITE_TIME)


def _tell(found: "Survey", result: "Result | None", places: bool) -> None:
    """Print every point, or proposed `places` as lines to paste; then what follows from them."""
    from raysim.dose.agreement import mean_reflectances
    from raysim.output.files.scene_file import meters_toml
    from raysim.output.words.readings import reading_lines
    from raysim.output.words.survey import fit_lines, places_lines, strip_lines, survey_table
    from raysim.output.words.verdict import headline, reason_lines

    table, triangles = survey_table(found.rows), found.scene.triangles
    lines = [table.note]
    if found.fit is not None:
        names = [lamp.name for lamp in triangles.lamps]
        lines += fit_lines(found.fit, names, mean_reflectances(triangles))
    if result is not None:
        lines += [headline(result), *reason_lines(result), *reading_lines(result)]
        lines += strip_lines(result)
    click.echo(f"\n{found.scene.written.title}: meter points\n")
    if places:
        tell(places_lines(found.rows))
        click.echo(meters_toml(found))
        tell([*lines, CAUTION_LINE])
        return
    for row in table.rows:
        for heading, cell in zip(table.headings, row, strict=True):
            if cell:
                click.echo(click.wrap_text(f"{heading}: {cell}", 92, "  ", "    "))
        click.echo("")
    tell([*lines, CAUTION_LINE])
