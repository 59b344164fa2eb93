"""`raysim linings`: which lining is best, and what each one gains."""

import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from raysim.base.errors import RaysimError
from raysim.cli import NO_FINITE_TIME
from raysim.cli.common import Teller, checked_scene, surface_mend
from raysim.cli.groups import examples
from raysim.cli.study import (
    POSE,
    command_line,
    precision_option,
    run_options,
    show,
    study_options,
    tell_pose,
)

if TYPE_CHECKING:
    from raysim.library.surfaces import Surface


@click.command(
    name="linings",
    epilog=examples(
        "raysim linings scenes/clinic_locker.toml",
        'raysim linings my_box/my_box.toml --lining foil --lining "white paint" --price foil=1.5',
        "raysim linings my_box/my_box.toml --no-walls --json --force",
    ),
)
@study_options
@click.option("--lining", multiple=True, metavar="NAME", help="A lining to try [a dozen].")
@click.option("--price", multiple=True, metavar="NAME=P", help="Price per m2, in any money.")
@click.option(
    "--walls/--no-walls", default=True, show_default=True, help="One wall at a time, too."
)
@click.option("--wall-lining", metavar="NAME", help="Lining for one wall at a time [the best].")
@POSE
@precision_option(0.02)
def command(
    *,
    scene: Path,
    out: Path | None,
    lining: tuple[str, ...],
    price: tuple[str, ...],
    walls: bool,
    wall_lining: str | None,
    pose: str | None,
    precision: float,
    seed: int,
    threads: int | None,
    as_json: bool,
    quiet: bool,
    force: bool,
) -> None:
    """What each lining buys: worst face, exposure time, gain and cost, for SCENE relined.

    All walls get each lining in turn; then the best lining goes on one wall at a time of an
    otherwise black box. For comparing: run 'raysim dose' on the box as lined before setting a
    timer.
    """
    from raysim.output.files.folder import claimed
    from raysim.output.studies.linings import write
    from raysim.output.words.linings import answer, more_lines
    from raysim.studies.linings import study
    from raysim.studies.linings.run import LININGS

    folder = out or Path("results") / f"{scene.stem}_linings"
    teller = Teller(quiet or as_json)
    chosen = [_surface(name, "--lining") for name in dict.fromkeys(lining or LININGS)]
    prices = _prices(price, chosen)
    single = _surface(wall_lining, "--wall-lining") if wall_lining else None
    built, warnings = checked_scene(scene, teller)
    click.get_current_context().with_resource(claimed(folder, force, scene=scene))
    teller.warn(warnings)
    tell_pose(built, pose, teller)
    teller.compiling()
    with teller.bar():
        found = study(
            built,
            chosen,
            prices=prices,
            walls=walls,
            wall_lining=single,
            pose=pose,
            precision=precision,
            options=run_options(seed, threads, teller),
        )
    write(found, folder, command=command_line())
    said = answer(found), more_lines(found)
    show(folder, found.scene.written.title, said, as_json, quiet)
    if not any(math.isfinite(row.cases["cautious"].exposure_time) for row in found.rows):
        sys.exit(NO_FINITE_TIME)


def _surface(name: str, option: str) -> "Surface":
    from raysim.library.surfaces import UnknownSurface, find_surface

    try:
        return find_surface(name)
    except UnknownSurface:
        raise RaysimError(
            f'{option} "{name[:80]}": no surface is called this. Mend: {surface_mend(name)}'
        ) from None


def _prices(given: tuple[str, ...], chosen: list["Surface"]) -> dict[str, float]:
    """Price per m2 by library name."""
    prices = {}
    for entry in given:
        name, _, value = entry.rpartition("=")
        try:
            price = float(value)
        except ValueError:
            price = math.nan
        if not name or not 0.0 <= price < math.inf:
            raise RaysimError(
                f'--price "{entry}": not a name and a price. Mend: --price "white paint=4.5"'
            )
        surface = _surface(name, "--price")
        if surface not in chosen:
            raise RaysimError(
                f'--price "{entry}": this lining is not tried. Mend: add --lining "{surface.name}"'
            )
        prices[surface.name] = price
    return prices
