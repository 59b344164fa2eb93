"""Draw a view in a separate process: broken graphics libraries can kill it without a message."""

import pickle
import subprocess
import sys
import tempfile
from pathlib import Path

from raysim.base.errors import RaysimError
from raysim.base.systems import crashed
from raysim.output.files.new_file import write_new
from raysim.output.viewer.draw import Window
from raysim.output.viewer.make import View

NO_SCREEN = 5  # exit status of the drawing process where no window can be opened
SCREENLESS = ("vtkEGL", "vtkOSOpenGL")  # what the graphics library uses without a screen


def open_apart(view: View, picture: Path | None) -> None:
    """Open the window and wait until it is closed, or write the picture (PNG) instead.

    Raises
    ------
    RaysimError
        If there is no screen, or the graphics libraries are missing or broken.
    """
    with tempfile.TemporaryDirectory() as private:
        handed_over = Path(private) / "view.pickle"
        with handed_over.open("wb") as file:
            pickle.dump(view, file)
        words = [sys.executable, "-m", "raysim.output.viewer.apart", str(handed_over)]
        drawn = Path(private) / "picture.png"
        words += [] if picture is None else [str(drawn)]
        done = subprocess.run(words, capture_output=True, text=True, check=False)
        if picture is not None and done.returncode == 0:
            write_new("--picture", picture, drawn.read_bytes())
    if done.returncode == NO_SCREEN:
        raise RaysimError(
            "no window can be opened here (no screen). Mend: draw into a file with --picture FILE"
        )
    if crashed(done.returncode):
        raise RaysimError(
            "the graphics libraries of this machine are missing or broken. "
            "Mend: install them (Debian: libegl1, libgl1)"
        )
    if done.returncode:
        last = done.stderr.strip().splitlines()[-1:] or [f"status {done.returncode}"]
        raise RaysimError(
            f"the view could not be drawn ({last[0]}). Mend: see whether there is room for "
            "files that pass; the report of the run has pictures, too"
        )


def main() -> None:
    """Draw the view given by `open_apart`: a picture if a file is named, else a window."""
    with Path(sys.argv[1]).open("rb") as file:
        view = pickle.load(file)
    picture = sys.argv[2] if len(sys.argv) > 2 else None
    window = Window(view, off_screen=picture is not None)
    if picture is not None:
        window.plotter.screenshot(picture)
        window.plotter.close()
        return
    if type(window.plotter.render_window).__name__.startswith(SCREENLESS):
        sys.exit(NO_SCREEN)
    window.show_window()


if __name__ == "__main__":
    main()
