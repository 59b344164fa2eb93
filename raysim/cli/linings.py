"""`raysim linings`: which lining is best, and what each one gains."""

import math
from typing import Any

import click

from raysim.base.errors import RaysimError
from raysim.cli.common import POSE
from raysim.cli.groups import with_examples
from raysim.cli.study import CLUSTER, leave, precision_option, run_study, study_options


@with_examples(
    "linings",
    "raysim linings scenes/clinic_locker.toml",
    'raysim linings my_box/my_box.toml --lining "dull foil" --price "dull foil=1.5"',
    "raysim linings my_box/my_box.toml --no-walls --json --force",
)
@study_options
@click.option(
    "--lining", multiple=True, metavar="NAME", help="A lining to try, of the scene's own too."
)
@click.option("--price", multiple=True, metavar="NAME=P", help="Price per m2, in any money.")
@click.option("--walls/--no-walls", default=True, help="One wall at a time, too.")
@click.option("--wall-lining", metavar="NAME", help="Lining for one wall at a time [the best].")
@POSE
@CLUSTER
@precision_option(0.02)
def command(*, lining: tuple[str, ...], price: tuple[str, ...], **asked: Any) -> None:
    """What each lining buys: worst face, exposure time, gain and cost, for SCENE relined.

    All walls get each lining in turn; then the best lining goes on one wall at a time of an
    otherwise black box. For comparing: run 'raysim dose' on the box as lined before setting a
    timer. Ctrl-C ends it early, with what is known by then.
    """
    found = run_study(
        "linings",
        lambda found: found.scene.written.title,
        linings=lining or None,
        prices=_prices(price),
        **asked,
    )
    times = (row.cases["cautious"].exposure_time for row in found.rows)
    leave(found.interrupted, any(map(math.isfinite, times)))


def _prices(given: tuple[str, ...]) -> dict[str, float]:
    """Price per m2 by name."""
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
        prices[name] = price
    return prices
