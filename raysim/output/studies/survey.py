"""Everything that is written of a survey with a meter."""

from pathlib import Path

from raysim.dose.result import Result
from raysim.output.files.folder import RESULT_FILE, SHEET_FILE, json_text, write_whole
from raysim.output.files.survey_record import survey_record
from raysim.output.pages.survey_sheet import sheet_page
from raysim.studies.survey.run import Survey


def json_of(study: Survey, result: Result | None = None) -> str:
    """The study as JSON, as `raysim meter --json` prints it; `result` tells the timer."""
    return json_text(survey_record(study, result))


def sheet_of(study: Survey) -> str:
    """The survey sheet as HTML, as `raysim meter --sheet` writes it."""
    return sheet_page(study.scene.written.title, study.rows)


def write(study: Survey, folder: str | Path, *, result: Result | None = None) -> None:
    """Write result.json and the survey sheet (sheet.html) into `folder`, whole or not at all.

    Results that stand there are replaced. `result` of a dose run adds the timer that the
    readings leave.

    Raises
    ------
    RaysimError
        Where writing fails; what stood there before is still there.

    >>> import raysim, tempfile
    >>> from raysim.studies import survey
    >>> found = survey.study(raysim.load_scene("scenes/lining_white_paint.toml"))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write(found, folder)
    ...     sorted(path.name for path in Path(folder).iterdir())
    ['result.json', 'sheet.html']
    """

    def fill(fresh: Path) -> None:
        (fresh / RESULT_FILE).write_text(json_of(study, result), encoding="utf-8")
        (fresh / SHEET_FILE).write_text(sheet_of(study), encoding="utf-8")

    write_whole(Path(folder), fill)
