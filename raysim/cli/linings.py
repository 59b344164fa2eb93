"""`raysim linings`: which lining is best, and what each one gains."""

import math
import sys
from typing import TYPE_CHECKING, Any

import click

from raysim.base.errors import RaysimError
from raysim.cli import NO_FINITE_TIME
from raysim.cli.common import POSE, named_surface
from raysim.cli.groups import with_examples
from raysim.cli.study import precision_option, run_study, study_options

if TYPE_CHECKING:
    from raysim.library.surfaces import Surface


@with_examples(
    "linings",
    "raysim linings scenes/clinic_locker.toml",
    'raysim linings my_box/my_box.toml --lining foil --lining "white paint" --price foil=1.5',
    "raysim linings my_box/my_box.toml --no-walls --json --force",
)
@study_options
@click.option("--lining", multiple=True, metavar="NAME", help="A lining to try [a dozen].")
@click.option("--price", multiple=True, metavar="NAME=P", help="Price per m2, in any money.")
@click.option("--walls/--no-walls", default=True, help="One wall at a time, too.")
@click.option("--wall-lining", metavar="NAME", help="Lining for one wall at a time [the best].")
@POSE
@precision_option(0.02)
def command(
    *, lining: tuple[str, ...], price: tuple[str, ...], wall_lining: str | None, **asked: Any
) -> None:
    """What each lining buys: worst face, exposure time, gain and cost, for SCENE relined.

    All walls get each lining in turn; then the best lining goes on one wall at a time of an
    otherwise black box. For comparing: run 'raysim dose' on the box as lined before setting a
    timer.
    """
    from raysim.studies.linings.run import LININGS

    chosen = [_surface(name, "--lining") for name in dict.fromkeys(lining or LININGS)]
    found = run_study(
        "linings",
        lambda found: found.scene.written.title,
        linings=chosen,
        prices=_prices(price, chosen),
        wall_lining=_surface(wall_lining, "--wall-lining") if wall_lining else None,
        **asked,
    )
    if not any(math.isfinite(row.cases["cautious"].exposure_time) for row in found.rows):
        sys.exit(NO_FINITE_TIME)


def _surface(name: str, option: str) -> "Surface":
    return named_surface(name, f'{option} "{name[:80]}": no surface is called this')


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
