"""Checkpoints: what a run has traced so far, in a file from which it goes on to the last bit.

Random numbers are a function of photon and path numbers, photon tallies are whole numbers, and
sums over backward paths are added to in the order of the paths. So a run that goes on from its
tallies ends as one that was never stopped, with any number of threads.
"""

import re
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.errors import RaysimError, printable
from raysim.base.interrupts import hold_interrupts
from raysim.dose.checkpoint_file import (
    CHECKPOINT,
    Arrays,
    Kind,
    broken,
    read_checkpoint,
    write_checkpoint,
)
from raysim.dose.part import Part

CHECKPOINT_FILE = "checkpoint.npz"
INTERVAL = 10.0  # s between two checkpoints
LARGEST_SHARE = 0.02  # of the time may go into writing them

_Kept = tuple[Callable[[], Arrays], Callable[[Arrays], None]]


def is_checkpoint(name: str) -> bool:
    """Whether a file of this name is a checkpoint, or one that was being written."""
    return re.fullmatch(r"checkpoint(-\d+)?\.npz(\.part)?", name) is not None


# What a command line can have asked for.
_KINDS: dict[str, tuple[type, ...]] = {
    "seed": (int,),
    "photons": (int, type(None)),
    "precision": (int, float, type(None)),
    "without": (list,),
    "part": (str,),
}


def _was_asked(options: dict[str, Any]) -> bool:
    """Whether options are of the kinds that a run is begun with.

    Raises
    ------
    ValueError
        For a part that is none.
    """
    kinds = all(type(value) in _KINDS.get(name, ()) for name, value in options.items())
    if kinds and "part" in options:
        Part.read(options["part"])
    return kinds and all(isinstance(name, str) for name in options.get("without", []))


def differences(
    then: tuple[Mapping[str, str], Mapping[str, Any]],
    now: tuple[Mapping[str, str], Mapping[str, Any]],
    inputs: str = "{} has changed since",
    options: str = "{} was {} and is now {}",
) -> list[str]:
    """In which inputs and options two runs differ, in these words."""
    found = [
        inputs.format(name)
        for name in sorted(then[0].keys() | now[0].keys())
        if then[0].get(name) != now[0].get(name)
    ]
    return found + [
        options.format(name, then[1].get(name), now[1].get(name))
        for name in sorted(then[1].keys() | now[1].keys())
        if then[1].get(name) != now[1].get(name)
    ]


