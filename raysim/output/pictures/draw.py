"""Draw pictures in separate processes, while the other files are written.

Off-screen rendering needs graphics libraries of the machine. If they are missing or broken, the
process that uses them can die without a message; the result must not be lost with it.
"""

import json
import pickle
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from raysim.base.cases import CAUTIOUS
from raysim.dose.result import Result
from raysim.output.pictures.pictures import CHART, OVERVIEW, Picture, drawn_bodies
from raysim.transport.threads import default_threads

LONGEST_DRAWING = 600.0  # s
# The box and the charts together take as long to draw as this number of objects.
OBJECTS_WORTH = 4


class Drawing:
    """Pictures and charts of a result that are being drawn; leaving the context ends it."""

    def __init__(self, result: Result, case: str = CAUTIOUS) -> None:
        self._private = tempfile.TemporaryDirectory()
        self._folder = Path(self._private.name) / "pictures"
        handed_over = Path(self._private.name) / "result.pickle"
        with handed_over.open("wb") as file:
            pickle.dump(result, file)
        words = [
            sys.executable,
            "-m",
            "raysim.output.pictures.draw",
            str(handed_over),
            str(self._folder),
            case,
        ]
        self._trouble = ""
        self._processes: list[subprocess.Popen[str]] = []
        try:
            for numbers in _shares(len(drawn_bodies(result, case)), min(default_threads(), 2)):
                self._processes.append(
                    subprocess.Popen(
                        [*words, ",".join(map(str, numbers))],
                        stdout=subprocess.PIPE,
                        stderr=subprocess.PIPE,
                        text=True,
                    )
                )
        except OSError as error:
            self._trouble = str(error)

    def __enter__(self) -> "Drawing":
        return self

    def __exit__(self, *error: object) -> None:
        for process in self._processes:
            if process.poll() is None:
                process.kill()
                process.communicate()
        self._private.cleanup()

    def pictures(self, folder: Path) -> tuple[list[Picture], str]:
        """Wait for the pictures, and move them to `folder`; returns what went wrong, or "".

        Then there is no `folder`.
        """
        until, rows = time.monotonic() + LONGEST_DRAWING, []
        for process in self._processes:
            try:
                said, complaint = process.communicate(timeout=max(until - time.monotonic(), 0.0))
            except subprocess.TimeoutExpired as error:
                return [], str(error)
            if process.returncode < 0:
                return [], "its graphics libraries are missing or broken; Debian has libegl1"
            if process.returncode:
                last = complaint.strip().splitlines()[-1:] or [f"status {process.returncode}"]
                return [], last[0]
            rows += json.loads(said.splitlines()[-1])
        if self._trouble:
            return [], self._trouble
        shutil.copytree(self._folder, folder)
        shown = [Picture(folder / file, *words) for file, *words in rows]
        return sorted(shown, key=_place), ""


def _shares(objects: int, processes: int) -> list[list[int]]:
    """Share of each process, as numbers of `write_pictures`; the charts go with the box."""
    if processes < 2:
        return [[*range(objects + 1)]]
    apart = min((objects + OBJECTS_WORTH) // 2, objects)
    return [[0, *range(apart + 1, objects + 1)], [*range(1, apart + 1)]]


def _place(picture: Picture) -> tuple[int, str]:
    """Order in the report: views of the box, objects by number, charts."""
    if picture.kind in (OVERVIEW, CHART):
        return (0 if picture.kind == OVERVIEW else 2), ""
    return 1, picture.file.name


def main() -> None:
    """Draw the share given by a `Drawing`; the last line of output lists the pictures."""
    from raysim.output.pictures.charts import write_charts
    from raysim.output.pictures.pictures import write_pictures

    handed_over, folder, case = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]
    numbers = [int(number) for number in sys.argv[4].split(",")]
    with handed_over.open("rb") as file:
        result = pickle.load(file)
    pictures = write_pictures(result, folder, case, numbers)
    if 0 in numbers:
        pictures += write_charts(result, folder)
    rows = [[p.file.name, p.title, p.caption, p.kind] for p in pictures]
    sys.stdout.write("\n" + json.dumps(rows) + "\n")


if __name__ == "__main__":
    main()
