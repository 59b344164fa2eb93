"""`raysim shadows`: which spots stay dark, what hides them, what helps."""

from pathlib import Path

import click

from raysim.cli.common import Teller, checked_scene
from raysim.cli.given import FiniteRange
from raysim.cli.groups import examples
from raysim.cli.study import POSE, command_line, run_options, show, study_options, tell_pose

PHOTONS = 4_000_000


@click.command(
    name="shadows",
    epilog=examples(
        "raysim shadows scenes/folded_shut.toml",
        "raysim shadows my_box/my_box.toml --share 0.3 --smallest 1",
    ),
)
@study_options
@click.option(
    "--share",
    type=FiniteRange(0.0, 1.0, min_open=True),
    default=0.5,
    show_default=True,
    help="Spots below this share of the median are dark (and what takes a week).",
)
@click.option(
    "--smallest",
    type=FiniteRange(0.0),
    default=0.25,
    show_default=True,
    help="Smallest patch, cm2.",
)
@click.option(
    "--patches",
    type=click.IntRange(0, 3),
    default=1,
    show_default=True,
    help="For how many of the darkest patches to try what helps.",
)
@POSE
@click.option(
    "--photons",
    type=click.IntRange(1, 10**13),
    default=PHOTONS,
    show_default=True,
    help="Photons from the lamps that find the patches.",
)
def command(
    *,
    scene: Path,
    out: Path | None,
    share: float,
    smallest: float,
    patches: int,
    pose: str | None,
    photons: int,
    seed: int,
    threads: int | None,
    as_json: bool,
    quiet: bool,
    force: bool,
) -> None:
    """Connected dark patches of SCENE: where, how dark, which object hides them, what helps.

    What helps (turning, moving, relining, a lamp more) is tested by tracing for the darkest.
    """
    from raysim.output.files.folder import claimed
    from raysim.output.studies.shadows import write
    from raysim.output.words.shadows import answer, more_lines
    from raysim.studies.shadows import study

    folder = out or Path("results") / f"{scene.stem}_shadows"
    teller = Teller(quiet or as_json)
    built, warnings = checked_scene(scene, teller)
    click.get_current_context().with_resource(claimed(folder, force, scene=scene))
    teller.warn(warnings)
    tell_pose(built, pose, teller)
    teller.compiling()
    with teller.bar():
        found = study(
            built,
            share=share,
            smallest=1e-4 * smallest,
            patches=patches,
            photons=photons,
            pose=pose,
            options=run_options(seed, threads, teller),
        )
    write(found, folder, command=command_line())
    show(folder, found.result.title, (answer(found), more_lines(found)), as_json, quiet)
