"""The folder of a finished run: written completely or not at all."""

import json
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from raysim.base.cases import CAUTIOUS
from raysim.base.errors import RaysimError
from raysim.base.figures import NotAFigure
from raysim.dose.checkpoint import ASIDE, CHECKPOINT_FILE, is_checkpoint
from raysim.dose.provenance import written_inputs
from raysim.dose.result import Result
from raysim.output.files.lock import LOCK_FILE, locked
from raysim.output.files.records import result_record, write_faces
from raysim.output.pictures.pictures import Picture

RESULT_FILE, SHEET_FILE = "result.json", "sheet.html"
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
    SHEET_FILE,
}
# Folders within it during the exchange: being filled; complete; being moved in; old results.
STAGED, READY, MOVING, OLD = WORKING_NAMES = (
    *(".raysim-staged", ".raysim-ready"),
    *(".raysim-moving", ".raysim-old"),
)


def json_text(record: dict[str, Any]) -> str:
    """A record as JSON (RFC 8259: no NaN, no Infinity).

    Raises
    ------
    NotAFigure
        If a number is NaN or infinite.
    """
    try:
        return json.dumps(record, indent=2, allow_nan=False, ensure_ascii=False) + "\n"
    except ValueError as error:
        raise NotAFigure(f"{error}. Mend: report it with the scene") from None


@contextmanager
def claimed(
    folder: Path, force: bool = False, resume: bool = False, scene: Path | None = None
) -> Iterator[None]:
    """Lock the folder of results against other runs, and check that it may be written.

    If a killed run left an exchange unfinished, it is finished first. A resumed run (`resume`) may
    find results there, such as those of its interrupted first part. If the results are of another
    scene than `scene`, the message says so: they could be mistaken for those of this scene.

    Raises
    ------
    RaysimError
        Where something stands there already, another run is at it, or it cannot be written.
    """
    if folder.exists() and not folder.is_dir():
        raise RaysimError(f"--out {folder}: a file stands there. Mend: name another folder")
    with locked(folder):
        finish_exchange(folder)
        if not resume:
            _refuse_taken(folder, force, scene)
        yield


def refuse_taken(folder: Path, force: bool) -> None:
    """Refuse, before any work is done, a folder in which results cannot be put.

    Raises
    ------
    RaysimError
        Where something stands there already, another run is at it, or it cannot be written.
    """
    with claimed(folder, force):
        pass


def _scene_of(result: Path) -> str:
    """File of the scene that the results belong to; "" if they do not say."""
    with suppress(OSError, ValueError, KeyError, TypeError):
        return str(json.loads(result.read_text(encoding="utf-8"))["scene"]["file"])
    return ""


def _refuse_taken(folder: Path, force: bool, scene: Path | None) -> None:
    names = sorted({path.name for path in folder.iterdir()} - {LOCK_FILE, *WORKING_NAMES})
    foreign = [name for name in names if name not in OWN_NAMES and not is_checkpoint(name)]
    if foreign:
        raise RaysimError(
            f'--out {folder}: the folder holds other things ("{foreign[0]}"), which could be '
            "lost. Mend: name a new folder"
        )
    if force or all(name.endswith(ASIDE) for name in names):
        return
    theirs = _scene_of(folder / RESULT_FILE)
    if theirs and scene is not None and Path(theirs).resolve() != scene.resolve():
        raise RaysimError(
            f"--out {folder}: results of another scene stand there ({theirs}). Mend: name another "
            "folder with --out, or overwrite them with --force"
        )
    if CHECKPOINT_FILE in names:
        raise RaysimError(
            f"--out {folder}: a run that was broken off stands there. Mend: continue it with "
            "--resume, name another folder with --out, or begin anew with --force"
        )
    raise RaysimError(
        f"--out {folder}: results stand there already. Mend: name another folder with "
        "--out, or overwrite them with --force"
    )


def write_whole(folder: Path, fill: Callable[[Path], None]) -> None:
    """Fill a temporary folder within `folder`, then move its files into `folder`.

    An existing folder is kept, because it may be the current folder of a user's shell. Its old
    files come back if anything fails; if the process is killed, the next run finishes the exchange.

    Raises
    ------
    RaysimError
        If writing fails; the old files in `folder` are still there.
    """
    with locked(folder):
        finish_exchange(folder)
        staged = folder / STAGED
        try:
            staged.mkdir()
            fill(staged)
            _flush(staged)
            staged.rename(folder / READY)
            _exchange(folder)
        except OSError as error:
            raise RaysimError(
                f"--out {folder}: writing failed ({error.strerror or error}). "
                "Mend: make room or name another folder; nothing there was changed"
            ) from None
        finally:
            for path in (staged, folder / READY):
                shutil.rmtree(path, ignore_errors=True)


