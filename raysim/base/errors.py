"""Faults of a user's input, each told in one line."""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from raysim.base.fault_codes import Code


def printable(text: str) -> str:
    """Text as one line without control characters, whatever the names in it contain."""
    one_line = " ".join(text.split())
    return "".join(
        letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in one_line
    )


_JOINING = "\u200c\u200d"  # they join letters in some scripts


def first_control(text: str) -> str:
    r"""The first letter of a text that is none: for colours, lines, the direction of writing.

    "" where there is no such letter.

    >>> first_control("rear left"), first_control("rear\u202eleft")
    ('', '\u202e')
    """
    controls = ("Cc", "Cf", "Cs", "Zl", "Zp")
    found = (letter for letter in text if unicodedata.category(letter) in controls)
    return next((letter for letter in found if letter not in _JOINING), "")


class Level(StrEnum):
    """How much a fault matters."""

    ERROR = "error"  # the run is refused
    WARNING = "warning"  # the run goes on, the report repeats it


@dataclass(frozen=True)
class Fault:
    """One thing wrong or doubtful: where, what (and why it matters), and how to mend it.

    `code` says what kind of fault it is. Decide by it: the words are for people, and change.
    """

    code: Code
    file: str
    key: str
    what: str
    mend: str
    level: Level = Level.ERROR

    def __str__(self) -> str:
        text = f"{self.file}: {self.key}: {self.what}. Mend: {self.mend}"
        return printable(text)


def any_error(faults: Iterable[Fault]) -> bool:
    """Whether one of some faults is an error (definition)."""
    return any(fault.level is Level.ERROR for fault in faults)


class RaysimError(Exception):
    """A fault of input or surroundings that the user can mend; its text is one clear line."""


class SceneError(RaysimError):
    """A scene that cannot be run; `faults` holds every fault found, warnings included."""

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = faults
        super().__init__("\n".join(str(f) for f in faults if f.level is Level.ERROR))
