"""Options of `raysim hooks` and their parsing: lengths, ranges, points, numbers."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from raysim.base.errors import RaysimError
from raysim.cli.given import FiniteRange

if TYPE_CHECKING:
    from raysim.studies.hooks.load import Hang
    from raysim.studies.hooks.points import Grid

MOST_RESPIRATORS = 40


@dataclass(frozen=True)
class AskedHooks:
    """What the user asked for, as typed."""

    hang: str | None
    along: tuple[str, ...]
    take_out: tuple[str, ...]
    number: str | None
    height: tuple[str, ...]
    spacing: str
    x: str | None
    y: str | None
    at: tuple[str, ...]
    turn: tuple[float, ...]
    clear_wall: str
    clear_lamp: str
    clear_other: str
    loading: str | None


_OPTIONS = (
    click.option(
        "--number", metavar="N|A..B", help="How many respirators [1 to as many as hang now]."
    ),
    click.option(
        "--height", multiple=True, metavar="MM", help="Level plane to try [those of the hooks now]."
    ),
    click.option(
        "--spacing", default="30", show_default=True, metavar="MM", help="Of the grid of positions."
    ),
    click.option("--x", metavar="A..B", help="Only so far from the left wall, mm [whole box]."),
    click.option("--y", metavar="A..B", help="Only so far from the door, mm [whole box]."),
    click.option(
        "--at", multiple=True, metavar="X,Y,Z", help="A position, mm, instead of the grid."
    ),
    click.option(
        "--turn",
        multiple=True,
        type=FiniteRange(-360.0, 360.0),
        metavar="DEG",
        help="Turn about the vertical to try, anticlockwise from above [0].",
    ),
    click.option("--hang", metavar="NAME", help="What hangs [the first judged object]."),
    click.option(
        "--along", multiple=True, metavar="NAME", help="What goes along [its hook: the same `at`]."
    ),
    click.option(
        "--take-out", multiple=True, metavar="NAME", help="To leave out of the box, such as a rail."
    ),
    click.option(
        "--clear-wall", default="15", show_default=True, metavar="MM", help="Respirator to wall."
    ),
    click.option(
        "--clear-lamp", default="30", show_default=True, metavar="MM", help="Respirator to lamp."
    ),
    click.option(
        "--clear-other",
        default="15",
        show_default=True,
        metavar="MM",
        help="Respirator to respirator, and to what stays.",
    ),
    click.option("--loading", metavar="TIME", help='Between two cycles, such as "5 min" [0].'),
)


def hook_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add all options of hooks to a command."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def _length(text: str, option: str) -> float:
    """Metres of a number of mm, or of a number with its unit."""
    from raysim.base.units import LENGTH, parse_quantity

    try:
        value = float(text) * 0.001
    except ValueError:
        try:
            value = parse_quantity(text, LENGTH)
        except ValueError as error:
            raise RaysimError(
                f'{option} "{text}": {error}. Mend: a number of mm, or a number with its unit'
            ) from None
    if not math.isfinite(value) or abs(value) > 100.0:
        raise RaysimError(f'{option} "{text}": no length in a box. Mend: a number of mm')
    return value


def lengths(
    text: str, option: str, count: int, separator: str = ",", least: float = -math.inf
) -> tuple[float, ...]:
    """`count` lengths (m) from a text.

    Raises
    ------
    RaysimError
        If the count differs, or a part is not a length or below `least`.
    """
    parts = [part.strip() for part in text.split(separator)]
    if len(parts) != count:
        shape = separator.join(("100", "120", "400")[:count])
        raise RaysimError(f'{option} "{text}": not {count} lengths. Mend: {option} {shape}')
    found = tuple(_length(part, option) for part in parts)
    if min(found) < least:
        raise RaysimError(f'{option} "{text}": too small. Mend: a length of at least {least:g}')
    return found


def seconds(text: str | None, option: str) -> float:
    """Seconds of a time with its unit; 0 if none was given.

    Raises
    ------
    RaysimError
        If it is not a time, or below zero.
    """
    if text is None:
        return 0.0
    from raysim.base.units import TIME, parse_quantity

    try:
        value = parse_quantity(text, TIME)
    except ValueError as error:
        raise RaysimError(f'{option} "{text}": {error}. Mend: {option} "5 min"') from None
    if value < 0.0:
        raise RaysimError(f'{option} "{text}": below zero. Mend: {option} "5 min"')
    return value


def number_range(text: str | None) -> range | None:
    """Numbers of respirators asked for: one, or from A to B; None if none were.

    Raises
    ------
    RaysimError
        If the text gives no such numbers.
    """
    if text is None:
        return None
    first, dots, last = text.partition("..")
    try:
        low, high = int(first), int(last if dots else first)
    except ValueError:
        low, high = 0, 0
    if not 1 <= low <= high <= MOST_RESPIRATORS:
        raise RaysimError(
            f'--number "{text}": not a number of respirators from 1 to {MOST_RESPIRATORS}. Mend: '
            "--number 4, or --number 1..6"
        )
    return range(low, high + 1)


def asked_of_study(asked: AskedHooks) -> dict[str, Any]:
    """What the user asked for, as the study of hooks takes it by keyword.

    Raises
    ------
    RaysimError
        What is not a length, a position, a range or a time.
    """
    from raysim.studies.hooks.clearances import Clearances

    clear = {
        name: lengths(getattr(asked, f"clear_{name}"), f"--clear-{name}", 1, least=0.0)[0]
        for name in ("wall", "lamp", "other")
    }
    return {
        "numbers": number_range(asked.number),
        "points": points_to_try(asked),
        "hang": asked.hang,
        "along": asked.along,
        "take_out": asked.take_out,
        "clearances": Clearances(**clear),
        "loading": seconds(asked.loading, "--loading"),
    }


def points_to_try(asked: AskedHooks) -> "Grid | list[Hang]":
    """Hook positions to try.

    Raises
    ------
    RaysimError
        If a text is not a position, a range or a spacing.
    """
    from raysim.studies.hooks.points import Grid, listed_points

    turns = list(dict.fromkeys(asked.turn)) or [0.0]
    if asked.at:
        for option, given in (("--height", asked.height), ("--x", asked.x), ("--y", asked.y)):
            if given:
                raise RaysimError(
                    f"{option}: goes with the grid, not with --at. Mend: take one out"
                )
        points = [lengths(text, "--at", 3) for text in asked.at]
        return listed_points([(p[0], p[1], p[2]) for p in points], turns)
    (spacing,) = lengths(asked.spacing, "--spacing", 1)
    if spacing < 0.001:
        raise RaysimError(f'--spacing "{asked.spacing}": too small. Mend: at least 1 (mm)')
    heights = [lengths(text, "--height", 1)[0] for text in asked.height]
    across, deep = _range(asked.x, "--x"), _range(asked.y, "--y")
    return Grid(heights, spacing, across, deep, turns)


def _range(text: str | None, option: str) -> tuple[float, float] | None:
    if text is None:
        return None
    low, high = lengths(text, option, 2, "..")
    if low > high:
        raise RaysimError(f'{option} "{text}": ends before it begins. Mend: {option} 100..300')
    return low, high
