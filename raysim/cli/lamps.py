"""`raysim lamps`: where the lamps should go, and how many."""

from pathlib import Path
from typing import Any

import click

from raysim.base.errors import RaysimError
from raysim.cli.common import POSE
from raysim.cli.given import PATH, TEXT
from raysim.cli.groups import with_examples
from raysim.cli.hooks_options import CLEARANCE, SPACING, Lengths, lengths, number_range
from raysim.cli.study import CLUSTER, precision_option, run_search, study_options


def _line(text: str, option: str, unit: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Ends (m) of a line."""
    first, dots, last = text.partition("..")
    if not dots:
        raise RaysimError(f'--at "{text}": not a line. Mend: --at 50,50,60..50,50,500')
    start, end = (lengths(part, option, unit=unit) for part in (first, last))
    if start == end:
        raise RaysimError(f'--at "{text}": a line without length. Mend: --at 50,50,60..50,50,500')
    return start, end


LINE = Lengths(_line)


@with_examples(
    "lamps",
    "raysim lamps scenes/clinic_locker.toml --number 1..6",
    'raysim lamps my_box/my_box.toml --lamp "T8 15 W" --along z --prices prices.toml',
    "raysim lamps my_box/my_box.toml --at 50,50,60..50,50,500 --at 250,50,60..250,50,500",
)
@study_options
@click.option(
    "--number",
    "numbers",
    type=TEXT,
    default="1..6",
    metavar="N|A..B",
    help="How many lamps.",
)
@click.option(
    "--lamp",
    "lamps",
    multiple=True,
    type=TEXT,
    metavar="NAME",
    help='Lamp to try, of the library, such as "T8 15 W" [those of the scene].',
)
@click.option(
    "--along", type=TEXT, default="xyz", metavar="AXES", help="Directions of the grid: x, y, z."
)
@click.option("--spacing", type=SPACING, metavar="LENGTH", help="Of the grid [by --most].")
@click.option(
    "--most",
    type=click.IntRange(1, 600),
    default=200,
    metavar="N",
    help="Places with room that the grid may hold, without --spacing.",
)
@click.option(
    "--at",
    multiple=True,
    type=LINE,
    metavar="X,Y,Z..X,Y,Z",
    help="A line for the middle of a lamp instead of the grid.",
)
@click.option(
    "--clear-wall",
    type=CLEARANCE,
    default="10 mm",
    metavar="LENGTH",
    help="Tube to wall, across it.",
)
@click.option(
    "--clear-door", type=CLEARANCE, default="30 mm", metavar="LENGTH", help="Tube to door."
)
@click.option(
    "--clear-load", type=CLEARANCE, default="30 mm", metavar="LENGTH", help="Tube to load."
)
@click.option(
    "--clear-other", type=CLEARANCE, default="15 mm", metavar="LENGTH", help="Tube to all else."
)
@click.option(
    "--clear-lamp", type=CLEARANCE, default="20 mm", metavar="LENGTH", help="Tube to tube."
)
@click.option(
    "--prices", type=PATH, metavar="FILE", help="Prices of lamps, holders, ballasts, as in guide."
)
@POSE
@CLUSTER
@precision_option(0.05)
def command(**given: Any) -> None:
    """Where lamps should go in SCENE, and how many: the choice that lights its darkest spot best.

    Places on a grid, or given by --at, are tried as sources alone; a programme picks the best
    choice of each number and proves how much better any other could be. What is shown is traced
    with its tubes in the way. The best is written to best.toml: run 'raysim dose' on it before
    setting a timer. Lengths are in the unit of the scene, or carry their own ("12 in"). Ctrl-C ends
    it early, with what is known by then.
    """
    run_search("lamps", lambda found: found.scene.written.title, given, asked_of_study)


def asked_of_study(
    *,
    numbers: str,
    along: str,
    spacing: float | None,
    most: int,
    at: tuple[Any, ...],
    clear_wall: float,
    clear_door: float,
    clear_load: float,
    clear_other: float,
    clear_lamp: float,
    prices: Path | None,
    **asked: Any,
) -> dict[str, Any]:
    """What was typed (m), as the study of lamps takes it by keyword.

    Raises
    ------
    RaysimError
        If it cannot be read, or lines and a grid are asked for at once.
    """
    from raysim.studies.lamps.places import LampClearances, LampGrid

    clear = LampClearances(clear_wall, clear_door, clear_load, clear_other, clear_lamp)
    if not along or set(along) - set("xyz"):
        raise RaysimError(f'--along "{along}": no directions. Mend: some of x, y and z, such as xz')
    asked |= {"numbers": _numbers(numbers), "clearances": clear, "prices": prices}
    if not at:
        return asked | {"places": LampGrid("".join(dict.fromkeys(along)), spacing, most)}
    if spacing is not None:
        raise RaysimError("--spacing: goes with the grid, not with --at. Mend: take one out")
    return asked | {"places": list(at)}


def _numbers(text: str) -> range:
    try:
        return number_range(text)
    except RaysimError:
        raise RaysimError(
            f'--number "{text}": not a number of lamps. Mend: --number 4, or --number 1..6'
        ) from None
