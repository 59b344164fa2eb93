"""`raysim hooks`: where the hooks should go, and how many respirators."""

import math
import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from raysim.cli import NO_FINITE_TIME
from raysim.cli.common import Teller, checked_scene
from raysim.cli.groups import examples
from raysim.cli.hooks_options import (
    AskedHooks,
    candidate_points,
    hook_options,
    lengths,
    number_range,
    seconds,
)
from raysim.cli.study import (
    POSE,
    compile_notice,
    in_one_pose,
    precision_option,
    show,
    study_options,
)

if TYPE_CHECKING:
    from raysim.studies.hooks.result import HookStudy, NumberResult


@click.command(
    name="hooks",
    epilog=examples(
        "raysim hooks scenes/clinic_locker.toml --number 6",
        "raysim hooks my_box/my_box.toml --number 1..2 --spacing 40 --turn 0 --turn 90",
    ),
)
@study_options
@hook_options
@POSE
@precision_option(0.05)
def command(
    scene: Path,
    out: Path | None,
    pose: str | None,
    precision: float,
    seed: int,
    threads: int | None,
    as_json: bool,
    quiet: bool,
    force: bool,
    **given: object,
) -> None:
    """Where to hang respirators in SCENE, and how many: layouts ranked by their worst face.

    What hangs is the first judged object, together with everything that is not judged and has the
    same `at` (its hook); all other judged objects and their hooks are taken out, the rest stays.
    Lengths are mm, or carry their unit ("12 in"). The best layout is written to best.toml: run
    'raysim dose' on it before setting a timer.
    """
    from raysim.output.files.folder import claimed
    from raysim.studies.hooks.clearances import Clearances
    from raysim.studies.hooks.load import find_load
    from raysim.studies.hooks.study import find_hooks

    folder = out or Path("results") / f"{scene.stem}_hooks"
    teller = Teller(quiet or as_json)
    asked = AskedHooks(**given)  # type: ignore[arg-type]
    clear = Clearances(
        *(
            lengths(getattr(asked, f"clear_{name}"), f"--clear-{name}", 1, least=0.0)[0]
            for name in ("wall", "lamp", "other")
        )
    )
    loading = seconds(asked.loading, "--loading")
    built, warnings = checked_scene(scene, teller)
    click.get_current_context().with_resource(claimed(folder, force, scene=scene))
    built = in_one_pose(built, teller, pose)
    load = find_load(built, asked.hang, asked.along, asked.take_out)
    numbers = number_range(asked.number, len(load.now))
    candidates = candidate_points(asked, load)
    teller.warn(warnings)
    compile_notice(teller)
    with teller.bar():
        study = find_hooks(
            load,
            candidates,
            numbers,
            clearances=clear,
            loading=loading,
            seed=seed,
            precision=precision,
            threads=threads,
            progress=teller.progress,
        )
    said = _write(study, folder, seed, shlex.join(["raysim", *sys.argv[1:]]))
    show(folder, built.written.title, said, as_json, quiet)
    if not math.isfinite(study.best.best.time):
        sys.exit(NO_FINITE_TIME)


def _write(
    study: "HookStudy", folder: Path, seed: int, command_line: str
) -> tuple[str, tuple[str, ...]]:
    """Write result.json, scene files, pictures and the report; returns what to say."""
    from raysim.output.files.folder import RESULT_FILE, json_text, write_whole
    from raysim.output.files.hooks_record import hooks_record
    from raysim.output.pages.study_report import Section, StudyPage, write_study
    from raysim.output.pictures.hooks_chart import write_hooks_map
    from raysim.output.pictures.hooks_picture import write_layout_picture
    from raysim.output.words import hooks as words

    answer, more = words.answer(study), words.more_lines(study)

    def fill(fresh: Path) -> None:
        record = hooks_record(study, answer, seed)
        (fresh / RESULT_FILE).write_text(json_text(record), encoding="utf-8")
        _write_scenes(study, fresh, folder)
        (fresh / "pictures").mkdir()
        chart = write_hooks_map(study, fresh / "pictures" / "map.png")
        layouts = () if study.best.all_dark else study.best.layouts
        pictures = tuple(
            write_layout_picture(
                layout,
                words.layout_title(place, study.best.number),
                fresh / "pictures" / f"layout_{place}.png",
            )
            for place, layout in enumerate(layouts, 1)
        )
        sections = (
            Section("How many", (), words.numbers_table(study)),
            *(
                (
                    Section("The best layouts", (), words.layouts_table(study.best), pictures),
                    Section("Where to drill: layout 1", (), words.drill_table(study)),
                )
                if layouts
                else ()
            ),
            Section("Map of hook positions", (), None, (chart,)),
        )
        repeat = (("command", command_line), ("rays", f"{study.rays:,}"))
        title = study.load.scene.written.title
        page = StudyPage("UVC hook report", title, answer, more, sections, repeat)
        write_study(page, fresh / "report.html")

    write_whole(folder, fill)
    return answer, more


def _write_scenes(study: "HookStudy", fresh: Path, folder: Path) -> None:
    """best.toml, and the best layout of every number under layouts/."""
    from raysim.output.files.scene_file import layout_toml
    from raysim.output.words.cautions import CAUTION_LINE

    def heading(one: "NumberResult") -> tuple[str, ...]:
        what = f"Best layout found of {one.number}"
        if one.all_dark:
            what = f"Too dark, as all layouts tried of {one.number}"
        return (
            f"{what} by 'raysim hooks' from {study.load.scene.path.name}.",
            "Run 'raysim dose' on it before setting a timer.",
            CAUTION_LINE,
        )

    (fresh / "layouts").mkdir()
    for one in study.numbers:
        text = layout_toml(study.load, one.best.layout, folder / "layouts", heading(one))
        (fresh / "layouts" / f"{one.number}.toml").write_text(text, encoding="utf-8")
    best = study.best
    text = layout_toml(study.load, best.best.layout, folder, heading(best))
    (fresh / "best.toml").write_text(text, encoding="utf-8")
