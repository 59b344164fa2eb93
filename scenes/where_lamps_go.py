"""Where two lamps go, and what could still be gained; read and run it cell by cell.

Two cups hang in a box with two lamps at its door. What would one or two do in better places?
The box, its lamps and its load are invented; nothing was measured.

    python scenes/where_lamps_go.py              # some minutes
    python scenes/where_lamps_go.py quick a.png  # few places, coarse; the picture goes there
"""

# %% The scene, and where upright lamps could go: near the walls, and between the cups.
import shutil
import sys
import tempfile
from itertools import product
from pathlib import Path

import raysim
from raysim.output.studies import lamps as pages
from raysim.studies import lamps

HERE = Path(__file__).resolve().parent
QUICK = "quick" in sys.argv
PICTURE = Path(sys.argv[-1] if QUICK else __file__).with_suffix(".png")
scene = raysim.load_scene(HERE / "turned_over.toml")
width, depth, _ = scene.written.chamber.inside  # m
across, back = ((0.1, 0.9), (0.9,)) if QUICK else ((0.1, 0.3, 0.5, 0.7, 0.9), (0.1, 0.5, 0.9))
lines = [
    ((x * width, y * depth, 0.06), (x * width, y * depth, 0.42)) for x, y in product(across, back)
]

# %% Every choice of so many is held against the best one; the best is traced with its tubes.
found = lamps.study(
    scene, numbers=[1] if QUICK else [1, 2], places=lines, precision=0.5 if QUICK else 0.1
)
print(f"{len(found.places)} places have room; without it: {dict(found.no_room)}")
for one in found.numbers:
    stand = (found.places[k].start for k in one.choices[0])  # upright: x and y say where
    where = ", ".join("/".join(f"{raysim.to_mm(v):.0f}" for v in at[:2]) for at in stand)
    print(f"  {one.number}: {raysim.minutes_seconds(one.best.time)}, at {where} mm", end="; ")
    print(f"no other choice of these can be more than {one.could_gain:.0%} better (95 %)")
if found.now is not None:
    print(f"  the two of the scene: {raysim.minutes_seconds(found.now.time)}")
print("These times rank choices. 'raysim dose' on the one you choose gives the timer.")

# %% The picture: what one lamp of the best choice would bring at each other place.
with tempfile.TemporaryDirectory() as place:
    pages.write(found, place)
    shutil.copy(Path(place) / "pictures" / "map.png", PICTURE)
print(f"\nPicture: {PICTURE.name}\n{raysim.CAUTION_LINE}")
