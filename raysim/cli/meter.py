"""`raysim meter`: what a meter should read, and what readings mean."""

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from raysim.cli.common import SCENE, Teller, checked_scene, quiet_option
from raysim.cli.given import PLACE, FiniteRange
from raysim.cli.groups import examples
from raysim.cli.study import SEED, THREADS
from raysim.errors import RaysimError
from raysim.output.cautions import CAUTION_LINE

if TYPE_CHECKING:
    from raysim.fit import Fit
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
    help="With readings, also the exposure time by them.",
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
    the mean reflectance that fit them best, and the exposure time that follows.
    """
    from raysim.output.folder import json_text
    from raysim.output.new_file import refuse_unfit, write_new
    from raysim.output.survey import fit_lines, survey_record, survey_table, time_line, unlit_line
    from raysim.output.survey_sheet import sheet_page
    from raysim.survey import compare, fitted, mean_reflectances, predict

    teller = Teller(quiet or as_json)
    built, warnings = checked_scene(scene, teller)
    if not built.triangles.meters:
        raise RaysimError(f"{scene}: meter: the scene has no [[meter]]. Mend: add name, at, facing")
    if sheet is not None:
        refuse_unfit("--sheet", sheet)
    teller.warn(warnings)
    prediction = predict(built, seed, threads)
    rows, fit = compare(prediction), fitted(prediction, built.triangles)
    if sheet is not None:
        write_new("--sheet", sheet, sheet_page(built.written.title, rows))
    times = None
    if fit is not None and time:
        run = {"seed": seed, "photons": photons, "precision": precision, "threads": threads}
        times = _times(built, fit, teller, run)
        if unlit_line(rows) is not None:
            times = times[0], math.inf
    lamps = [lamp.name for lamp in built.triangles.lamps]
    if as_json:
        record = survey_record(built.written.title, seed, rows, fit, lamps, times)
        click.echo(json_text(record), nl=False)
        return
    click.echo(f"\n{built.written.title}: meter points\n")
    table = survey_table(rows)
    for row in table.rows:
        for heading, cell in zip(table.headings, row, strict=True):
            if cell:
                click.echo(click.wrap_text(f"{heading}: {cell}", 92, "  ", "    "))
        click.echo("")
    lines = [table.note]
    if (unlit := unlit_line(rows)) is not None:
        lines.append(unlit)
    if fit is not None:
        lines += fit_lines(fit, lamps, mean_reflectances(built.triangles))
    if times is not None:
        lines.append(time_line(*times))
    for line in [*lines, CAUTION_LINE]:
        click.echo(click.wrap_text(line, 92, "  ", "  "))
    if sheet is not None:
        click.echo(f"\n  Sheet: {sheet}")


def _times(
    built: "BuiltScene", fit: "Fit", teller: Teller, run: dict[str, Any]
) -> tuple[float, float]:
    """Timer without the readings, and exposure time by them."""
    from raysim.run import simulate
    from raysim.survey import corrected_time, place_of_expected

    with teller.bar():
        result = simulate(built, progress=teller.progress, **run)
    middle = place_of_expected(built.triangles)
    return result.timer, corrected_time(result, fit, middle)