def finish_exchange(folder: Path) -> None:
    """Finish the exchange of files in `folder` if a run was killed during it.

    Raises
    ------
    RaysimError
        If that is impossible.
    """
    try:
        shutil.rmtree(folder / STAGED, ignore_errors=True)
        _exchange(folder)
    except OSError as error:
        raise RaysimError(
            f"--out {folder}: the results of a run that was killed cannot be put in place "
            f"({error.strerror or error}). Mend: make room, or name another folder"
        ) from None


def _exchange(folder: Path) -> None:
    """Replace the old results by the new ones; can be continued after an interruption.

    First all old files are moved out, result.json first; then all new ones are moved in,
    result.json last. So result.json never lies among files of another run.
    """
    ready, moving, old = (folder / name for name in (READY, MOVING, OLD))
    moved: list[tuple[Path, Path]] = []

    def move(path: Path, target: Path) -> None:
        path.rename(target)
        moved.append((path, target))

    try:
        if ready.exists():
            old.mkdir(exist_ok=True)
            coming = {path.name for path in ready.iterdir()}
            leaving = [path for path in folder.iterdir() if path.name in coming | OWN_NAMES]
            for path in sorted(leaving, key=_result_last, reverse=True):
                move(path, old / path.name)
            move(ready, moving)
        if moving.exists():
            for path in sorted(moving.iterdir(), key=_result_last):
                move(path, folder / path.name)
    except BaseException:
        for before, after in reversed(moved):
            after.rename(before)
        with suppress(OSError):
            old.rmdir()  # fails if it is not empty, so that nothing is lost
        raise
    for path in (moving, old):
        shutil.rmtree(path, ignore_errors=True)


def _result_last(path: Path) -> tuple[bool, str]:
    return path.name == RESULT_FILE, path.name


def _flush(folder: Path) -> None:
    """Flush everything under a folder to the disk, so that a power cut loses nothing."""
    for path in (*folder.rglob("*"), folder):
        if os.name == "posix" or path.is_file():
            handle = os.open(path, os.O_RDONLY if os.name == "posix" else os.O_RDWR)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)


def write_results(
    result: Result,
    folder: str | Path,
    *,
    case: str = CAUTIOUS,
    pictures: bool = True,
    command: str = "",
    notice: Callable[[str], None] = lambda what: None,
) -> str:
    """Write result.json, faces.csv, dose_map.vtp, pictures, report and sheets into `folder`.

    Results that stand there are replaced. Returns what went wrong with the pictures, without which
    the rest is written all the same; "" if nothing did.

    Parameters
    ----------
    result : Result
    folder : path
    case : str
        Which case the map and faces.csv show: "cautious" or "expected".
    pictures : bool
        Whether to draw them.
    command : str
        Command line that repeats the run, to be shown in the report.
    notice : callable
        Told what is being done.

    Raises
    ------
    RaysimError
        Where writing fails; what stood there before is still there.

    >>> import raysim, tempfile
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")
    >>> result = raysim.simulate(scene, photons=65_536)  # few photons: quick and noisy
    >>> with tempfile.TemporaryDirectory() as place:
    ...     write_results(result, place, pictures=False)
    ...     sorted(path.name for path in Path(place).iterdir())
    ''
    ['builder.html', 'card.html', 'dose_map.vtp', 'faces.csv', 'report.html', 'result.json']
    """
    from raysim.output.files.dose_map import write_dose_map
    from raysim.output.pages.card_png import write_card_png
    from raysim.output.pages.report import write_report
    from raysim.output.pages.sheets import write_builders_sheet, write_card
    from raysim.output.pictures.draw import Drawing
    from raysim.verdict.rules import with_verdict

    trouble = ""
    result = result if result.verdict is not None else with_verdict(result)

    def write_numbers(fresh: Path) -> None:
        (fresh / RESULT_FILE).write_text(json_text(result_record(result, case)), encoding="utf-8")
        write_faces(result, fresh / "faces.csv", case)
        notice("writing the dose map")
        write_dose_map(result, fresh / "dose_map.vtp", case)

    def fill(fresh: Path) -> None:
        nonlocal trouble
        shown: list[Picture] = []
        if pictures:
            (fresh / "pictures").mkdir()
            with Drawing(result, fresh / "pictures", case) as drawing:
                write_numbers(fresh)
                notice("drawing pictures")
                shown, trouble = drawing.pictures()
            if trouble:
                shutil.rmtree(fresh / "pictures")
        else:
            write_numbers(fresh)
        notice("writing the report")
        inputs = [] if result.written is None else written_inputs(result.written)
        write_report(result, shown, fresh / "report.html", inputs, command=command, case=case)
        write_card(result, shown, fresh / "card.html")
        if pictures:
            write_card_png(result, shown, fresh / "card.png")
        if result.written is not None and result.written.chamber.inside is not None:
            write_builders_sheet(result.written, fresh / "builder.html")

    write_whole(Path(folder), fill)
    return trouble
