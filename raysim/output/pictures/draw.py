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
from dataclasses import replace
from pathlib import Path
from typing import Any

from raysim.base.cases import CAUTIOUS
from raysim.base.systems import crashed
from raysim.dose.result import Result
from raysim.output.pictures.pictures import CHART, OVERVIEW, Picture, drawn_bodies
from raysim.scene.triangles import SceneTriangles
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
            drawn, trouble = _drawn(process, self._folder, until)
            if trouble:
                return [], trouble
            rows += drawn
        if self._trouble:
            return [], self._trouble
        shutil.copytree(self._folder, folder)
        shown = [replace(row, file=folder / row.file.relative_to(self._folder)) for row in rows]
        return sorted(shown, key=_place), ""


def _drawn(process: Any, folder: Path, until: float) -> tuple[list[Picture], str]:
    """Pictures of a process of this module, waited for until then; what went wrong, or ""."""
    try:
        said, complaint = process.communicate(timeout=max(until - time.monotonic(), 0.0))
    except subprocess.TimeoutExpired as error:
        process.kill()
        process.communicate()
        return [], str(error)
    if crashed(process.returncode):
        return [], "its graphics libraries are missing or broken; Debian has libegl1"
    if process.returncode:
        last = complaint.strip().splitlines()[-1:] or [f"status {process.returncode}"]
        return [], last[0]
    return [
        Picture(folder / file, *words) for file, *words in json.loads(said.splitlines()[-1])
    ], ""


def drawn_steps(
    triangles: SceneTriangles, folder: Path, leaf: tuple[float, float, float, float] | None = None
) -> tuple[list[Picture], str]:
    """Pictures of `write_assembly`, drawn in a process of their own; what went wrong, or ""."""
    with tempfile.TemporaryDirectory() as private:
        handed_over = Path(private) / "triangles.pickle"
        handed_over.write_bytes(pickle.dumps((triangles, leaf)))
        words = [sys.executable, "-m", "raysim.output.pictures.draw", str(handed_over), str(folder)]
        try:
            process = subprocess.Popen(
                words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
            )
        except OSError as error:
            return [], str(error)
        return _drawn(process, folder, time.monotonic() + LONGEST_DRAWING)


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
    """Draw the share given by a `Drawing`, or steps; the last line of output lists the pictures."""
    from raysim.output.pictures.assembly import write_assembly
    from raysim.output.pictures.charts import write_charts
    from raysim.output.pictures.pictures import write_pictures

    handed_over, folder = Path(sys.argv[1]), Path(sys.argv[2])
    with handed_over.open("rb") as file:
        given = pickle.load(file)
    if len(sys.argv) == 3:
        pictures = write_assembly(given[0], folder, given[1])
    else:
        case, numbers = sys.argv[3], [int(number) for number in sys.argv[4].split(",")]
        pictures = write_pictures(given, folder, case, numbers)
        if 0 in numbers:
            pictures += write_charts(given, folder)
    rows = [[p.file.name, p.title, p.caption, p.kind] for p in pictures]
    sys.stdout.write("\n" + json.dumps(rows) + "\n")


if __name__ == "__main__":
    main()
