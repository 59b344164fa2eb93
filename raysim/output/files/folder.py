"""A folder of results: written completely or not at all."""

import json
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from raysim.base.errors import RaysimError
from raysim.base.figures import NotAFigure
from raysim.dose.checkpoint import CHECKPOINT_FILE, is_checkpoint
from raysim.dose.checkpoint_file import ASIDE
from raysim.dose.part import PART_FILE
from raysim.output.files.lock import LOCK_FILE, locked

RESULT_FILE, SHEET_FILE = "result.json", "sheet.html"
LARGEST_RECORD = 100_000_000  # bytes of a result.json
# What a run may have put into its folder, and the next one may replace.
OWN_NAMES = {
    RESULT_FILE,
    PART_FILE,
    "faces.csv",
    "dose_map.vtp",
    "report.html",
    "pictures",
    "card.html",
    "card.png",
    "builder.html",  # of earlier versions
    "guide.html",
    "templates.html",
    "as_built.toml",
    "as_built.toml.part",
    "prices_blank.toml",
    "drawings",
    "best.toml",
    "layouts",
    "lamps",
    "designs",
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


def record_in(path: Path) -> dict[str, Any]:
    """The content of a result.json, whoever wrote it.

    Raises
    ------
    OSError, ValueError, RecursionError
        Where it cannot be read: no file, larger than any result, or no record.
    """
    if path.exists() and (not path.is_file() or path.stat().st_size > LARGEST_RECORD):
        raise ValueError("it is too large, or no file")
    record = json.loads(path.read_text(encoding="utf-8"))
    if not isinstance(record, dict):
        raise ValueError("it is not a result of raysim")
    return record


def _scene_of(result: Path) -> str:
    """File of the scene that the results belong to; "" if they do not say."""
    with suppress(OSError, ValueError, KeyError, TypeError, RecursionError):
        return str(record_in(result)["scene"]["file"])
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


def write_new_folder(folder: Path, fill: Callable[[Path], None]) -> None:
    """Fill a folder that is new or empty, completely or not at all.

    What a killed run has left half done in it is cleared away first.

    Raises
    ------
    RaysimError
        Where something stands there, or writing fails.
    """
    stands = RaysimError(f"{folder}: something stands there already. Mend: name a new folder")
    if folder.exists() and not folder.is_dir():
        raise stands
    with locked(folder):
        finish_exchange(folder)
        if {path.name for path in folder.iterdir()} - {LOCK_FILE, *WORKING_NAMES}:
            raise stands
        write_whole(folder, fill)


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
