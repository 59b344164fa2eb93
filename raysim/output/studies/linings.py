"""Everything that is written of a study of linings."""

from pathlib import Path

from raysim.output.files.folder import write_whole
from raysim.output.files.linings_record import linings_record
from raysim.output.pages.study_report import Section, StudyPage, write_study
from raysim.output.pictures.linings_chart import write_linings_chart
from raysim.output.studies.page import repeat_rows, write_record
from raysim.output.words import linings as words
from raysim.studies.linings.run import LiningStudy


def write(study: LiningStudy, folder: str | Path, *, command: str = "") -> None:
    """Write result.json, the chart and report.html into `folder`, whole or not at all.

    Results that stand there are replaced. `command` is the command line that repeats the study, to
    be shown in the report.

    Raises
    ------
    RaysimError
        Where writing fails; what stood there before is still there.

    >>> import raysim, tempfile
    >>> from raysim.studies import linings
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")
    >>> foil = raysim.find_surface("foil")
    >>> found = linings.study(scene, [foil], walls=False, precision=0.9)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write(found, folder)
    ...     sorted(path.name for path in Path(folder).iterdir())
    ['pictures', 'report.html', 'result.json']
    """
    answer = words.answer(study)

    def fill(fresh: Path) -> None:
        write_record(linings_record(study, answer), fresh)
        chart = write_linings_chart(study, fresh / "pictures" / "linings.png")
        sections = [
            Section("All linings", (), words.linings_table(study), (chart,)),
            Section("Which can be told apart", (), words.pairs_table(study)),
        ]
        if study.walls:
            sections.append(Section("One wall at a time", (), words.walls_table(study)))
        sections.append(Section("The linings", (), words.sources_table(study.linings)))
        page = StudyPage(
            kind="UVC lining report",
            title=study.scene.written.title,
            answer=answer,
            more=words.more_lines(study),
            sections=tuple(sections),
            repeat=repeat_rows(command, "ray segments", f"{study.rays:,}"),
        )
        write_study(page, fresh / "report.html")

    write_whole(Path(folder), fill)
