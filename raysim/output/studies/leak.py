"""Everything that is written of a study of stray light."""

from pathlib import Path

from raysim.output.files.folder import RESULT_FILE, json_text, write_whole
from raysim.output.files.leak_record import leak_record
from raysim.studies.leak.run import LeakStudy


def json_of(study: LeakStudy) -> str:
    """The study as JSON, as `raysim leak --json` prints it; mm, uW/cm2 and seconds."""
    return json_text(leak_record(study))


def write(study: LeakStudy, folder: str | Path) -> None:
    """Write result.json into `folder`, whole or not at all; it holds what the command prints.

    Results that stand there are replaced.

    Raises
    ------
    RaysimError
        Where writing fails; what stood there before is still there.
    """

    def fill(fresh: Path) -> None:
        (fresh / RESULT_FILE).write_text(json_of(study), encoding="utf-8")

    write_whole(Path(folder), fill)
