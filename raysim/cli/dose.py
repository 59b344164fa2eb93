"""`raysim dose`: the main job."""

import dataclasses
import math
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from raysim.base.systems import shell_line
from raysim.cli.answers import tell_json
from raysim.cli.common import (
    FORCE,
    JSON,
    SCENE,
    SEED,
    THREADS,
    Teller,
    checked_scene,
    quiet_option,
)
from raysim.cli.given import PART, PHOTONS, PLACE, PRECISION
from raysim.cli.groups import together, with_examples
from raysim.cli.statuses import INTERRUPTED, NO_FINITE_TIME

if TYPE_CHECKING:
    from raysim.base.errors import Fault
    from raysim.cli.first_answer import Ending
    from raysim.dose.checkpoint import Checkpoint
    from raysim.dose.result import Result
    from raysim.scene.build import BuiltScene

# How a result is shown, which changes no number of it.
SHOWN = together(
    click.option(
        "--case",
        type=click.Choice(["cautious", "expected"]),
        default="cautious",
        help="Which case the map and faces.csv show.",
    ),
    JSON,
    click.option("--pictures/--no-pictures", default=True, help="Draw the dose map."),
)
QUIET = quiet_option("No progress, no warnings, no bottom line.")


@with_examples(
    "dose",
    "raysim dose scenes/clinic_locker.toml",
    "raysim dose my_box/my_box.toml --out results/tuesday --precision 0.01",
    'raysim dose scenes/clinic_locker.toml --without "rear left" --out results/lamp_out',
    "raysim dose my_box/my_box.toml --json --no-pictures --force > result.json",
    "raysim dose my_box/my_box.toml --out results/tuesday --resume",
    "raysim dose my_box/my_box.toml --photons 10000000000 --part 3/16 --out part_3",
)
@SCENE
@click.option("--out", type=PLACE, help="Folder of the results [results/NAME].")
@SEED
@click.option(
    "--photons",
    type=PHOTONS,
    help="Photons from the lamps. Alone, it makes a run of photons only.",
)
@click.option(
    "--precision",
    type=PRECISION,
    help="How near the bound must come to the worst irradiance [0.02].",
)
@click.option("--without", multiple=True, metavar="LAMP", help="A lamp that is out (repeatable).")
@click.option(
    "--part",
    type=PART,
    metavar="K/N",
    help="Trace only this part of the photons, for `raysim join`.",
)
@THREADS
@SHOWN
@QUIET
@FORCE
@click.option("--resume", is_flag=True, help="Go on with a run that was broken off.")
def command(
    *,
    scene: Path,
    out: Path | None,
    threads: int | None,
    force: bool,
    resume: bool,
    case: str,
    as_json: bool,
    pictures: bool,
    quiet: bool,
    **typed: Any,
) -> None:
    """Dose map, worst-lit face and exposure time of SCENE, with a report.

    The timer setting comes from the cautious case: the low end of every reflectance, and lamps
    that are aged, dirty and warm. Exit status 3 says DO NOT USE: no timer.

    A run that was broken off, by Ctrl-C or a power cut, goes on with --resume and ends as if it
    had never stopped. It takes the numbers it was begun with; only --out has to be given again.

    A run may be shared out: --part 1/16 to 16/16 with the same options on as many machines, then
    `raysim join` on one of them.
    """
    from raysim.cli.part import folder_of, part_alone, refuse_shown
    from raysim.cli.resume import checkpoint_in, run_options
    from raysim.output.files.folder import claimed
    from raysim.scene.file.named import named

    refuse_shown(typed["part"])
    teller = Teller(quiet or as_json)
    built, warnings = checked_scene(scene, teller)
    folder = out or folder_of(named(scene), typed["part"])
    click.get_current_context().with_resource(claimed(folder, force, resume, named(scene)))
    checkpoint = checkpoint_in(folder, resume, quiet)
    run = run_options(typed, checkpoint)
    part = run.pop("part")
    refuse_shown(part)
    teller.warn(warnings)
    run |= {"threads": threads}
    if part:
        part_alone(built, named(scene), folder, teller, checkpoint, part=part, **run)
        return
    worked_out(
        built,
        scene,
        folder,
        checkpoint,
        warnings=warnings,
        run=run,
        shown={"case": case, "pictures": pictures},
        as_json=as_json,
        quiet=quiet,
    )


