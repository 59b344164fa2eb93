"""Everything that is written of a study of designs."""

from pathlib import Path

from raysim.output.files.design_record import FOLDER, design_record, file_names
from raysim.output.pages.study_report import Section, StudyPage
from raysim.output.pictures.design_chart import write_front
from raysim.output.pictures.pictures import Picture, write_pictures
from raysim.output.studies.page import repeat_rows, write_report
from raysim.output.words import design as words
from raysim.studies.design.result import Design, DesignStudy


def write(study: DesignStudy, folder: str | Path, *, command: str = "") -> None:
    """Write result.json, scene files with their meshes, pictures and report.html into `folder`.

    designs/ holds cheapest.toml, quickest.toml and longest_lived.toml, and what else was traced in
    full: run `raysim dose` on it before setting a timer.

    >>> import tempfile
    >>> from raysim.starter.scenes import wish_text
    >>> from raysim.studies.design import study
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     wish = Path(folder, "wish.toml")
    ...     _ = wish.write_text(wish_text().replace("number = 6", "number = 1"), encoding="utf-8")
    ...     write(study(wish), Path(folder, "box"))
    ...     sorted(path.name for path in Path(folder, "box").iterdir())
    ['designs', 'pictures', 'report.html', 'result.json']
    """
    answer = words.answer(study)
    page = StudyPage(
        kind="UVC design report",
        title=study.wish.title,
        answer=answer,
        more=tuple(words.more_lines(study)),
        repeat=repeat_rows(command, "seed", str(study.seed)),
    )

    def sections(fresh: Path) -> list[Section]:
        _write_scenes(study, fresh / FOLDER)
        return _sections(study, fresh / "pictures")

    write_report(folder, design_record(study, answer), page, sections)


def _sections(study: DesignStudy, folder: Path) -> list[Section]:
    """Tables and pictures; the pictures are put into `folder`."""
    front = (write_front(study, folder / "front.png"),) if study.trials else ()
    found = [Section("Designs traced in full", (), words.designs_table(study), front)]
    for one in study.designs:
        if held := words.held_words(study, one):
            pictures = _pictures(one, folder / one.name.replace(" ", "_"))
            found.append(Section(f"{held}: {one.name}", (), None, pictures))
    if study.trials:
        found.append(Section("What else was tried", (), words.trials_table(study)))
    return [*found, Section("How the search went", words.search_words(study))]


def _pictures(design: Design, folder: Path) -> tuple[Picture, ...]:
    """The loaded box with its dose map, and its load with numbers."""
    overview, *_, load = write_pictures(design.result, folder, numbers=[0])
    return overview, load


def _write_scenes(study: DesignStudy, folder: Path) -> None:
    folder.mkdir()
    for name, design in file_names(study).items():
        (folder / name).write_text(design.scene, encoding="utf-8")
        for mesh, content in design.meshes.items():
            (folder / mesh).write_bytes(content)
