"""Which spots of a folded respirator stay dark, and what helps; read and run it cell by cell.

A flat-fold respirator was hung up as it comes out of its wrapper, beside one that was opened. The
box, its lamps and its load are invented; nothing was measured.

    python scenes/folded_respirator.py              # a minute; the spots of a dose run
    python scenes/folded_respirator.py quick a.png  # photons alone; the picture goes there
"""

# %% The scene, and how much is traced.
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

import raysim
from raysim.output.studies import shadows as pages
from raysim.studies import shadows

HERE = Path(__file__).resolve().parent
QUICK = "quick" in sys.argv
PICTURE = Path(sys.argv[-1] if QUICK else __file__).with_suffix(".png")
EFFORT: dict[str, Any] = {"photons": 200_000, "patches": 0} if QUICK else {}

# %% Dark patches: below half of the median, and connected. Each says what hides it.
found = shadows.study(raysim.load_scene(HERE / "folded_shut.toml"), **EFFORT)
print(f"Median of the judged surface: {raysim.to_mW_cm2(found.median):.3f} mW/cm2, cautious case.")
for shadow in found.shadows[:5]:
    area, light = 1e4 * shadow.patch.area, raysim.to_mW_cm2(shadow.irradiance)
    print(f"  {area:5.1f} cm2 at {light:.4f} mW/cm2: {shadow.place}")
    if shadow.in_front is not None:
        gap = raysim.to_mm(shadow.in_front.distance)
        print(f"        {gap:.0f} mm before it lies {shadow.in_front.name}")

# %% What was tried against the darkest: turn it, open it up, move it. Factors, with their errors.
for tried in found.tried:
    for remedy in tried.remedies:
        if remedy.clear:
            print(f"  {remedy.what}: {remedy.gain:.2g} times the light there")

# %% The picture: a close-up of the largest patch, as the report of 'raysim shadows' shows it.
with tempfile.TemporaryDirectory() as place:
    pages.write(found, place)
    drawn = found.shadows[: pages.MOST_PICTURES]
    largest = max(range(len(drawn)), key=lambda k: drawn[k].patch.area)
    shutil.copy(Path(place) / "pictures" / f"patch_{largest + 1}.png", PICTURE)
print(f"\nPicture: {PICTURE.name}\n{raysim.CAUTION_LINE}")
