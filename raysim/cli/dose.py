"""`raysim dose`: the main job."""

import dataclasses
import math
import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from raysim.base.fault_codes import Code
from raysim.cli import INTERRUPTED, NO_FINITE_TIME
from raysim.cli.common import SCENE, Teller, checked_scene, quiet_option
from raysim.cli.given import PLACE, FiniteRange
from raysim.cli.groups import examples

if TYPE_CHECKING:
    from raysim.dose.result import Result


@click.command(
    name="dose",
    epilog=examples(
        "raysim dose scenes/clinic_locker.toml",
        "raysim dose my_box/my_box.toml --out results/tuesday --precision 0.01",
        'raysim dose scenes/clinic_locker.toml --without "rear left" --out results/lamp_out',
        "raysim dose my_box/my_box.toml --json --no-pictures --force > result.json",
        "raysim dose my_box/my_box.toml --out results/tuesday --resume",
    ),
)
@SCENE
@click.option("--out", type=PLACE, help="Folder of the results [results/NAME].")
@click.option(
    "--seed",
    type=click.IntRange(0, 2**64 - 1),
    default=1,
    show_default=True,
    help="Key of the random numbers.",
)
@click.option(
    "--photons",
    type=click.IntRange(1, 10**13),
    help="Photons from the lamps. Alone, it makes a run of photons only.",
)
@click.option(
    "--precision",
    type=FiniteRange(0.0005, 1.0, max_open=True),
    help="How near the bound must come to the worst irradiance [0.02].",
)
@click.option("--without", multiple=True, metavar="LAMP", help="A lamp that is out (repeatable).")
@click.option("--threads", type=click.IntRange(1, 1024), help="Threads [all cores].")
@click.option(
    "--case",
    type=click.Choice(["cautious", "expected"]),
    default="cautious",
    show_default=True,
    help="Which case the map and faces.csv show.",
)
@click.option("--json", "as_json", is_flag=True, help="Print result.json, and nothing else.")
@click.option(
    "--pictures/--no-pictures", default=True, show_default=True, help="Draw the dose map."
)
@quiet_option("No progress, no warnings, no bottom line.")
@click.option("--force", is_flag=True, help="Overwrite results that stand there.")
@click.option("--resume", is_flag=True, help="Go on with a run that was broken off.")
@click.pass_context
def command(
    context: click.Context,
    *,
    scene: Path,
    out: Path | None,
    seed: int,
    photons: int | None,
    precision: float | None,
    without: tuple[str, ...],
    threads: int | None,
    case: str,
    as_json: bool,
    pictures: bool,
    quiet: bool,
    force: bool,
    resume: bool,
) -> None:
    """Dose map, worst-lit face and exposure time of SCENE, with a report.

    The timer setting comes from the cautious case: the low end of every reflectance, and lamps
    that are aged, dirty and warm. Exit status 3 says that no finite time can be vouched for.

    A run that was broken off, by Ctrl-C or a power cut, goes on with --resume and ends as if it
    had never stopped. It takes the numbers it was begun with; only --out has to be given again.
    """
    from raysim.cli.resume import checkpoint_in, resume_line, run_options, writing
    from raysim.output.files.folder import claimed, write_results

    folder = out or Path("results") / scene.stem
    teller = Teller(quiet or as_json)
    built, warnings = checked_scene(scene, teller)
    broken_off, trouble = False, ""
    with claimed(folder, force, resume, scene):
        checkpoint = checkpoint_in(folder, resume, quiet)
        run = run_options(context, checkpoint)
        teller.warn(warnings)
        result = _traced(
            built, teller, run, threads=threads, warnings=warnings, checkpoint=checkpoint
        )
        same_again = _same_again(scene, **run, case=case)
        try:
            with writing(checkpoint):
                trouble = write_results(
                    result,
                    folder,
                    case=case,
                    pictures=pictures,
                    command=same_again,
                    notice=teller.notice,
                )
        except KeyboardInterrupt:
            broken_off = True
        if not result.interrupted:
            checkpoint.remove()
    if broken_off and not quiet:
        without_pictures = " but for the pictures" if trouble else ""
        click.echo(f"raysim: interrupted; the results are whole{without_pictures}", err=True)
    elif trouble and not quiet:
        click.echo(f"warning: no pictures could be drawn on this machine ({trouble})", err=True)
    _tell(result, folder, case, as_json, quiet)
    if result.interrupted and not quiet:
        click.echo(f"\nraysim: interrupted; go on with: {resume_line(scene, out)}", err=True)
    if result.interrupted or broken_off:
        sys.exit(INTERRUPTED)
    if not math.isfinite(result.timer):
        sys.exit(NO_FINITE_TIME)


