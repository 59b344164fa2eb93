"""`raysim hooks`: where the hooks should go, and how many respirators."""

import math
import sys
from pathlib import Path

import click

from raysim.cli import NO_FINITE_TIME
from raysim.cli.common import Teller, checked_scene
from raysim.cli.groups import examples
from raysim.cli.hooks_options import AskedHooks, asked_of_study, hook_options
from raysim.cli.study import (
    POSE,
    command_line,
    precision_option,
    run_options,
    show,
    study_options,
    tell_pose,
)


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
    *,
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
    from raysim.output.studies.hooks import write
    from raysim.output.words.hooks import answer, more_lines
    from raysim.studies.hooks import study

    folder = out or Path("results") / f"{scene.stem}_hooks"
    teller = Teller(quiet or as_json)
    asked = asked_of_study(AskedHooks(**given))  # type: ignore[arg-type]
    built, warnings = checked_scene(scene, teller)
    click.get_current_context().with_resource(claimed(folder, force, scene=scene))
    tell_pose(built, pose, teller)
    teller.warn(warnings)
    teller.compiling()
    with teller.bar():
        found = study(
            built,
            pose=pose,
            precision=precision,
            options=run_options(seed, threads, teller),
            **asked,
        )
    write(found, folder, command=command_line())
    said = answer(found), more_lines(found)
    show(folder, found.load.scene.written.title, said, as_json, quiet)
    if not math.isfinite(found.best.best.time):
        sys.exit(NO_FINITE_TIME)
