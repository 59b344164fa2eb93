"""Three linings for a wooden chest, compared from Python; read and run it cell by cell.

A hill village has an old oak chest, two 8 W tubes and cup respirators to treat one at a time. What
is worth buying: polished aluminium sheet, kitchen foil, or the white paint that is left from the
school? The chest, its lamps and its load are invented; nothing was measured.

    python scenes/compare_linings.py              # a minute or two; bounds within 20 %
    python scenes/compare_linings.py quick a.png  # a quick and noisy look; the picture goes there
"""

# %% The scene, with a gap where the lining goes. Lengths are in mm.
import sys
import tempfile
import textwrap
from pathlib import Path
from typing import Any

import matplotlib.pyplot as plt
import numpy as np

import raysim

EFFORT: dict[str, Any] = {"photons": 500_000, "precision": 0.2}  # enough to rank; 0.02 to use
if "quick" in sys.argv:
    EFFORT = {"photons": 100_000}
PICTURE = Path(sys.argv[-1] if "quick" in sys.argv else __file__).with_suffix(".png")
MESHES = Path(__file__).resolve().parents[1] / "meshes"
CHEST = """
title = "Oak chest with {lining}"
units = "mm"

[chamber]
inside = [420, 320, 380]
lining = "{lining}"

[[lamp]]
name = "left"
from = [40, 160, 50]
to = [40, 160, 280]
diameter = 16
uvc = "2.4 W"          # an 8 W tube; low end of makers' catalogues, from memory

[[lamp]]
name = "right"
from = [380, 160, 50]
to = [380, 160, 280]
diameter = 16
uvc = "2.4 W"

[[object]]
name = "cup"
mesh = "{meshes}/cup.obj"
surface = "respirator fabric"
parts = {{ straps = "strap", "nose clip" = "aluminium sheet, mill finish" }}
at = [210, 160, 320]
judged = true

[target]
dose = "1.0 J/cm2"
safety_factor = 1.2
"""


# %% One run for each lining.
def run(lining: str) -> raysim.Result:
    """The chest with one lining on all walls, checked and traced."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "chest.toml"
        path.write_text(CHEST.format(lining=lining, meshes=MESHES.as_posix()), encoding="utf-8")
        scene = raysim.load_scene(path)
        for fault in raysim.check_scene(scene):
            print(f"{fault.level}: {fault.key}: {fault.what}")
        return raysim.simulate(scene, seed=1, **EFFORT)


linings = (
    "aluminium sheet, polished",
    "aluminium foil, crumpled or hand-glued",
    "white paint",
)
results = {name: run(name) for name in linings}

# %% What decides is the worst-lit face, not the mean: a lining helps where lamps do not reach.
print(f"\n{'lining':40s} {'calculated':>18s} {'worst':>8s} {'mean':>8s}   mW/cm2, cautious case")
for name, result in results.items():
    case = result.cases["cautious"]
    worst, mean = (raysim.to_mW_cm2(e) for e in (case.worst.irradiance, case.summary.mean))
    print(f"{name:40s} {raysim.minutes_seconds(result.timer):>18s} {worst:8.4f} {mean:8.4f}")

# %% Which lamp lights that worst face? Irradiance is kept per lamp: cases x lamps x faces x sides.
best = results[linings[0]]
cautious = raysim.CASES.index("cautious")
spot = best.cases["cautious"].worst
side = raysim.SIDES.index(spot.side)
per_lamp = best.lamp_irradiance[cautious, :, spot.face, side]  # (lamps,) W/m2 at full rating
print(f"\nWorst face with {linings[0]}: {spot.object} {spot.part}, {spot.side}, {spot.place}.")
for lamp, irradiance in zip(best.triangles.lamps, per_lamp, strict=True):
    print(f"  lamp {lamp.name:6s} gives {raysim.to_mW_cm2(irradiance):.4f} mW/cm2 at full rating")

# %% Light adds up, so any mix of lamps is a weighted sum, with no new run: the left lamp at 60 %.
weights = np.array([0.6, 1.0])
mixed = np.einsum("l,lfs->fs", weights, best.lamp_irradiance[cautious])  # (faces, 2) W/m2
full = best.lamp_irradiance[cautious].sum(axis=0)
judged = best.triangles.judged
print(
    f"With the left lamp at 60 % the mean falls to {mixed[judged].mean() / full[judged].mean():.0%}"
)

# %% Dose at the timer: how much more than asked does the best-lit tenth of the surface get?
faces, sides = np.nonzero(judged)
dose = raysim.to_mJ_cm2(best.dose_at_timer("expected")[faces, sides])
if np.isfinite(best.timer):
    order = np.argsort(dose)
    share = np.cumsum(best.triangles.areas[faces][order]) / best.triangles.areas[faces].sum()
    for part in (0.0, 0.5, 0.9):
        at_least = dose[order][np.searchsorted(share, part)]
        print(
            f"  {1 - part:4.0%} of the surface gets at least {at_least:8.0f} mJ/cm2, expected case"
        )

# %% The picture: irradiance on the judged surface, from the worst face to the mean.
figure, axes = plt.subplots(figsize=(8, 3.6), layout="constrained")
for row, result in enumerate(results.values()):
    summary = result.cases["cautious"].summary
    ends = [raysim.to_mW_cm2(e) for e in (summary.worst, summary.percentile_5, summary.mean)]
    axes.plot(ends, [row] * 3, color="#8a9199", zorder=1)
    axes.scatter(ends, [row] * 3, c=["#961e1e", "#c98a1b", "#1f6f43"], s=60)
    axes.annotate(raysim.minutes_seconds(result.timer), (ends[0], row + 0.18))
axes.set_yticks(range(len(results)), list(results))
axes.set_ylim(-0.5, len(results) - 0.4)
axes.set_xscale("log")
figure.supxlabel(
    "mW/cm², cautious case: worst face (with its time), 5th percentile, mean\n"
    "Times are calculated, without a verdict: no timer to set. Invented box.",
    fontsize=10,
)
axes.xaxis.set_major_formatter("{x:g}")
axes.xaxis.set_minor_formatter("")
figure.suptitle(textwrap.fill(raysim.CAUTION_LINE, 110), fontsize=8)
figure.savefig(PICTURE, dpi=80)
print(f"\nPicture: {PICTURE.name}\n{raysim.CAUTION_LINE}")
