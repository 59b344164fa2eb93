"""Everything that is written of a study of hooks."""

from pathlib import Path

from raysim.output.files.hooks_record import hooks_record
from raysim.output.files.scene_file import layout_toml
from raysim.output.pages.study_report import Section, StudyPage
from raysim.output.pictures.hooks_chart import write_hooks_map
from raysim.output.pictures.hooks_picture import write_layout_picture
from raysim.output.studies.page import repeat_rows, scene_heading, write_report, write_scenes
from raysim.output.words import hooks as words
from raysim.output.words import hooks_tables
from raysim.studies.hooks.result import HookStudy, NumberResult


def write(study: HookStudy, folder: str | Path, *, command: str = "") -> None:
    """Write result.json, scene files, pictures and report.html into `folder`.

    best.toml is the best layout, layouts/ holds the best one of every number: run `raysim dose` on
    it before setting a timer.

    >>> import raysim, tempfile
    >>> from raysim.studies import hooks
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")
    >>> points = [hooks.Hang((0.2, 0.15, 0.38)), hooks.Hang((0.0, 0.0, 0.0))]
    >>> found = hooks.study(scene, numbers=[1], points=points, precision=0.9)  # quick and noisy
    >>> with tempfile.TemporaryDirectory() as place:
    ...     write(found, place)
    ...     sorted(path.name for path in Path(place).iterdir())
    ['best.toml', 'layouts', 'pictures', 'report.html', 'result.json']
    """
    answer = words.answer(study)
    page = StudyPage(
        kind="UVC hook report",
        title=study.load.scene.written.title,
        answer=answer,
        more=words.page_lines(study),
        repeat=repeat_rows(command, "rays", f"{study.rays:,}"),
    )

    def sections(fresh: Path) -> list[Section]:
        write_scenes(fresh, folder, "layouts", study, _scene_file)
        return _sections(study, fresh / "pictures")

    write_report(folder, hooks_record(study, answer), page, sections)


def _sections(study: HookStudy, folder: Path) -> list[Section]:
    """Tables and pictures; the pictures are put into `folder`."""
    chart = (write_hooks_map(study, folder / "map.png"),) if study.points else ()
    best = []
    if not study.best.all_dark:
        pictures = tuple(
            write_layout_picture(
                layout,
                words.layout_title(place, study.best.number),
                folder / f"layout_{place}.png",
            )
            for place, layout in enumerate(study.best.layouts, 1)
            if layout.has_bound and not layout.dark
        )
        best = [
            Section("Where to drill: layout 1", (), hooks_tables.drill_table(study)),
            Section("The best layouts", (), hooks_tables.layouts_table(study), pictures),
        ]
    return [
        *best,
        Section("How many", (), hooks_tables.numbers_table(study)),
        Section("Map of hook positions", (), None, chart),
        Section("What else to know", words.details(study)),
    ]


def _scene_file(study: HookStudy, one: NumberResult, home: Path) -> str:
    """The best layout of a number of respirators as a scene file (text) for a folder."""
    what = f"Best layout found of {one.number}"
    if one.all_dark:
        what = f"Too dark, as all layouts tried of {one.number}"
    heading = scene_heading(what, "hooks", study.load.scene.path, study.interrupted)
    return layout_toml(study.load, one.best.layout, home, heading)
