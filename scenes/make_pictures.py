"""Draw the pictures of README.md and of the gallery anew: ``python scenes/make_pictures.py``.

Takes some minutes: every scene is traced as a user would trace it.
"""

import runpy
import shutil
import sys
import tempfile
from pathlib import Path

import raysim

HERE = Path(__file__).resolve().parent
GALLERY = sorted(
    HERE / f"{path.stem}.py" for path in HERE.glob("*.png") if path.stem != "clinic_locker"
)


def demo_picture() -> None:
    """The dose map of the demo, as `raysim dose` draws it."""
    scene = raysim.load_scene(HERE / "clinic_locker.toml")
    with tempfile.TemporaryDirectory() as place:
        trouble = raysim.write_results(raysim.simulate(scene), place)
        if trouble:
            sys.exit(f"no pictures could be drawn: {trouble}")
        shutil.copy(Path(place) / "pictures" / "box_front_left.png", HERE / "clinic_locker.png")


if __name__ == "__main__":
    demo_picture()
    for script in GALLERY:
        print(f"== {script.name}", flush=True)
        sys.argv = [str(script)]
        runpy.run_path(str(script), run_name="__main__")
