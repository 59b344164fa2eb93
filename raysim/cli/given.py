"""Types of arguments on the command line: names of files, finite numbers, words of one line."""

import math
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from raysim.base.errors import first_control
from raysim.dose.part import Part
from raysim.transport.options import MOST_PHOTONS

LONGEST_NAME, LONGEST_PATH = 255, 4000  # bytes, limits of file systems
LONGEST_TEXT = 500  # letters of a text
MOST = 1_000_000  # of things that people count


class Read(click.ParamType):  # type: ignore[type-arg]
    """What `read` makes of a word; a ValueError says what is wrong with it."""

    def __init__(self, name: str, read: Callable[[str], Any]) -> None:
        self.name, self.read = name, read

    def convert(self, value: str, param: Any, ctx: Any) -> Any:
        """What was meant."""
        try:
            return self.read(value)
        except ValueError as error:
            self.fail(str(error), param, ctx)


def _path(text: str) -> Path:
    """Name of a file or folder that a file system accepts and a report can print."""
    raw = os.fsencode(text)
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        raise ValueError("the name is not written in UTF-8; rename it") from None
    if not text:
        raise ValueError("the name is empty")
    if text.startswith("--"):  # taken for the value of the option before it
        raise ValueError(f"a name is missing before {text}; a file that begins so is ./{text}")
    if first_control(text):
        raise ValueError("the name holds control characters; rename it")
    if len(raw) > LONGEST_PATH or max(map(len, raw.split(b"/"))) > LONGEST_NAME:
        raise ValueError("the name is longer than a file system takes")
    return Path(text)


def _place(text: str) -> Path:
    """Name of an output file or folder; a dangling link is refused before the work begins."""
    path = _path(text)
    if path.is_symlink() and not path.exists():
        raise ValueError(f'"{text}" is a link that leads nowhere')
    return path


def _text(text: str) -> str:
    """Words on one line that a table can show and a file can hold."""
    if len(text) > LONGEST_TEXT:
        raise ValueError(f"{len(text)} letters are more than {LONGEST_TEXT}")
    if first_control(text):
        raise ValueError("it holds control characters or is not written in UTF-8")
    return text


class FiniteRange(click.FloatRange):
    """A number within limits; infinity and NaN are refused."""

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        """The number."""
        found = float(super().convert(value, param, ctx))
        if not math.isfinite(found):
            self.fail(f"{found} is not a finite number", param, ctx)
        return found


PART = Read("part", lambda text: str(Part.read(text)))
PATH, PLACE, TEXT = Read("path", _path), Read("path", _place), Read("text", _text)
COUNT = click.IntRange(1, MOST)
PHOTONS = click.IntRange(1, MOST_PHOTONS)
PRECISION = FiniteRange(0.0005, 1.0, max_open=True)
