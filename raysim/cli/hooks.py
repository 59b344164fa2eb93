"""`raysim hooks`: where the hooks should go, and how many respirators."""

from typing import Any

import click

from raysim.cli.common import POSE
from raysim.cli.given import FiniteRange
from raysim.cli.groups import with_examples
from raysim.cli.hooks_options import (
    CLEARANCE,
    HEIGHT,
    NUMBERS,
    POSITION,
    RANGE,
    SPACING,
    TIME_BETWEEN,
    asked_of_study,
)
from raysim.cli.study import CLUSTER, precision_option, run_search, study_options


@with_examples(
    "hooks",
    "raysim hooks scenes/clinic_locker.toml --number 6",
    "raysim hooks my_box/my_box.toml --number 1..2 --spacing 40 --turn 0 --turn 90",
)
@study_options
@click.option(
    "--number",
    "numbers",
    type=NUMBERS,
    metavar="N|A..B",
    help="How many respirators [1 to as many as hang now, in steps beyond 6].",
)
@click.option(
    "--height",
    multiple=True,
    type=HEIGHT,
    metavar="LENGTH",
    help="Level plane to try [those of the hooks now].",
)
@click.option(
    "--spacing", type=SPACING, default="30 mm", metavar="LENGTH", help="Of the grid of positions."
)
@click.option("--x", type=RANGE, metavar="A..B", help="Only so far along x [whole box].")
@click.option("--y", type=RANGE, metavar="A..B", help="Only so far along y [whole box].")
@click.option(
    "--at",
    multiple=True,
    type=POSITION,
    metavar="X,Y,Z",
    help="A position instead of the grid.",
)
@click.option(
    "--turn",
    multiple=True,
    type=FiniteRange(-360.0, 360.0),
    metavar="DEG",
    help="Turn about the vertical to try, anticlockwise from above [0].",
)
@click.option("--hang", metavar="NAME", help="What hangs [the first judged object].")
@click.option(
    "--along", multiple=True, metavar="NAME", help="What goes along [its hook: the same `at`]."
)
@click.option(
    "--take-out", multiple=True, metavar="NAME", help="To leave out of the box, such as a rail."
)
@click.option(
    "--clear-wall", type=CLEARANCE, default="15 mm", metavar="LENGTH", help="Respirator to wall."
)
@click.option(
    "--clear-lamp", type=CLEARANCE, default="30 mm", metavar="LENGTH", help="Respirator to lamp."
)
@click.option(
    "--clear-other",
    type=CLEARANCE,
    default="15 mm",
    metavar="LENGTH",
    help="Respirator to respirator, and to what stays.",
)
@click.option(
    "--loading",
    type=TIME_BETWEEN,
    default="0 s",
    show_default=False,
    metavar="TIME",
    help='Between two cycles, such as "5 min" [0].',
)
@POSE
@CLUSTER
@precision_option(0.05)
def command(**given: Any) -> None:
    """Where to hang respirators in SCENE, and how many: layouts ranked by their worst face.

    What hangs is the first judged object, together with everything that is not judged and has the
    same `at` (its hook); all other judged objects and their hooks are taken out, the rest stays.
    Lengths are in the unit of the scene, or carry their own ("12 in"). The best layout is written
    to best.toml: run 'raysim dose' on it before setting a timer. Ctrl-C ends it early, with what is
    known by then.
    """
    run_search("hooks", lambda found: found.load.scene.written.title, given, asked_of_study)
