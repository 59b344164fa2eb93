"""Everything that is written of a survey with a meter."""

from pathlib import Path

from raysim.dose.result import Result
from raysim.output.files.folder import RESULT_FILE, SHEET_FILE, json_text
from raysim.output.files.survey_record import survey_record
from raysim.output.pages.survey_sheet import sheet_page
from raysim.output.studies.page import write_texts
from raysim.output.words.survey import strip_lines
from raysim.studies.survey.run import Survey


def json_of(study: Survey, result: Result | None = None) -> str:
    """The study as JSON, as `raysim meter --json` prints it; `result` tells the timer."""
    return json_text(survey_record(study, result))


def sheet_of(study: Survey, result: Result | None = None) -> str:
    """The survey sheet as HTML, as `raysim meter --sheet` writes it.

    `result` of a dose run tells where a dosimeter strip belongs.
    """
    lines = [] if result is None else strip_lines(result)
    return sheet_page(study, lines)


def write(study: Survey, folder: str | Path, *, result: Result | None = None) -> None:
    """Write result.json and the survey sheet (sheet.html) into `folder`.

    `result` of a dose run adds the timer that the readings leave.

    >>> import raysim, tempfile
    >>> from raysim.studies import survey
    >>> found = survey.study(raysim.load_scene("scenes/lining_white_paint.toml"))
    >>> with tempfile.TemporaryDirectory() as place:
    ...     write(found, place)
    ...     sorted(path.name for path in Path(place).iterdir())
    ['result.json', 'sheet.html']
    """
    write_texts(folder, {RESULT_FILE: json_of(study, result), SHEET_FILE: sheet_of(study, result)})
