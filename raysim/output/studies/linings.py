"""Everything that is written of a study of linings."""

from pathlib import Path

from raysim.output.files.linings_record import linings_record
from raysim.output.pages.study_report import Section, StudyPage
from raysim.output.pictures.linings_chart import write_linings_chart
from raysim.output.studies.page import repeat_rows, write_report
from raysim.output.words import linings as words
from raysim.output.words import linings_tables as tables
from raysim.studies.linings.run import LiningStudy


def write(study: LiningStudy, folder: str | Path, *, command: str = "") -> None:
    """Write result.json, the chart and report.html into `folder`.

    >>> import raysim, tempfile
    >>> from raysim.studies import linings
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")
    >>> foil = raysim.find_surface("foil")
    >>> found = linings.study(scene, [foil], walls=False, precision=0.9)  # quick and noisy
    >>> with tempfile.TemporaryDirectory() as place:
    ...     write(found, place)
    ...     sorted(path.name for path in Path(place).iterdir())
    ['pictures', 'report.html', 'result.json']
    """
    answer = words.answer(study)
    page = StudyPage(
        kind="UVC lining report",
        title=study.scene.written.title,
        answer=answer,
        more=words.more_lines(study),
        repeat=repeat_rows(command, "ray segments", f"{study.rays:,}"),
    )

    def sections(fresh: Path) -> list[Section]:
        chart = write_linings_chart(study, fresh / "pictures" / "linings.png")
        walls = Section("One wall at a time", words.wall_words(study), tables.walls_table(study))
        return [
            Section(
                "All linings",
                words.looks_words(study),
                tables.linings_table(study),
                (chart,),
            ),
            Section(
                "Which can be told apart",
                words.alike_words(study),
                tables.pairs_table(study),
            ),
            *([walls] if study.walls else []),
            Section("The linings", (), tables.sources_table(study.linings)),
        ]

    write_report(folder, linings_record(study, answer), page, sections)
