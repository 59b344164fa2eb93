"""A part of a run that several machines share: which batches of photons are its own."""

import re
from dataclasses import dataclass

from raysim.base.errors import RaysimError

PART_FILE = "part.npz"


@dataclass(frozen=True, order=True)
class Part:
    """Part `number` of `of`, counted from 1; written 3/16."""

    number: int
    of: int

    @classmethod
    def read(cls, text: str) -> "Part":
        """The part that is written so.

        Raises
        ------
        ValueError
            Where it is none.
        """
        found = re.fullmatch(r"([0-9]{1,7})/([0-9]{1,7})", text)
        part = cls(*map(int, found.groups())) if found else cls(0, 0)
        if not 1 <= part.number <= part.of:
            raise ValueError(f'"{text}" is not a part; write 3/16 for the third of sixteen')
        return part

    def __str__(self) -> str:
        """As it is typed."""
        return f"{self.number}/{self.of}"

    def batches(self, whole: int) -> range:
        """Its batches out of those of the whole run, numbered from 0; every one is of one part.

        Raises
        ------
        RaysimError
            Where there are fewer batches than parts.
        """
        if self.of > whole:
            raise RaysimError(
                f"--part {self}: the whole run has only {whole} batches of photons. Mend: share it "
                f"out over at most {whole} parts, or ask for more --photons"
            )
        return range(whole * (self.number - 1) // self.of, whole * self.number // self.of)