def worked_out(
    built: "BuiltScene",
    scene: Path,
    folder: Path,
    checkpoint: "Checkpoint",
    *,
    warnings: "tuple[Fault, ...]",
    run: dict[str, Any],
    shown: dict[str, Any],
    as_json: bool,
    quiet: bool,
) -> None:
    """The whole job on a checked scene: traced, told, written; ends with the exit status."""
    from raysim.cli.first_answer import answered
    from raysim.cli.resume import resume_line
    from raysim.output.words.parcel import compared
    from raysim.scene.file.named import named, parcel_of

    teller = Teller(quiet or as_json)
    parcel, scene = parcel_of(scene), named(scene)
    result = traced(built, teller, warnings=warnings, checkpoint=checkpoint, **run)
    ending = answered(
        result,
        folder,
        teller,
        checkpoint,
        budget=partial(with_budget, result, built, run["seed"], run["threads"]),
        command=_same_again(scene, shown["case"], run),
        **shown,
    )
    if parcel is not None and not result.interrupted:
        Teller(quiet).say(compared(parcel.manifest, result, scene))  # with --json, too
    unfinished = result.interrupted or not ending.whole
    if not unfinished:
        checkpoint.remove()
    if as_json:
        tell_json(folder)
    if not quiet:
        _tell_trouble(ending, resume_line(scene, folder) if unfinished else "")
    if result.interrupted or ending.broken_off:
        sys.exit(INTERRUPTED)
    if not math.isfinite(result.timer):
        sys.exit(NO_FINITE_TIME)


def _tell_trouble(ending: "Ending", go_on: str) -> None:
    """That the run was broken off, what stands there, and how to `go_on`; or lacks pictures."""
    from raysim.cli.first_answer import ANSWER_FILES

    if not ending.whole:
        kept = f"{ANSWER_FILES} are whole, nothing else was written"
        click.echo(f"\nraysim: interrupted; {kept}; go on with: {go_on}", err=True)
    elif go_on:
        click.echo(f"\nraysim: interrupted; go on with: {go_on}", err=True)
    elif ending.broken_off:
        without_pictures = " but for the pictures" if ending.trouble else ""
        click.echo(f"raysim: interrupted; the results are whole{without_pictures}", err=True)
    elif ending.trouble:
        said = f"no pictures could be drawn on this machine ({ending.trouble})"
        click.echo(f"warning: {said}", err=True)


def traced(built: "BuiltScene", teller: Teller, **run: Any) -> "Result":
    """The result with its verdict, which rests on the trace and on the light that gets out."""
    from raysim.dose.simulate import simulate
    from raysim.transport.options import RunOptions
    from raysim.transport.threads import default_threads
    from raysim.verdict.rules import with_verdict
    from raysim.verdict.stray_light import stray_light

    teller.compiling()
    with teller.bar():
        result = simulate(built, progress=teller.progress, **run)
    run["checkpoint"].let_go()
    if result.interrupted:
        return with_verdict(result)
    try:
        if built.written.gap:
            teller.notice("looking through the gaps")
        leaks = stray_light(built, RunOptions(run["seed"], run["threads"] or default_threads()))
    except KeyboardInterrupt:
        return with_verdict(dataclasses.replace(result, interrupted=True))
    return with_verdict(result, leaks)


def with_budget(result: "Result", built: "BuiltScene", seed: int, threads: int | None) -> "Result":
    """The result with its uncertainty budget; verdict and timer do not rest on it."""
    from raysim.assess.uncertainty import uncertainty_budget

    return dataclasses.replace(
        result, budget=uncertainty_budget(result, seed, threads, built.poses)
    )


def _same_again(scene: Path, case: str, run: dict[str, Any]) -> str:
    """The command line that repeats the run with the same numbers."""
    options = [(f"--{name}", run[name]) for name in ("seed", "photons", "precision")]
    options += [("--without", lamp) for lamp in run["without"]]
    options += [("--case", case)] if case != "cautious" else []
    words = ["raysim", "dose", str(scene)]
    for option, value in options:
        words += [option, str(value)] if value is not None else []
    return shell_line(words)
