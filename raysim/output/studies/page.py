"""What the folders of studies have in common: result.json, pictures and the report."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from raysim.output.files.folder import RESULT_FILE, json_text, write_whole
from raysim.output.pages.study_report import Section, StudyPage, write_study
from raysim.output.words.cautions import CAUTION_LINE


def write_report(
    folder: str | Path,
    record: dict[str, Any],
    page: StudyPage,
    sections: Callable[[Path], list[Section]],
) -> None:
    """Write result.json, report.html and what `sections` puts into the folder that it is given.

    It finds an empty folder `pictures` there, and gives the sections of the page.
    """

    def fill(fresh: Path) -> None:
        (fresh / RESULT_FILE).write_text(json_text(record), encoding="utf-8")
        (fresh / "pictures").mkdir()
        whole = replace(page, sections=tuple(sections(fresh)))
        write_study(whole, fresh / "report.html")

    write_whole(Path(folder), fill)


def write_scenes(
    fresh: Path, folder: str | Path, kept: str, found: Any, text: Callable[[Any, Any, Path], str]
) -> None:
    """Write scene files into `fresh`, which goes to `folder`: the best, and those of each number.

    Those are `kept` in a folder of their own. `text` gives the file of one, which finds its meshes
    from the folder that it is given.
    """
    files = {f"{kept}/{one.number}.toml": one for one in found.numbers}
    for name, one in (files | {"best.toml": found.best}).items():
        (fresh / name).parent.mkdir(exist_ok=True)
        (fresh / name).write_text(text(found, one, (Path(folder) / name).parent), encoding="utf-8")


def scene_heading(what: str, command: str, scene: Path, interrupted: bool) -> tuple[str, ...]:
    """Comments at the head of a scene file that a study has found."""
    stopped = ("The run was stopped before its end: a better one may be missing.",)
    return (
        f"{what} by 'raysim {command}' from {scene.name}.",
        *(stopped if interrupted else ()),
        "Run 'raysim dose' on it before setting a timer.",
        CAUTION_LINE,
    )


def write_texts(folder: str | Path, texts: dict[str, str]) -> None:
    """Write some files, by name, and nothing else."""

    def fill(fresh: Path) -> None:
        for name, text in texts.items():
            (fresh / name).write_text(text, encoding="utf-8")

    write_whole(Path(folder), fill)


def repeat_rows(command: str, what: str, value: str) -> tuple[tuple[str, str], ...]:
    """How to get the same numbers again: the command line if there was one, and a value."""
    return (*((("command", command),) if command else ()), (what, value))
