"""Options of `raysim hooks`: how lengths, ranges, points and numbers are read."""

import math
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any

import click

from raysim.base.errors import RaysimError
from raysim.base.units import LENGTH, TIME, parse_quantity

MOST_RESPIRATORS = 40


def _length(text: str, option: str, unit: str) -> float:
    """Metres of a number in `unit`, or of a number with its own."""
    mend = f"a number of {unit}, or a number with its unit"
    with suppress(ValueError):
        text = f"{float(text)} {unit}"
    try:
        value = parse_quantity(text, LENGTH)
    except ValueError as error:
        raise RaysimError(f'{option} "{text}": {error}. Mend: {mend}') from None
    if abs(value) > 100.0:
        raise RaysimError(f'{option} "{text}": no length in a box. Mend: {mend}')
    return value


def lengths(
    text: str, option: str, count: int = 3, separator: str = ",", *, unit: str = "mm"
) -> tuple[float, ...]:
    """`count` lengths (m) from a text, plain numbers in `unit`; three make a position.

    Raises
    ------
    RaysimError
        If the count differs, or a part is not a length.
    """
    parts = [part.strip() for part in text.split(separator)]
    if len(parts) != count:
        shape = separator.join(("100", "120", "400")[:count])
        raise RaysimError(f'{option} "{text}": not {count} lengths. Mend: {option} {shape}')
    return tuple(_length(part, option, unit) for part in parts)


def _one(least: float = -math.inf, mend: str = "") -> Callable[[str, str, str], float]:
    """Reader of one length, which is not below `least` (m)."""

    def read(text: str, option: str, unit: str) -> float:
        (found,) = lengths(text, option, 1, unit=unit)
        if found < least:
            raise RaysimError(f'{option} "{text}": too small. Mend: {mend}')
        return found

    return read


def _range(text: str, option: str, unit: str) -> tuple[float, float]:
    low, high = lengths(text, option, 2, "..", unit=unit)
    if low > high:
        raise RaysimError(f'{option} "{text}": ends before it begins. Mend: {option} 100..300')
    return low, high


def seconds(text: str, option: str) -> float:
    """Seconds of a time with its unit.

    Raises
    ------
    RaysimError
        If it is not a time, or below zero.
    """
    try:
        value = parse_quantity(text, TIME)
    except ValueError as error:
        raise RaysimError(f'{option} "{text}": {error}. Mend: {option} "5 min"') from None
    if value < 0.0:
        raise RaysimError(f'{option} "{text}": below zero. Mend: {option} "5 min"')
    return value


def number_range(text: str, option: str = "--number") -> range:
    """Numbers of respirators asked for: one, or from A to B.

    Raises
    ------
    RaysimError
        If the text gives no such numbers.
    """
    first, dots, last = text.partition("..")
    try:
        low, high = int(first), int(last if dots else first)
    except ValueError:
        low, high = 0, 0
    if not 1 <= low <= high <= MOST_RESPIRATORS:
        raise RaysimError(
            f'{option} "{text}": not a number of respirators from 1 to {MOST_RESPIRATORS}. Mend: '
            f"{option} 4, or {option} 1..6"
        )
    return range(low, high + 1)


class _Read(click.ParamType):  # type: ignore[type-arg]
    """What a function reads from a text, told the name of the option."""

    name = "text"

    def __init__(self, read: Callable[..., Any]) -> None:
        self.read = read

    def convert(self, value: str, param: Any, ctx: Any) -> Any:
        """What was meant, in SI units."""
        return self.read(value, param.opts[0])


class Lengths(_Read):
    """The same, told also the unit of the scene, in which plain numbers are."""

    def convert(self, value: str, param: Any, ctx: Any) -> Any:
        """What was meant, in m."""
        return self.read(value, param.opts[0], _unit(ctx))


def _unit(ctx: click.Context) -> str:
    """Unit of the scene that was named; mm where it cannot be read, which is told elsewhere."""
    from raysim.scene.file.read import read_scene

    try:
        return read_scene(ctx.params["scene"]).units
    except (KeyError, RaysimError):
        return "mm"


def _position(text: str, option: str, unit: str) -> tuple[float, ...]:
    return lengths(text, option, unit=unit)


HEIGHT, POSITION, RANGE = Lengths(_one()), Lengths(_position), Lengths(_range)
SPACING = Lengths(_one(0.001, "at least 1 mm"))
CLEARANCE = Lengths(_one(0.0, "a length of at least 0"))
TIME_BETWEEN, NUMBERS = _Read(seconds), _Read(number_range)


def asked_of_study(
    *,
    clear_wall: float,
    clear_lamp: float,
    clear_other: float,
    at: Sequence[tuple[float, float, float]],
    turn: Sequence[float],
    height: Sequence[float],
    spacing: float,
    x: tuple[float, float] | None,
    y: tuple[float, float] | None,
    **asked: Any,
) -> dict[str, Any]:
    """What was typed (m, degrees), as the study of hooks takes it by keyword.

    Raises
    ------
    RaysimError
        If positions and a grid are asked for at once.
    """
    from raysim.studies.hooks.clearances import Clearances
    from raysim.studies.hooks.points import Grid, listed_points

    clearances = Clearances(clear_wall, clear_lamp, clear_other)
    turns = list(dict.fromkeys(turn)) or [0.0]
    if not at:
        points = Grid(list(height), spacing, x, y, turns)
        return asked | {"clearances": clearances, "points": points}
    for option, given in (("--height", height), ("--x", x), ("--y", y)):
        if given:
            raise RaysimError(f"{option}: goes with the grid, not with --at. Mend: take one out")
    return asked | {"clearances": clearances, "points": listed_points(at, turns)}
