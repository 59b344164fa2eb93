"""What the folders of studies have in common: result.json, pictures and the report."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from raysim.output.files.folder import RESULT_FILE, json_text, write_whole
from raysim.output.pages.study_report import Section, StudyPage, write_study


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


def write_texts(folder: str | Path, texts: dict[str, str]) -> None:
    """Write some files, by name, and nothing else."""

    def fill(fresh: Path) -> None:
        for name, text in texts.items():
            (fresh / name).write_text(text, encoding="utf-8")

    write_whole(Path(folder), fill)


def repeat_rows(command: str, what: str, value: str) -> tuple[tuple[str, str], ...]:
    """How to get the same numbers again: the command line if there was one, and a value."""
    return (*((("command", command),) if command else ()), (what, value))
