"""Small scenes of the tests of the studies, as files that the program reads."""

from pathlib import Path

import raysim

PLATE = "v 0 0 0\nv 120 0 0\nv 120 0 120\nv 0 0 120\nf 1 2 3 4\n"
# Three upright tubes of unequal power about a judged plate, none of them alike to it.
SCENE = """
title = "three lamps"
[chamber]
inside = [300, 250, 350]
lining = {lining}
edge = 200
[[lamp]]
name = "left"
from = [40, 40, 60]
to = [40, 40, 290]
diameter = 16
uvc = "2.4 W"
[[lamp]]
name = "right"
from = [260, 210, 60]
to = [260, 210, 290]
diameter = 16
uvc = "1.6 W"
[[lamp]]
name = "Rear"
from = [40, 215, 60]
to = [40, 215, 290]
diameter = 16
uvc = "0.9 W"
hours = 12000
[[object]]
name = "plate"
mesh = "plate.obj"
surface = "respirator fabric"
at = [90, 125, 110]
judged = true
edge = {edge}
{more}
"""


def three_lamps(folder: Path, **changes):
    """The scene of three lamps, built, with entries changed or lines added."""
    entries = {"lining": '"foil"', "edge": 60, "more": ""} | changes
    (folder / "plate.obj").write_text(PLATE)
    path = folder / "scene.toml"
    path.write_text(SCENE.format(**entries), encoding="utf-8")
    return raysim.load_scene(path)
