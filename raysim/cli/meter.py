"""`raysim meter`: what a meter should read, and what readings mean."""

import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from raysim.base.errors import RaysimError
from raysim.cli import INTERRUPTED, NO_FINITE_TIME
from raysim.cli.common import SCENE, Teller, checked_scene, quiet_option
from raysim.cli.given import PLACE, FiniteRange
from raysim.cli.groups import examples
from raysim.cli.study import SEED, THREADS
from raysim.output.words.cautions import CAUTION_LINE

if TYPE_CHECKING:
    from raysim.dose.result import Result
    from raysim.output.words.tables import Table
    from raysim.scene.build import BuiltScene


@click.command(
    name="meter",
    epilog=examples(
        "raysim meter my_box/my_box.toml",
        "raysim meter my_box/my_box.toml --sheet survey.html",
        "raysim meter my_box/my_box.toml --no-time --json",
    ),
)
@SCENE
@SEED
@click.option("--photons", type=click.IntRange(1, 10**13), help="As in 'raysim dose'.")
@click.option(
    "--precision", type=FiniteRange(0.0005, 1.0, max_open=True), help="As in 'raysim dose'."
)
@THREADS
@click.option(
    "--time/--no-time",
    default=True,
    show_default=True,
    help="With readings, also the timer that they leave.",
)
@click.option("--sheet", type=PLACE, help="Write a survey sheet (HTML) there.")
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
@quiet_option("No progress, no warnings.")
def command(
    scene: Path,
    seed: int,
    photons: int | None,
    precision: float | None,
    threads: int | None,
    time: bool,
    sheet: Path | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """What a cosine-corrected meter should read at the [[meter]] points of SCENE.

    With a reading = "1.2 mW/cm2" at some of them: whether they agree, the output of each lamp and
    the mean reflectance that fit them best, and the timer that follows: none where one disagrees
    (exit status 3), never a shorter one.
    """
    from raysim.dose.agreement import compare, mean_reflectances
    from raysim.output.files.folder import json_text
    from raysim.output.files.new_file import refuse_unfit, write_new
    from raysim.output.files.survey_record import survey_record
    from raysim.output.pages.survey_sheet import sheet_page
    from raysim.output.words.readings import reading_lines
    from raysim.output.words.sentences import headline
    from raysim.output.words.survey import fit_lines, survey_table
    from raysim.studies.survey.study import fitted, predict

    teller = Teller(quiet or as_json)
    built, warnings = checked_scene(scene, teller)
    if not built.triangles.meters:
        raise RaysimError(f"{scene}: meter: the scene has no [[meter]]. Mend: add name, at, facing")
    if sheet is not None:
        refuse_unfit("--sheet", sheet)
    teller.warn(warnings)
    meters = predict(built, seed, threads)
    rows, fit = compare(meters), fitted(meters, built.triangles)
    if sheet is not None:
        write_new("--sheet", sheet, sheet_page(built.written.title, rows))
    result = None
    if time and any(meter.point.reading is not None for meter in meters):
        run = {"seed": seed, "photons": photons, "precision": precision, "threads": threads}
        result = _traced(built, teller, run)
    if as_json:
        click.echo(json_text(survey_record(built, seed, rows, fit, result)), nl=False)
    else:
        table = survey_table(rows)
        lines = [table.note]
        if fit is not None:
            names = [lamp.name for lamp in built.triangles.lamps]
            lines += fit_lines(fit, names, mean_reflectances(built.triangles))
        if result is not None:
            lines += [headline(result), *reading_lines(result)]
        _tell(built.written.title, table, [*lines, CAUTION_LINE])
        if sheet is not None:
            click.echo(f"\n  Sheet: {sheet}")
    if result is not None and result.interrupted:
        sys.exit(INTERRUPTED)
    if result is not None and not math.isfinite(result.timer):
        sys.exit(NO_FINITE_TIME)


def _tell(title: str, table: "Table", lines: list[str]) -> None:
    """Print all points, then the conclusions."""
    click.echo(f"\n{title}: meter points\n")
    for row in table.rows:
        for heading, cell in zip(table.headings, row, strict=True):
            if cell:
                click.echo(click.wrap_text(f"{heading}: {cell}", 92, "  ", "    "))
        click.echo("")
    for line in lines:
        click.echo(click.wrap_text(line, 92, "  ", "  "))


def _traced(built: "BuiltScene", teller: Teller, run: dict[str, Any]) -> "Result":
    from raysim.dose.simulate import simulate

    with teller.bar():
        return simulate(built, progress=teller.progress, **run)
