"""Everything that is written of a study of lamps."""

from pathlib import Path

from raysim.output.files.lamps_record import lamps_record
from raysim.output.files.scene_file import lamps_toml
from raysim.output.pages.study_report import Section, StudyPage
from raysim.output.pictures.lamps_map import write_lamps_map
from raysim.output.pictures.lamps_picture import write_lamps_picture
from raysim.output.studies.page import repeat_rows, scene_heading, write_report, write_scenes
from raysim.output.words import lamps as words
from raysim.output.words import lamps_tables
from raysim.studies.lamps.result import LampCount, LampStudy


def write(study: LampStudy, folder: str | Path, *, command: str = "") -> None:
    """Write result.json, scene files, pictures and report.html into `folder`.

    best.toml is the best choice that the answer tells of, lamps/ holds that of every number: run
    `raysim dose` on it before setting a timer.

    >>> import raysim, tempfile
    >>> from raysim.studies import lamps
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")
    >>> upright = [((0.06, y, 0.06), (0.06, y, 0.42)) for y in (0.001, 0.06, 0.38)]
    >>> found = lamps.study(scene, numbers=[1], places=upright, precision=0.9)  # quick and noisy
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write(found, folder)
    ...     sorted(path.name for path in Path(folder).iterdir())
    ['best.toml', 'lamps', 'pictures', 'report.html', 'result.json']
    """
    answer = words.answer(study)
    page = StudyPage(
        kind="UVC lamp report",
        title=study.scene.written.title,
        answer=answer,
        more=words.page_lines(study),
        repeat=repeat_rows(command, "rays", f"{study.rays:,}"),
    )

    def sections(fresh: Path) -> list[Section]:
        write_scenes(fresh, folder, "lamps", study, _scene_file)
        return _sections(study, fresh / "pictures")

    write_report(folder, lamps_record(study, answer), page, sections)


def _sections(study: LampStudy, folder: Path) -> list[Section]:
    """Tables and pictures; the pictures are put into `folder`."""
    best = study.best
    pictures = tuple(
        write_lamps_picture(
            traced,
            [study.places[k] for k in choice],
            f"Choice {place}: {words.lamps(best.number)}",
            folder / f"choice_{place}.png",
        )
        for place, (choice, traced) in enumerate(zip(best.choices, best.traced, strict=True), 1)
    )
    return [
        Section("Where the lamps go: choice 1", (), lamps_tables.drill_table(study)),
        Section("How many", (), lamps_tables.numbers_table(study)),
        Section("The best choices", (), lamps_tables.choices_table(study), pictures),
        Section("Map of places", (), None, (write_lamps_map(study, folder / "map.png"),)),
        Section("What else to know", words.details(study)),
    ]


def _scene_file(study: LampStudy, one: LampCount, home: Path) -> str:
    """The best choice of a number of lamps as a scene file (text) for a folder."""
    entries = [study.places[k].lamp(f"lamp {i}") for i, k in enumerate(one.choices[0], 1)]
    what = f"Best choice found of {words.lamps(one.number)}"
    heading = scene_heading(what, "lamps", study.scene.path, study.interrupted)
    return lamps_toml(study.scene, entries, home, heading)
