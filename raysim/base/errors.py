"""Faults of a user's input, each told in one line."""

from dataclasses import dataclass
from enum import StrEnum

from raysim.base.fault_codes import Code


def printable(text: str) -> str:
    """Text as one line without control characters, whatever the names in it contain."""
    one_line = " ".join(text.split())
    return "".join(
        letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in one_line
    )


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


class RaysimError(Exception):
    """A fault of input or surroundings that the user can mend; its text is one clear line."""


class SceneError(RaysimError):
    """A scene that cannot be run; `faults` holds every fault found, warnings included."""

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = faults
        super().__init__("\n".join(str(f) for f in faults if f.level is Level.ERROR))
