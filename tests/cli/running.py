"""Run the program as a user does: a process of its own, in a folder of its own."""

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import raysim
from raysim.output.cautions import CAUTION_LINE

ENVIRONMENT = os.environ | {
    "PYTHONPATH": str(Path(raysim.__file__).parents[1]),
    "PYTHONIOENCODING": "utf-8",
}
# Enough for scenes of a few faces; photons are rounded up to whole batches.
QUICK = ("--photons", "1", "--precision", "0.2")


@dataclass(frozen=True)
class Said:
    """What a run left: its exit status, and what it wrote to both outputs."""

    status: int
    out: str
    err: str

    @property
    def words(self) -> str:
        """Standard output with all white space as single blanks."""
        return " ".join(self.out.split())


def raysim_said(*words: str | Path, folder: Path) -> Said:
    """Run `raysim WORDS` in `folder`, which must not show a traceback."""
    said = answer(*words, folder=folder)
    assert "Traceback" not in said.err + said.out, said.err
    return said


def answer(*words: str | Path, folder: Path) -> Said:
    """Run `raysim WORDS` in `folder`."""
    done = subprocess.run(
        [sys.executable, "-m", "raysim", *map(str, words)],
        cwd=folder,
        env=ENVIRONMENT,
        capture_output=True,
        encoding="utf-8",
        stdin=subprocess.DEVNULL,
        timeout=300,
        check=False,
    )
    return Said(done.returncode, done.stdout, done.stderr)


def shows_cautions(text: str) -> bool:
    """Whether the cautions of the terminal stand in a text, however it is wrapped."""
    return CAUTION_LINE in " ".join(text.split())


def contents(folder: Path) -> dict[str, bytes]:
    """Every file under a folder with its bytes."""
    files = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}
