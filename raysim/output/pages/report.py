"""The report: one self-contained HTML file that a safety officer can read, print and sign."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.dose.agreement import compare
from raysim.dose.result import Result
from raysim.output.pages.environment import embedded_pictures, rendered
from raysim.output.pages.map_page import map_block
from raysim.output.pictures.pictures import CHART, OBJECT, OVERVIEW, WORST_OBJECT, Picture
from raysim.output.words import failures as report_failures
from raysim.output.words import inputs as report_inputs
from raysim.output.words import life, wear
from raysim.output.words import tables as report_tables
from raysim.output.words.cautions import CAUTION_LINE, CAUTIONS
from raysim.output.words.germs import germs_table
from raysim.output.words.poses import pose_lines, poses_table
from raysim.output.words.readings import reading_lines
from raysim.output.words.report_words import uncertainty_words
from raysim.output.words.sentences import details
from raysim.output.words.survey import survey_table
from raysim.output.words.uncertainty import budget_table
from raysim.output.words.verdict import headline, reason_lines, state_words, timer_words


def write_report(
    result: Result,
    pictures: Sequence[Picture],
    path: Path,
    written_inputs: Sequence[tuple[str, str]] = (),
    *,
    command: str = "",
    day: date | None = None,
    case: str = CAUTIOUS,
) -> None:
    """Write the report: pictures and the script of the map inside, nothing loaded from elsewhere.

    Parameters
    ----------
    result : Result
    pictures : sequence of Picture
        From `write_pictures` and `write_charts`; the files are read and put into the report.
    path : Path
        The HTML file; its folder is made if it does not exist.
    written_inputs : sequence of (str, str)
        Name and value of each entry of the user's scene, as it should be printed.
    command : str
        Command line that repeats the run.
    day : date, optional
        Printed as the date of the report; today if not given.
    case : str
        Case that the map shows: "cautious" or "expected".
    """
    values = _values(result, pictures, written_inputs, command, day or date.today())
    path.parent.mkdir(parents=True, exist_ok=True)
    values["map"] = map_block(result, case)
    path.write_text(rendered("report.html.j2", **values), encoding="utf-8")


def _values(
    result: Result,
    pictures: Sequence[Picture],
    written_inputs: Sequence[tuple[str, str]],
    command: str,
    day: date,
) -> dict[str, Any]:
    """Everything the template shows, as text."""
    return {
        "title": result.title,
        "day": day.isoformat(),
        "version": result.raysim_version,
        "sha256": result.sha256,
        "timer": timer_words(result),
        "finite": bool(np.isfinite(result.timer)),
        "interrupted": result.interrupted,
        "state": state_words(result),
        "reasons": reason_lines(result),
        "headline": headline(result),
        "details": [*reading_lines(result), *pose_lines(result), *details(result)],
        "caution_line": CAUTION_LINE,
        "cautions": CAUTIONS,
        "wide_pictures": _embedded(pictures, OVERVIEW, WORST_OBJECT),
        "small_pictures": _embedded(pictures, OBJECT),
        "charts": _embedded(pictures, CHART),
        "written_inputs": list(written_inputs),
        "warnings": [str(fault) for fault in result.warnings],
        "uncertainty": uncertainty_words(result),
        "wear_words": wear.wear_words(result),
        "repeat": report_inputs.repeat_rows(result, command),
        **_tables(result),
    }


def _tables(result: Result) -> dict[str, report_tables.Table | None]:
    return {
        "cases": report_tables.cases_table(result),
        "objects": report_tables.objects_table(result),
        "poses": poses_table(result),
        "doses": report_tables.doses_table(result),
        "budget": budget_table(result),
        "germs": germs_table(result),
        "reuse": wear.reuse_table(result),
        "lamp_life": life.lamp_life_table(result),
        "in_air": life.air_table(result),
        "broken_off": life.interrupted_table(result),
        "energy": report_tables.energy_table(result),
        "meters": survey_table(compare(result.meters)) if result.meters else None,
        "lamps": report_inputs.lamps_table(result),
        "failures": report_failures.failures_table(result) if result.lamp_failures else None,
        "surfaces": report_inputs.surfaces_table(result.triangles),
        "assumptions": report_inputs.assumptions_table(result),
        "not_counted": report_inputs.not_counted_table(),
    }


def _embedded(pictures: Sequence[Picture], *kinds: str) -> list[dict[str, str]]:
    """Title, caption and data address of the pictures of some kinds."""
    return embedded_pictures([picture for picture in pictures if picture.kind in kinds])
