"""Every step of an edited text in a file on disk: draft and undo that outlive the program.

The first line holds the text as it was opened, each further line one step: what was cut out, what
was put in, and where; or that one was undone, redone or saved. A last line that was torn by a power
cut is left out.
"""

import json
import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from raysim.base.errors import RaysimError


@dataclass(frozen=True)
class Step:
    """One change of a text: at `at` the letters `out` gave way to `put`; `says` names it."""

    at: int
    out: str
    put: str
    says: str

    def done(self, text: str) -> str:
        """The text after the step (definition)."""
        return text[: self.at] + self.put + text[self.at + len(self.out) :]

    def undone(self, text: str) -> str:
        """The text before the step (definition)."""
        return text[: self.at] + self.out + text[self.at + len(self.put) :]


def step_between(before: str, after: str, says: str) -> Step:
    """The shortest step from one text to another: what both begin and end with stays.

    >>> step_between("at = [1, 2]", "at = [1, 3]", "")
    Step(at=9, out='2', put='3', says='')
    """
    short = min(len(before), len(after))
    head = next((k for k in range(short) if before[k] != after[k]), short)
    rest = short - head
    tail = next((k for k in range(rest) if before[-1 - k] != after[-1 - k]), rest)
    return Step(head, before[head : len(before) - tail], after[head : len(after) - tail], says)


class Journal:
    """A text with its steps; `done` of them lie before the text as it is now.

    Attributes
    ----------
    text : str
    saved : str
        The text that the scene file held when it was last read or written by us.
    recovered : bool
        Whether the journal of an earlier session was gone on with.
    """

    def __init__(self, path: Path, text: str) -> None:
        self.path = path
        self.steps: list[Step] = []
        self.done = 0
        self.text = self.saved = text
        self.recovered = self._read(text)
        if not self.recovered:
            self.begin(text)
        elif self.text == text != self.saved:  # it was killed before it could note that
            self.keep_saved(text)

    @property
    def undo_words(self) -> str:
        """What would be undone; "" for nothing."""
        return self.steps[self.done - 1].says if self.done else ""

    @property
    def redo_words(self) -> str:
        """What would be redone; "" for nothing."""
        return self.steps[self.done].says if self.done < len(self.steps) else ""

    def begin(self, text: str) -> None:
        """Forget all steps and begin with a text."""
        self.steps, self.done, self.text, self.saved = [], 0, text, text
        self._write({"begin": text}, anew=True)

    def change(self, text: str, says: str) -> None:
        """Take a step to a text."""
        if text == self.text:
            return
        step = step_between(self.text, text, says)
        self._write({"at": step.at, "out": step.out, "put": step.put, "says": says})
        self._take(step)

    def undo(self) -> None:
        """Take the last step back, if there is one."""
        if self.done:
            self._write({"undo": 1})
            self._back()

    def redo(self) -> None:
        """Take the step again that was taken back last, if there is one."""
        if self.done < len(self.steps):
            self._write({"redo": 1})
            self._forth()

    def keep_saved(self, text: str) -> None:
        """Note what the scene file holds."""
        self._write({"saved": text})
        self.saved = text

    def _take(self, step: Step) -> None:
        self.text = step.done(self.text)
        self.steps[self.done :] = [step]
        self.done += 1

    def _back(self) -> None:
        self.done -= 1
        self.text = self.steps[self.done].undone(self.text)

    def _forth(self) -> None:
        self.text = self.steps[self.done].done(self.text)
        self.done += 1

    def _read(self, text: str) -> bool:
        """Go on with what stands on disk; False where that is nothing, or of another text.

        A draft without a change says nothing, so a file changed elsewhere takes its place.
        """
        try:
            lines = self.path.read_bytes().splitlines(keepends=True)
            if not lines[0].endswith(b"\n"):
                return False
            self.text = self.saved = str(json.loads(lines[0])["begin"])
        except (OSError, ValueError, KeyError, TypeError, IndexError):
            return False
        sound = len(lines[0])
        for line in lines[1:]:
            try:
                if not line.endswith(b"\n"):
                    break
                self._replay(json.loads(line))
            except (ValueError, KeyError, TypeError, IndexError):
                break  # the line during which the power failed
            sound += len(line)
        with suppress(OSError):
            os.truncate(self.path, sound)  # what is added must not stand behind half a line
        if self.saved != text and self.text == self.saved:
            self.text = self.saved = text
            return False
        return True

    def _replay(self, line: dict[str, Any]) -> None:
        if "undo" in line:
            self._back()
        elif "redo" in line:
            self._forth()
        elif "saved" in line:
            self.saved = str(line["saved"])
        else:
            self._take(Step(int(line["at"]), line["out"], line["put"], str(line["says"])))

    def _write(self, line: dict[str, Any], anew: bool = False) -> None:
        """Add a line, on the disk when this returns.

        Raises
        ------
        RaysimError
            Where there is no room: the step is then not taken.
        """
        data = (json.dumps(line, ensure_ascii=False) + "\n").encode()
        size = 0
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self.path.open("wb" if anew else "ab") as file:
                size = file.tell()
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            with suppress(OSError):
                os.truncate(self.path, size)
            raise RaysimError(
                f"{self.path}: the draft cannot be kept ({error.strerror or error}), so the "
                "change was not made. Mend: make room on the disk"
            ) from None
