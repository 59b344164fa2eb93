"""Draw pictures in a process of their own.

Off-screen rendering rests on graphics libraries of the machine. Where they are missing or broken
the process that uses them can die without a word; the result must not die with it.
"""

import json
import pickle
import subprocess
import sys
import tempfile
from pathlib import Path

from raysim.output.pictures import Picture
from raysim.result import CAUTIOUS, Result

LONGEST_DRAWING = 600.0  # s


def draw_apart(result: Result, folder: Path, case: str = CAUTIOUS) -> tuple[list[Picture], str]:
    """Pictures and charts of a result in `folder`, and what went wrong ("" if nothing did)."""
    with tempfile.TemporaryDirectory() as private:
        handed_over = Path(private) / "result.pickle"
        with handed_over.open("wb") as file:
            pickle.dump(result, file)
        words = [sys.executable, "-m", "raysim.output.draw", str(handed_over), str(folder), case]
        try:
            done = subprocess.run(
                words, capture_output=True, text=True, timeout=LONGEST_DRAWING, check=False
            )
        except (OSError, subprocess.TimeoutExpired) as error:
            return [], str(error)
    if done.returncode != 0:
        if done.returncode < 0:
            return [], "its graphics libraries are missing or broken; Debian has libegl1"
        last = done.stderr.strip().splitlines()[-1:] or [f"status {done.returncode}"]
        return [], last[0]
    rows = json.loads(done.stdout.splitlines()[-1])
    return [Picture(folder / file, *words) for file, *words in rows], ""


def main() -> None:
    """Draw what `draw_apart` handed over; the last line says which pictures there are."""
    from raysim.output.charts import write_charts
    from raysim.output.pictures import write_pictures

    handed_over, folder, case = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]
    with handed_over.open("rb") as file:
        result = pickle.load(file)
    pictures = write_pictures(result, folder, case) + write_charts(result, folder)
    rows = [[p.file.name, p.title, p.caption, p.kind] for p in pictures]
    sys.stdout.write("\n" + json.dumps(rows) + "\n")


if __name__ == "__main__":
    main()
