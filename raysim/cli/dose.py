"""`raysim dose`: the main job."""

import dataclasses
import math
import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from raysim.cli import INTERRUPTED, NO_FINITE_TIME
from raysim.cli.common import SCENE, Teller, checked_scene
from raysim.cli.given import PLACE

if TYPE_CHECKING:
    from raysim.result import Result


@click.command(
    name="dose",
    epilog="Examples: raysim dose scenes/clinic_locker.toml | "
    "raysim dose my.toml --out results/tuesday --precision 0.01",
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
    type=click.FloatRange(0.0005, 1.0, max_open=True),
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
@click.option("--quiet", is_flag=True, help="No progress, no warnings, no bottom line.")
@click.option("--force", is_flag=True, help="Overwrite results that stand there.")
def command(
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
) -> None:
    """Dose map, worst-lit face and exposure time of SCENE, with a report.

    The timer setting comes from the cautious case: the low end of every reflectance, and lamps
    that are aged, dirty and warm. Exit status 3 says that no finite time can be vouched for.
    """
    from raysim.output.folder import refuse_taken, write_results
    from raysim.provenance import written_inputs

    folder = out or Path("results") / scene.stem
    teller = Teller(quiet or as_json)
    built, warnings = checked_scene(scene)
    refuse_taken(folder, force)
    teller.warn(warnings)
    result = _traced(built, warnings, teller, seed, photons, precision, threads, without)
    trouble = write_results(
        result,
        folder,
        case,
        pictures,
        written_inputs(built.written),
        _same_again(scene, seed, photons, precision, case, without),
        teller.notice,
    )
    if trouble and not quiet:
        click.echo(f"warning: no pictures could be drawn on this machine ({trouble})", err=True)
    _tell(result, folder, case, as_json, quiet)
    if result.interrupted:
        sys.exit(INTERRUPTED)
    if not math.isfinite(result.timer):
        sys.exit(NO_FINITE_TIME)


def _traced(built, warnings, teller, seed, photons, precision, threads, without) -> "Result":  # type: ignore[no-untyped-def]
    from raysim.budget import uncertainty_budget
    from raysim.kernels.compile import is_warm
    from raysim.run import simulate

    if not is_warm("trace_adjoint"):
        teller.notice("compiling the tracer for this machine, once (half a minute)")
    with teller.bar():
        result = simulate(
            built,
            seed=seed,
            photons=photons,
            precision=precision,
            threads=threads,
            progress=teller.progress,
            warnings=warnings,
            without=without,
        )
    if result.interrupted:
        return result
    teller.notice("weighing the doubts")
    return dataclasses.replace(result, budget=uncertainty_budget(result, seed, threads))


def _same_again(
    scene: Path,
    seed: int,
    photons: int | None,
    precision: float | None,
    case: str,
    without: tuple[str, ...],
) -> str:
    """The command line that gives the same numbers again."""
    words = ["raysim", "dose", str(scene), "--seed", str(seed)]
    words += ["--photons", str(photons)] if photons is not None else []
    words += ["--precision", str(precision)] if precision is not None else []
    for lamp in without:
        words += ["--without", lamp]
    words += ["--case", case] if case != "cautious" else []
    return shlex.join(words)


def _tell(result: "Result", folder: Path, case: str, as_json: bool, quiet: bool) -> None:
    """The bottom line and the cautions, or the result as JSON."""
    from raysim.output.budget import budget_lines
    from raysim.output.cautions import CAUTION_LINE
    from raysim.output.folder import json_text
    from raysim.output.germs import germ_lines
    from raysim.output.life import reuse_lines
    from raysim.output.records import result_record
    from raysim.output.report_failures import failure_line
    from raysim.output.sentences import bottom_line

    if as_json:
        click.echo(json_text(result_record(result, case)), nl=False)
        return
    if quiet:
        return
    before = {str(fault) for fault in result.warnings if fault.key == "precision"}
    for line in sorted(before):
        click.echo(f"warning: {line}", err=True)
    click.echo(f"\n{result.title}\n")
    uncertainty = budget_lines(result.budget)
    failure = filter(None, [failure_line(result)])
    others = [*failure, *uncertainty, *germ_lines(result), *reuse_lines(result)]
    for line in [*bottom_line(result), *others]:
        click.echo(click.wrap_text(line, 92, "  ", "  "))
    click.echo("\n" + click.wrap_text(CAUTION_LINE, 92, "  ", "  "))
    click.echo(f"\n  Report: {folder / 'report.html'}")
