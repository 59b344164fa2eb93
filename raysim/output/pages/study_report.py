"""The HTML report of a study: one answer, tables, pictures and the cautions, in one file."""

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from importlib import resources
from pathlib import Path

from raysim.output.pages.report import TEMPLATE
from raysim.output.pictures.pictures import Picture
from raysim.output.words.cautions import CAUTION_LINE, CAUTIONS
from raysim.output.words.tables import Table
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
    sections: tuple[Section, ...]
    repeat: tuple[tuple[str, str], ...]


def write_study(page: StudyPage, path: Path, day: date | None = None) -> None:
    """Write the report: HTML without script, pictures inside, nothing loaded from elsewhere."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("raysim.output.pages", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["squared"] = lambda words: str(words).replace("/cm2", "/cm²")
    environment.filters["embedded"] = _address
    folder = resources.files("raysim.output.pages").joinpath("templates")
    dose = folder.joinpath(TEMPLATE).read_text(encoding="utf-8")
    # Macros and style are those of the dose report: one look for all.
    macros = dose[: dose.index("<!DOCTYPE")]
    style = dose[dose.index("<style>") : dose.index("</style>")] + "</style>"
    body = folder.joinpath("study.html.j2").read_text(encoding="utf-8")
    text = environment.from_string(macros + body.replace("@STYLE@", style))
    path.write_text(
        text.render(
            page=page,
            day=(day or date.today()).isoformat(),
            version=__version__,
            caution_line=CAUTION_LINE,
            cautions=CAUTIONS,
        ),
        encoding="utf-8",
    )


def _address(pictures: Sequence[Picture]) -> list[dict[str, str]]:
    return [
        {
            "title": picture.title,
            "caption": picture.caption,
            "address": "data:image/png;base64,"
            + base64.b64encode(picture.file.read_bytes()).decode("ascii"),
        }
        for picture in pictures
    ]
