"""The HTML report of a study: one answer, tables, pictures and the cautions, in one file."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from raysim.output.pages.environment import write_page
from raysim.output.pictures.pictures import Picture
from raysim.output.words.table import Table
from raysim.version import __version__


@dataclass(frozen=True)
class Section:
    """A headed part of a report: words, then a table, then pictures."""

    heading: str
    words: tuple[str, ...] = ()
    table: Table | None = None
    pictures: tuple[Picture, ...] = ()


@dataclass(frozen=True)
class StudyPage:
    """What a report of a study shows.

    `kind` is the kind of study, `answer` the sentence to act on, `more` its qualifications, and
    `repeat` says how to get the same numbers again, as (name, value).
    """

    kind: str
    title: str
    answer: str
    more: tuple[str, ...]
    repeat: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...] = ()


def write_study(page: StudyPage, path: Path) -> None:
    """Write the report: HTML without script, pictures inside, nothing loaded from elsewhere."""
    write_page(
        path, "study.html.j2", **vars(page), day=date.today().isoformat(), version=__version__
    )
