"""A steel drum as a box: a chamber from a mesh, with the seam of its lid; read it cell by cell.

The drum, its lamps and its load are invented; nothing was measured.

    python scenes/drum.py              # a minute; the timer within 5 %
    python scenes/drum.py quick a.png  # a quick and noisy look; the picture goes there
"""

# %% A drum of 560 x 850 mm, drawn in mm, with the origin on its axis at the floor.
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

import trimesh

import raysim
from raysim.studies import leak

MESHES = Path(__file__).resolve().parents[1] / "meshes"
QUICK = "quick" in sys.argv
PICTURE = Path(sys.argv[-1] if QUICK else __file__).with_suffix(".png")
EFFORT: dict[str, Any] = {"photons": 100_000} if QUICK else {"precision": 0.05}
DRUM = """
title = "Steel drum lined with foil"
units = "mm"

[chamber]
mesh = "drum.stl"
lining = "aluminium foil, crumpled or hand-glued"

[[object]]
name = "cup"
mesh = "{meshes}/cup.obj"
surface = "respirator fabric"
parts = {{ straps = "strap", "nose clip" = "aluminium sheet, mill finish" }}
at = [0, 0, 560]
judged = true

[[gap]]
name = "lid"
around = {{ z = 840 }}
width = 1
depth = 20
distance = 500

[target]
dose = "1.0 J/cm2"
"""
LAMP = """
[[lamp]]
name = "{name}"
from = [{x}, {y}, 200]
to = [{x}, {y}, 637]
diameter = 26
uvc = "4.7 W"          # a 15 W tube; low end of makers' catalogues, from memory
"""
lamps = {"left": (-200, 0), "right": (200, 0), "rear": (0, 200)}

# %% Written to a folder, checked, traced. Everything else is as for a box of six panels.
with tempfile.TemporaryDirectory() as place:
    folder = Path(place)
    drum = trimesh.creation.cylinder(radius=280, height=850, sections=48)
    drum.apply_translation([0, 0, 425])
    drum.export(folder / "drum.stl")
    text = DRUM.format(meshes=MESHES.as_posix())
    text += "".join(LAMP.format(name=name, x=x, y=y) for name, (x, y) in lamps.items())
    (folder / "drum.toml").write_text(text, encoding="utf-8")
    scene = raysim.load_scene(folder / "drum.toml")
    for fault in raysim.check_scene(scene):
        print(f"{fault.level}: {fault.key}: {fault.what}")
    result = raysim.with_verdict(raysim.simulate(scene, **EFFORT), raysim.stray_light(scene))
    light = leak.study(scene)

    # %% The verdict decides; the time is only what was calculated.
    worst = result.cases["cautious"].worst
    print(f"{result.verdict.state}; calculated: {raysim.minutes_seconds(result.calculated)}")
    for reason in result.verdict.reasons:
        print(f"  {reason.says}. Mend: {reason.mend}.")
    print(f"Worst spot: {worst.object} {worst.part}, {worst.side}, {worst.place}")
    for found in light.leaks:
        print(
            f"{found.gap.name}: eyes at most {raysim.minutes_seconds(found.times[0])} a day there"
        )

    # %% The picture: the dose map, seen through the wall.
    trouble = raysim.write_results(result, folder / "results")
    if trouble:
        sys.exit(f"no picture could be drawn: {trouble}")
    shutil.copy(folder / "results" / "pictures" / "box_front_left.png", PICTURE)
print(f"\nPicture: {PICTURE.name}\n{raysim.CAUTION_LINE}")
