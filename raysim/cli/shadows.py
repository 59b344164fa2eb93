"""`raysim shadows`: which spots stay dark, what hides them, what helps."""

from typing import Any

import click

from raysim.cli.common import POSE
from raysim.cli.given import PHOTONS, FiniteRange
from raysim.cli.groups import with_examples
from raysim.cli.study import run_study, study_options


@with_examples(
    "shadows",
    "raysim shadows scenes/folded_shut.toml",
    "raysim shadows my_box/my_box.toml --share 0.3 --smallest 1",
)
@study_options
@click.option(
    "--share",
    type=FiniteRange(0.0, 1.0, min_open=True),
    default=0.5,
    help="Spots below this share of the median are dark (and what takes a week).",
)
@click.option("--smallest", type=FiniteRange(0.0), default=0.25, help="Smallest patch, cm2.")
@click.option(
    "--patches",
    type=click.IntRange(0, 3),
    default=1,
    help="For how many to try what helps, that spot first.",
)
@POSE
@click.option(
    "--photons",
    type=PHOTONS,
    help="So many photons find the patches, and no backward paths: a quick look.",
)
def command(*, smallest: float, **asked: Any) -> None:
    """The spot that sets the timer of SCENE and its dark patches: what hides them, what helps.

    What helps (turning, moving, relining, a lamp more) is tested by tracing, for that spot first.
    """
    run_study("shadows", lambda found: found.result.title, smallest=1e-4 * smallest, **asked)
