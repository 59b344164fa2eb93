"""Everything that is written of a study of hooks."""

from pathlib import Path

from raysim.output.files.folder import write_whole
from raysim.output.files.hooks_record import hooks_record
from raysim.output.files.scene_file import layout_toml
from raysim.output.pages.study_report import Section, StudyPage, write_study
from raysim.output.pictures.hooks_chart import write_hooks_map
from raysim.output.pictures.hooks_picture import write_layout_picture
from raysim.output.studies.page import repeat_rows, write_record
from raysim.output.words import hooks as words
from raysim.output.words import hooks_tables
from raysim.output.words.cautions import CAUTION_LINE
from raysim.studies.hooks.result import HookStudy, NumberResult


def write(study: HookStudy, folder: str | Path, *, command: str = "") -> None:
    """Write result.json, scene files, pictures and report.html into `folder`, whole or not at all.

    best.toml is the best layout, layouts/ holds the best one of every number: run `raysim dose` on
    it before setting a timer. Results that stand there are replaced. `command` is the command line
    that repeats the study, to be shown in the report.

    Raises
    ------
    RaysimError
        Where writing fails; what stood there before is still there.

    >>> import raysim, tempfile
    >>> from raysim.studies import hooks
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")
    >>> points = [hooks.Hang((0.2, 0.15, 0.38)), hooks.Hang((0.2, 0.25, 0.38))]
    >>> found = hooks.study(scene, numbers=[1], points=points, precision=0.9)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write(found, folder)
    ...     sorted(path.name for path in Path(folder).iterdir())
    ['best.toml', 'layouts', 'pictures', 'report.html', 'result.json']
    """
    folder, answer = Path(folder), words.answer(study)

    def fill(fresh: Path) -> None:
        write_record(hooks_record(study, answer), fresh)
        _write_scenes(study, fresh, folder)
        page = StudyPage(
            kind="UVC hook report",
            title=study.load.scene.written.title,
            answer=answer,
            more=words.more_lines(study),
            sections=_sections(study, fresh / "pictures"),
            repeat=repeat_rows(command, "rays", f"{study.rays:,}"),
        )
        write_study(page, fresh / "report.html")

    write_whole(folder, fill)


def _sections(study: HookStudy, folder: Path) -> tuple[Section, ...]:
    """Tables and pictures; the pictures are put into `folder`."""
    chart = write_hooks_map(study, folder / "map.png")
    best = []
    if not study.best.all_dark:
        pictures = tuple(
            write_layout_picture(
                layout,
                words.layout_title(place, study.best.number),
                folder / f"layout_{place}.png",
            )
            for place, layout in enumerate(study.best.layouts, 1)
        )
        best = [
            Section("The best layouts", (), hooks_tables.layouts_table(study.best), pictures),
            Section("Where to drill: layout 1", (), hooks_tables.drill_table(study)),
        ]
    return (
        Section("How many", (), hooks_tables.numbers_table(study)),
        *best,
        Section("Map of hook positions", (), None, (chart,)),
    )


def _write_scenes(study: HookStudy, fresh: Path, folder: Path) -> None:
    """best.toml, and the best layout of every number under layouts/."""
    (fresh / "layouts").mkdir()
    for one in study.numbers:
        text = layout_toml(study.load, one.best.layout, folder / "layouts", _heading(study, one))
        (fresh / "layouts" / f"{one.number}.toml").write_text(text, encoding="utf-8")
    best = study.best
    text = layout_toml(study.load, best.best.layout, folder, _heading(study, best))
    (fresh / "best.toml").write_text(text, encoding="utf-8")


def _heading(study: HookStudy, one: NumberResult) -> tuple[str, ...]:
    what = f"Best layout found of {one.number}"
    if one.all_dark:
        what = f"Too dark, as all layouts tried of {one.number}"
    return (
        f"{what} by 'raysim hooks' from {study.load.scene.path.name}.",
        "Run 'raysim dose' on it before setting a timer.",
        CAUTION_LINE,
    )