def _traced(built, teller, run, *, threads, warnings, checkpoint) -> "Result":  # type: ignore[no-untyped-def]
    from raysim.assess.uncertainty import uncertainty_budget
    from raysim.dose.simulate import simulate
    from raysim.transport.options import RunOptions
    from raysim.transport.threads import default_threads
    from raysim.verdict.rules import with_verdict
    from raysim.verdict.stray_light import stray_light

    teller.compiling()
    with teller.bar():
        result = simulate(
            built,
            threads=threads,
            progress=teller.progress,
            warnings=warnings,
            checkpoint=checkpoint,
            **run,
        )
    if result.interrupted:
        return with_verdict(result)
    try:
        teller.notice("weighing the doubts")
        budget = uncertainty_budget(result, run["seed"], threads, built.poses)
        if built.written.gap:
            teller.notice("looking through the gaps")
        leaks = stray_light(built, RunOptions(run["seed"], threads or default_threads()))
    except KeyboardInterrupt:
        return with_verdict(dataclasses.replace(result, interrupted=True))
    return with_verdict(dataclasses.replace(result, budget=budget), leaks)


def _same_again(
    scene: Path,
    *,
    seed: int,
    photons: int | None,
    precision: float | None,
    without: tuple[str, ...],
    case: str,
) -> str:
    """The command line that repeats the run with the same numbers."""
    words = ["raysim", "dose", str(scene), "--seed", str(seed)]
    words += ["--photons", str(photons)] if photons is not None else []
    words += ["--precision", str(precision)] if precision is not None else []
    for lamp in without:
        words += ["--without", lamp]
    words += ["--case", case] if case != "cautious" else []
    return shlex.join(words)


def _tell(result: "Result", folder: Path, case: str, as_json: bool, quiet: bool) -> None:
    """Print the main result and the cautions, or the result as JSON."""
    from raysim.output.files.folder import json_text
    from raysim.output.files.records import result_record
    from raysim.output.words.cautions import CAUTION_LINE
    from raysim.output.words.failures import failure_line
    from raysim.output.words.germs import germ_lines
    from raysim.output.words.uncertainty import budget_lines
    from raysim.output.words.verdict import opening_lines
    from raysim.output.words.wear import reuse_lines

    if as_json:
        click.echo(json_text(result_record(result, case)), nl=False)
        return
    if quiet:
        return
    unreached = Code.PRECISION_NOT_REACHED
    before = {str(fault) for fault in result.warnings if fault.code is unreached}
    for line in sorted(before):
        click.echo(f"warning: {line}", err=True)
    click.echo(f"\n{result.title}\n")
    uncertainty = budget_lines(result.budget)
    failure = filter(None, [failure_line(result)])
    others = [*failure, *uncertainty, *germ_lines(result), *reuse_lines(result)]
    for line in [*opening_lines(result), *others]:
        click.echo(click.wrap_text(line, 92, "  ", "  "))
    click.echo("\n" + click.wrap_text(CAUTION_LINE, 92, "  ", "  "))
    click.echo(f"\n  Report: {folder / 'report.html'}")
