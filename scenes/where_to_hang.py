"""Why the hooks are where they are; read and run it cell by cell.

One cup respirator in a small box touches the wall. Where would it hang better, and do two pay? The
box, its lamps and its load are invented; nothing was measured.

    python scenes/where_to_hang.py              # a few minutes
    python scenes/where_to_hang.py quick a.png  # few points, coarse; the picture goes there
"""

# %% The scene, and where hooks could go: a grid under the ceiling, each turned two ways.
import shutil
import sys
import tempfile
from itertools import product
from pathlib import Path

import raysim
from raysim.output.studies import hooks as pages
from raysim.studies import hooks
from raysim.studies.hooks import Hang

HERE = Path(__file__).resolve().parent
QUICK = "quick" in sys.argv
PICTURE = Path(sys.argv[-1] if QUICK else __file__).with_suffix(".png")
scene = raysim.load_scene(HERE / "touching_wall.toml")
width, depth, height = scene.written.chamber.inside  # m
shares = (0.3, 0.7) if QUICK else (0.25, 0.4, 0.5, 0.6, 0.75)
points = [
    Hang((x * width, y * depth, 0.79 * height), turn)
    for x, y, turn in product(shares, shares, (0.0, 90.0))
]

# %% Every layout of one and of two is in the race; what is shown to be worse is given up early.
found = hooks.study(scene, numbers=[1] if QUICK else [1, 2], points=points, precision=0.3)
print(f"{len(found.points)} hook points have room; without it: {dict(found.no_room)}")
for one in found.numbers:
    best = one.best
    places = ", ".join("/".join(f"{raysim.to_mm(v):.0f}" for v in h.at) for h in best.layout)
    print(f"  {one.number}: {raysim.minutes_seconds(best.time)}, hooks at {places} mm")
    if one.now is not None:
        worse = "is shown to be worse" if best.beats(one.now) else "cannot be told apart from it"
        print(f"     as it hangs now: {raysim.minutes_seconds(one.now.time)}, which {worse}")
print("These times rank layouts. 'raysim dose' on the one you choose gives the timer.")

# %% The picture: the time that one respirator alone would need at each point.
with tempfile.TemporaryDirectory() as place:
    pages.write(found, place)
    shutil.copy(Path(place) / "pictures" / "map.png", PICTURE)
print(f"\nPicture: {PICTURE.name}\n{raysim.CAUTION_LINE}")
