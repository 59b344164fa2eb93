"""Types of arguments on the command line: names of files, finite numbers, words of one line."""

import math
import os
import unicodedata
from pathlib import Path
from typing import Any

import click

LONGEST_NAME, LONGEST_PATH = 255, 4000  # bytes, limits of file systems
LONGEST_TEXT = 500  # letters of a text
MOST = 1_000_000  # of things that people count


def _controls(text: str) -> bool:
    """Whether a text has control characters, or bytes that are no letters."""
    return any(unicodedata.category(letter) in ("Cc", "Cs") for letter in text)


class _FilePath(click.ParamType):  # type: ignore[type-arg]
    """Name of a file or folder that a file system accepts and a report can print."""

    name = "path"

    def convert(self, value: Any, param: Any, ctx: Any) -> Path:
        """The path."""
        raw = os.fsencode(value)
        try:
            raw.decode("utf-8")
        except UnicodeDecodeError:
            self.fail("the name is not written in UTF-8; rename it", param, ctx)
        if not value:
            self.fail("the name is empty", param, ctx)
        if _controls(value):
            self.fail("the name holds control characters; rename it", param, ctx)
        if len(raw) > LONGEST_PATH or max(map(len, raw.split(b"/"))) > LONGEST_NAME:
            self.fail("the name is longer than a file system takes", param, ctx)
        return Path(value)


class _PlaceToWrite(_FilePath):
    """Name of an output file or folder; a dangling link is refused before the work begins."""

    def convert(self, value: Any, param: Any, ctx: Any) -> Path:
        """The path."""
        path = super().convert(value, param, ctx)
        if path.is_symlink() and not path.exists():
            self.fail(f'"{value}" is a link that leads nowhere', param, ctx)
        return path


class FiniteRange(click.FloatRange):
    """A number within limits; infinity and NaN are refused."""

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        """The number."""
        found = float(super().convert(value, param, ctx))
        if not math.isfinite(found):
            self.fail(f"{found} is not a finite number", param, ctx)
        return found


class _Text(click.ParamType):  # type: ignore[type-arg]
    """Words on one line that a table can show and a file can hold."""

    name = "text"

    def convert(self, value: Any, param: Any, ctx: Any) -> str:
        """The words."""
        text = str(value)
        if len(text) > LONGEST_TEXT:
            self.fail(f"{len(text)} letters are more than {LONGEST_TEXT}", param, ctx)
        if _controls(text):
            self.fail("it holds control characters or is not written in UTF-8", param, ctx)
        return text


PATH, PLACE, TEXT = _FilePath(), _PlaceToWrite(), _Text()
COUNT = click.IntRange(1, MOST)
PHOTONS = click.IntRange(1, 10**13)
PRECISION = FiniteRange(0.0005, 1.0, max_open=True)
