"""Run raysim where it can do no harm: bounded time, bounded memory, everything it says kept."""

import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import raysim

HERE = Path(__file__).parent
SECONDS = 20  # of processor time: hundreds of times what an honest answer takes
WALL = 120.0  # s, for what waits without computing
GIGABYTES = 3.0  # of address space beyond what the loaded program has


@dataclass(frozen=True)
class Answer:
    """How a command line ended: exit status, both outputs, time and memory used."""

    status: int
    out: str
    err: str
    hung: bool
    seconds: float
    megabytes: float

    @property
    def said(self) -> str:
        """Both outputs."""
        return self.out + self.err


class Kennel:
    """A process with raysim loaded that forks a limited child for each command line."""

    def __enter__(self) -> "Kennel":
        from small_scenes import write_scene

        self._private = tempfile.TemporaryDirectory()
        folder = Path(self._private.name)
        self.outputs = {name: folder / name for name in ("out", "err")}
        environment = os.environ | {
            "PYTHONPATH": str(Path(raysim.__file__).parents[1]),
            "PYTHONIOENCODING": "utf-8",
            "OPENBLAS_NUM_THREADS": "1",
        }
        words = [sys.executable, str(HERE / "zygote.py"), str(write_scene(folder))]
        self._process = subprocess.Popen(
            words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment
        )
        assert self._read() == {"ready": True}
        return self

    def __exit__(self, *_: object) -> None:
        self._process.stdin.close()
        self._process.wait(timeout=30)
        self._process.stdout.close()
        self._private.cleanup()

    def run(
        self,
        *words: str | Path,
        folder: Path,
        seconds: int = SECONDS,
        gigabytes: float = GIGABYTES,
        wall: float = WALL,
        after: tuple[str, float] | None = None,
        before: str = "",
        warm: bool = False,
        **environment: str,
    ) -> Answer:
        """Answer to `raysim WORDS`, run in `folder`, after a piece of Python if there is one.

        It is killed after `wall` seconds, and so many seconds `after` a file has come to hold
        something. What traces rays is quicker in a process that is `warm`: it has traced some before.
        """
        task = {
            "words": [str(word) for word in words],
            "folder": str(folder),
            "seconds": seconds,
            "gigabytes": gigabytes,
            "wall": wall,
            "after": after or (),
            "before": before,
            "warm": warm,
            "environment": environment,
        } | {name: str(path) for name, path in self.outputs.items()}
        ended = self._asked(task)
        texts = {
            name: path.read_text(encoding="utf-8", errors="replace")
            for name, path in self.outputs.items()
        }
        return Answer(**texts, **ended)

    def prepare(self, *words: str, folder: Path, around: str = "") -> None:
        """Run `raysim WORDS`, in a copy of `folder`, in the process that forks.

        Children then find loaded what it takes. `around` is a piece of Python that may enter
        contexts into `stack`, which are left afterwards.
        """
        self._asked({"prepare": words, "folder": str(folder), "around": around})

    def _asked(self, task: dict) -> dict:
        self._process.stdin.write(json.dumps(task) + "\n")
        self._process.stdin.flush()
        return self._read()

    def _read(self) -> dict:
        line = self._process.stdout.readline()
        assert line, "the process that forks has died"
        return json.loads(line)
