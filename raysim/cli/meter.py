"""`raysim meter`: what a meter should read, and what readings mean."""

import math
import sys
from pathlib import Path
from typing import Any

import click

from raysim.cli.answers import tell_study
from raysim.cli.common import SCENE, SEED, THREADS, Teller, checked_scene, quiet_option
from raysim.cli.given import PHOTONS, PLACE, PRECISION
from raysim.cli.groups import with_examples
from raysim.cli.statuses import INTERRUPTED, NO_FINITE_TIME
from raysim.cli.study import run_options


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
    from raysim.output.files.scene_file import meters_toml
    from raysim.output.studies.survey import json_of, sheet_of
    from raysim.output.words.readings import disagreements
    from raysim.output.words.survey import answer, answer_rows, short_table
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
        write_new("--sheet", sheet, sheet_of(found, result).encode())
    if as_json:
        click.echo(json_of(found, result), nl=False)
    else:
        title = f"{found.scene.written.title}: meter points"
        body = meters_toml(found) if places else short_table(found)
        tell_study(title, answer(found, result, places), body, answer_rows(found, result, places))
        if sheet is not None:
            click.echo(f"\n  Sheet: {sheet}")
    if result is not None and result.interrupted:
        sys.exit(INTERRUPTED)
    no_timer = result is not None and not math.isfinite(result.timer)
    if no_timer or disagreements(found.rows):
        sys.exit(NO_FINITE_TIME)
