"""`raysim guide`: what to buy, cut, drill and do to build a box."""

import math
import sys
from pathlib import Path

import click

from raysim.cli.answers import tell_answer, tell_json
from raysim.cli.common import FORCE, JSON, SCENE, SEED, THREADS, Teller, kept_scene, quiet_option
from raysim.cli.given import PATH, PHOTONS, PLACE, PRECISION, TEXT
from raysim.cli.groups import with_examples
from raysim.cli.statuses import NO_FINITE_TIME


@with_examples(
    "guide",
    "raysim guide scenes/clinic_locker.toml",
    "raysim guide my_box/my_box.toml --units inch --paper letter",
    "raysim guide my_box/my_box.toml --prices prices.toml --stock 1250x2500",
)
@SCENE
@click.option(
    "--units",
    type=click.Choice(["mm", "inch"]),
    help="Lengths to 0.5 mm or to 1/16 inch [as the scene].",
)
@click.option(
    "--prices", type=PATH, metavar="FILE", help="Prices: a copy of prices_blank.toml, filled in."
)
@click.option(
    "--stock", type=TEXT, metavar="WxH", help="A sheet of stock, in mm or in [4 x 8 feet]."
)
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", help="Paper to print on."
)
@click.option("--out", type=PLACE, help="Folder of the guide [results/NAME_guide].")
@SEED
@click.option("--photons", type=PHOTONS, help="Photons from the lamps, as in raysim dose.")
@click.option("--precision", type=PRECISION, help="As in raysim dose [0.02].")
@THREADS
@JSON
@click.option("--pictures/--no-pictures", default=True, help="Draw the steps.")
@quiet_option("No progress, no warnings, no answer.")
@FORCE
def command(
    *,
    scene: Path,
    units: str | None,
    prices: Path | None,
    stock: str | None,
    paper: str,
    out: Path | None,
    seed: int,
    photons: int | None,
    precision: float | None,
    threads: int | None,
    as_json: bool,
    pictures: bool,
    quiet: bool,
    force: bool,
) -> None:
    """What to buy, cut, drill and do to build the box of SCENE, and to use it.

    The scene is first rounded to what is printed; that scene is traced, judged and drawn, and lies
    beside the guide. A box whose verdict is DO NOT USE gets a guide that says on every page not to
    build it, and why (exit status 3).
    """
    from raysim.cli.guide_scene import planned
    from raysim.output.files.folder import claimed
    from raysim.output.files.guide import PAGE, write
    from raysim.output.files.guide_scene import SCENE_FILE
    from raysim.output.words.guide_use import answer, rows

    teller = Teller(quiet or as_json)
    scene = kept_scene(scene, teller)
    folder = out or Path("results") / f"{scene.stem}_guide"
    click.get_current_context().with_resource(claimed(folder, force, scene=folder / SCENE_FILE))
    run = {"seed": seed, "photons": photons, "precision": precision, "threads": threads}
    plan, result = planned(scene, folder, teller, units=units, stock=stock, prices=prices, **run)
    trouble = write(plan, result, folder, paper=paper, pictures=pictures, notice=teller.notice)
    if trouble and not quiet:
        click.echo(f"warning: no pictures could be drawn on this machine ({trouble})", err=True)
    if as_json:
        tell_json(folder)
    elif not quiet:
        tell_answer(result.title, answer(plan, result), rows(plan, result))
        click.echo(f"\n  Guide: {folder / PAGE}")
    if not math.isfinite(result.timer):
        sys.exit(NO_FINITE_TIME)
