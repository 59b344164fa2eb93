"""The folder of a finished run: written whole or not at all."""

import json
import os
import shutil
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from raysim.errors import RaysimError
from raysim.output.pictures import Picture
from raysim.output.records import result_record, write_faces
from raysim.result import CAUTIOUS, Result

RESULT_FILE = "result.json"
# What a run may have put into its folder, and the next one may replace.
OWN_NAMES = {
    RESULT_FILE,
    "faces.csv",
    "dose_map.vtp",
    "report.html",
    "pictures",
    "card.html",
    "card.png",
    "builder.html",
    "best.toml",
    "layouts",
}


def json_text(record: dict[str, Any]) -> str:
    """A record as JSON (RFC 8259: no NaN, no Infinity)."""
    return json.dumps(record, indent=2, allow_nan=False, ensure_ascii=False) + "\n"


def refuse_taken(folder: Path, force: bool) -> None:
    """Complain before any work is done if results cannot be put where they are asked for.

    Raises
    ------
    RaysimError
        Where something stands there already, or the place cannot be written.
    """
    if folder.exists() and not folder.is_dir():
        raise RaysimError(f"--out {folder}: a file stands there. Mend: name another folder")
    if folder.is_dir() and any(folder.iterdir()):
        foreign = sorted(path.name for path in folder.iterdir() if path.name not in OWN_NAMES)
        if foreign:
            raise RaysimError(
                f'--out {folder}: the folder holds other things ("{foreign[0]}"), which could be '
                "lost. Mend: name a new folder"
            )
        if not force:
            raise RaysimError(
                f"--out {folder}: results stand there already. Mend: name another folder with "
                "--out, or overwrite them with --force"
            )
    above = next(parent for parent in folder.absolute().parents if parent.exists())
    if not above.is_dir() or not os.access(above, os.W_OK):
        raise RaysimError(f"--out {folder}: {above} cannot be written. Mend: name another folder")


def write_whole(folder: Path, fill: Callable[[Path], None]) -> None:
    """Fill a new folder beside `folder`, then put what it holds in its place.

    A folder that stands there keeps its own identity, as somebody may be standing in it: its old
    files step aside and are removed last, and come back if anything fails before.

    Raises
    ------
    RaysimError
        Where writing fails; what stood at `folder` before is still there.
    """
    place = folder.absolute()
    place = place.resolve() if place.exists() else place
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{place.name}-", dir=place.parent))
    except OSError as error:
        raise RaysimError(
            f"--out {folder}: cannot be written ({error.strerror}). Mend: name another folder"
        ) from None
    try:
        fill(fresh)
        fresh.chmod(0o755)
        if place.exists():
            _exchange(place, fresh)
        else:
            fresh.rename(place)
    except OSError as error:
        raise RaysimError(
            f"--out {folder}: writing failed ({error.strerror or error}). "
            "Mend: make room or name another folder; nothing there was changed"
        ) from None
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _exchange(place: Path, fresh: Path) -> None:
    """Move the contents of `fresh` to `place`, and those of `place` out of the way."""
    old = Path(tempfile.mkdtemp(prefix=f".{place.name}-old-", dir=place.parent))
    moved: list[tuple[Path, Path]] = []
    try:
        for source, target in ((place, old), (fresh, place)):
            for path in sorted(source.iterdir()):
                path.rename(target / path.name)
                moved.append((path, target / path.name))
    except BaseException:
        for before, after in reversed(moved):
            after.rename(before)
        old.rmdir()  # empty again; were it not, nothing in it may be lost
        raise
    shutil.rmtree(old, ignore_errors=True)


def write_results(
    result: Result,
    folder: Path,
    case: str = CAUTIOUS,
    pictures: bool = True,
    written_inputs: Sequence[tuple[str, str]] = (),
    command: str = "",
    notice: Callable[[str], None] = lambda what: None,
) -> str:
    """Write result.json, faces.csv, dose_map.vtp, pictures, report and sheets into `folder`.

    Returns what went wrong with the pictures, without which the rest is written all the same; ""
    if nothing did.
    """
    from raysim.output.card_png import write_card_png
    from raysim.output.dose_map import write_dose_map
    from raysim.output.draw import draw_apart
    from raysim.output.report import write_report
    from raysim.output.sheets import write_builders_sheet, write_card

    trouble = ""

    def fill(fresh: Path) -> None:
        nonlocal trouble
        (fresh / RESULT_FILE).write_text(json_text(result_record(result, case)), encoding="utf-8")
        write_faces(result, fresh / "faces.csv", case)
        notice("writing the dose map")
        write_dose_map(result, fresh / "dose_map.vtp", case)
        shown: list[Picture] = []
        if pictures:
            notice("drawing pictures")
            (fresh / "pictures").mkdir()
            shown, trouble = draw_apart(result, fresh / "pictures", case)
            if trouble:
                shutil.rmtree(fresh / "pictures")
        notice("writing the report")
        write_report(result, shown, fresh / "report.html", written_inputs, command=command)
        write_card(result, shown, fresh / "card.html")
        if pictures:
            write_card_png(result, shown, fresh / "card.png")
        if result.written is not None and result.written.chamber.inside is not None:
            write_builders_sheet(result.written, fresh / "builder.html")

    write_whole(folder, fill)
    return trouble