@dataclass
class Checkpoint:
    """The checkpoint of one run: where it lies, what it holds, when the next one is due.

    Attributes
    ----------
    path : Path, optional
        None for a run without a checkpoint.
    options : dict
        Numbers that the run was asked for; of a resumed run those that it was begun with.
    seconds : float
        Time that the run had taken when it was broken off.
    is_resumed : bool
        Whether it was read from a file.
    is_joined : bool
        Whether it was put together from parts, and lies nowhere until the first is written.
    inputs : dict
        Hash or version of everything that numbers depend on, by a name for the user.
    saved : dict of arrays
        Tallies of the file that nobody has taken back yet.
    more : dict
        What else the file states.
    tell : callable
        Called, once, with a line about checkpoints that cannot be written.
    """

    path: Path | None = None
    options: dict[str, Any] = field(default_factory=dict)
    seconds: float = 0.0
    is_resumed: bool = False
    is_joined: bool = False
    inputs: dict[str, str] = field(default_factory=dict)
    saved: Arrays = field(default_factory=dict)
    more: dict[str, Any] = field(default_factory=dict)
    tell: Callable[[str], None] = lambda line: None
    _kept: dict[str, _Kept] = field(default_factory=dict)
    _started: float = field(default_factory=time.perf_counter)
    _due: float = 0.0
    _told: bool = False

    @classmethod
    def resumed(cls, path: Path, kind: Kind = CHECKPOINT) -> "Checkpoint":
        """Checkpoint that a run was broken off at.

        Raises
        ------
        RaysimError
            Where there is none, or it is broken.
        """
        header, arrays = read_checkpoint(path, kind)
        try:
            seconds = float(header.pop("seconds"))
            inputs, options = dict(header.pop("inputs")), dict(header.pop("options"))
            if not (seconds >= 0.0 and _was_asked(options)):
                raise ValueError
        except (KeyError, TypeError, ValueError):
            raise broken(path, "its header lacks entries, or has odd ones", kind) from None
        return cls(path, options, seconds, True, inputs=inputs, saved=arrays, more=header)

    def part(self, number: int) -> "Checkpoint":
        """Checkpoint of one run out of several that share a folder; number 0 is this one."""
        if number == 0 or self.path is None:
            return self
        path = self.path.with_name(f"{self.path.stem}-{number}.npz")
        if self.is_resumed and path.exists():
            found = Checkpoint.resumed(path)
            found.tell = self.tell
            return found
        return Checkpoint(path, tell=self.tell)

    def begin(self, inputs: Mapping[str, str], options: Mapping[str, Any]) -> None:
        """State what the run rests on.

        Parameters
        ----------
        inputs : mapping
            Hash or version of everything that numbers depend on, by a name for the user.
        options : mapping
            Numbers that the run was asked for, as JSON can hold them.

        Raises
        ------
        RaysimError
            Where a resumed run was begun with others.
        """
        self._started = time.perf_counter()
        changes = differences((self.inputs, self.options), (inputs, options))
        if changes and self.is_joined:
            raise RaysimError(
                printable(
                    f"these parts cannot be joined here: {'; '.join(changes)}. Mend: join them "
                    "with the --scene, the --device and the versions that they were traced with"
                )
            )
        if changes and self.is_resumed:
            raise RaysimError(
                printable(
                    f"{self.path}: this run cannot be continued: {'; '.join(changes)}. "
                    "Mend: undo the change, or begin anew with --force and without --resume"
                )
            )
        self.inputs, self.options = dict(inputs), dict(options)

    def keep(
        self, name: str, tallies: Callable[[], Arrays], restore: Callable[[Arrays], None]
    ) -> None:
        """Have what `tallies` returns in every checkpoint; `restore` is given it back, if any.

        Raises
        ------
        RaysimError
            Where the tallies of a resumed run do not fit.
        """
        self._kept[name] = (tallies, restore)
        start = f"{name}."
        own = [key for key in self.saved if key.startswith(start)]
        saved = {key.removeprefix(start): self.saved.pop(key) for key in own}
        if not saved:
            return
        try:
            for key, array in saved.items():
                if array.dtype.kind == "f" and np.isnan(array).any():
                    raise ValueError(f"{key} holds what is no number")
            restore(saved)
        except (ValueError, LookupError, TypeError) as error:
            if self.is_joined:
                said = f"these parts do not add up to a run: {error}. Mend: trace them again"
                raise RaysimError(printable(said)) from None
            raise broken(Path(str(self.path)), f"its tallies do not fit: {error}") from None

    def watching(self, progress: Callable[[str, float, float], None]) -> Any:
        """Progress that writes a checkpoint too, where one is due."""

        def watched(what: str, done: float, whole: float) -> None:
            self.save_if_due()
            progress(what, done, whole)

        return watched

    def save_if_due(self) -> None:
        """Write a checkpoint where the last one is old enough."""
        if self.path is not None and time.perf_counter() >= self._due:
            self.save()

    def save(self) -> None:
        """Write a checkpoint now. One that cannot be written is told of; the run goes on."""
        if self.path is None:
            return
        began = time.perf_counter()
        try:
            with hold_interrupts():
                self.write(self.path)
        except OSError as error:
            if not self._told:
                self._told = True
                self.tell(
                    f"{self.path}: no checkpoint can be written ({error.strerror or error}); the "
                    "run goes on, but could not be continued from here if it were broken off"
                )
        done = time.perf_counter()
        self._due = done + max(INTERVAL, (done - began) / LARGEST_SHARE)

    def write(self, path: Path, **more: Any) -> None:
        """Write all that is kept into a file, which states `more` as well.

        Raises
        ------
        OSError
            Where writing fails.
        """
        arrays = self.saved | {
            f"{name}.{key}": array
            for name, (tallies, _) in self._kept.items()
            for key, array in tallies().items()
        }
        header = {
            "inputs": self.inputs,
            "options": self.options,
            "seconds": self.seconds + time.perf_counter() - self._started,
        }
        write_checkpoint(path, header | more, arrays)

    def let_go(self) -> None:
        """Keep no tallies any more: the run has ended, and they take much memory."""
        self._kept.clear()

    def remove(self) -> None:
        """Remove the checkpoint and those of its parts: the run has ended well, or begins anew."""
        if self.path is not None:
            for path in self.path.parent.glob("checkpoint*"):
                if is_checkpoint(path.name):
                    path.unlink(missing_ok=True)
