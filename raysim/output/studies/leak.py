"""Everything that is written of a study of stray light."""

from pathlib import Path

from raysim.output.files.folder import RESULT_FILE, json_text
from raysim.output.files.leak_record import leak_record
from raysim.output.studies.page import write_texts
from raysim.studies.leak.run import LeakStudy


def json_of(study: LeakStudy) -> str:
    """The study as JSON, as `raysim leak --json` prints it; mm, uW/cm2 and seconds."""
    return json_text(leak_record(study))


def write(study: LeakStudy, folder: str | Path) -> None:
    """Write result.json into `folder`; it holds what the command prints.

    >>> import raysim, tempfile
    >>> from raysim.studies import leak
    >>> found = leak.study(raysim.load_scene("scenes/clinic_locker.toml"))
    >>> with tempfile.TemporaryDirectory() as place:
    ...     write(found, place)
    ...     sorted(path.name for path in Path(place).iterdir())
    ['result.json']
    """
    write_texts(folder, {RESULT_FILE: json_of(study)})
