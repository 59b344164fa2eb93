"""The report: one self-contained HTML file that a safety officer can read, print and sign."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from types import ModuleType

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.dose.agreement import compare
from raysim.dose.result import Result
from raysim.output.pages.environment import write_page
from raysim.output.pages.map_page import map_block
from raysim.output.pictures.pictures import CHART, OBJECT, OVERVIEW, WORST_OBJECT, Picture
from raysim.output.words import (
    answer,
    failures,
    germs,
    inputs,
    life,
    parts,
    poses,
    readings,
    report_words,
    survey,
    tables,
    uncertainty,
    verdict,
    wear,
)

# What the template calls for its sentences and tables.
WORDS: list[ModuleType] = [answer, failures, germs, inputs, life, parts, poses, readings]
WORDS += [report_words, survey, tables, uncertainty, verdict, wear]


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

    `written_inputs` are name and value of each entry of the user's scene, as they should be
    printed; `day` is the date of the report, today if not given; `case` the one that the map shows.
    """
    write_page(
        path,
        "report.html.j2",
        kind="UVC exposure report",
        title=result.title,
        day=(day or date.today()).isoformat(),
        version=result.raysim_version,
        result=result,
        finite=bool(np.isfinite(result.timer)),
        wide_pictures=[one for one in pictures if one.kind in (OVERVIEW, WORST_OBJECT)],
        small_pictures=[one for one in pictures if one.kind == OBJECT],
        charts=[one for one in pictures if one.kind == CHART],
        map=map_block(result, case),
        compared=compare(result.meters),
        written_inputs=written_inputs,
        repeat=inputs.repeat_rows(result, command),
        **{module.__name__.rpartition(".")[2]: module for module in WORDS},
    )
