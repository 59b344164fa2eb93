"""How time and memory of a dose run grow with the number of judged faces: `python dense.py [N]`.

A ball of 200 cm2 with bumps like a scanned fabric's, in a box with one lamp, as a command in a
process of its own. N is the finest level: 7 (327,680 faces) unless told, 8 is 1.3 million.
"""

import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import trimesh

SCENE = """
title = "Dense scan"
[chamber]
inside = [300, 250, 350]
lining = "aluminium foil, matte side"
[[lamp]]
name = "left"
from = [40, 40, 30]
to = [40, 40, 320]
diameter = 16
uvc = "2.4 W"
[[object]]
name = "scan"
mesh = "scan.stl"
surface = "respirator fabric"
at = [180, 140, 180]
judged = true
[target]
"""
# Coarse, so that most of it is what every face takes, and not what the darkest ones do.
OPTIONS = ["--no-pictures", "--quiet", "--photons", "200000", "--precision", "0.3"]
RADIUS = 39.9  # mm, of a ball of 200 cm2


def scan(level: int) -> trimesh.Trimesh:
    """A ball of 20 x 4**level triangles with waves of 0.4 mm, some 10 mm long."""
    ball = trimesh.creation.icosphere(level, RADIUS)
    waves = np.random.default_rng(1).normal(size=(8, 3)) * 0.6
    height = 0.14 * np.cos(np.array(ball.vertices) @ waves.T).sum(axis=1)
    ball.vertices *= 1.0 + height[:, None] / RADIUS
    return ball


def run(level: int) -> tuple[int, float, float, float]:
    """Faces, processor seconds, seconds by the clock, and GiB at the most."""
    with tempfile.TemporaryDirectory() as folder:
        mesh, scene = scan(level), Path(folder) / "scan.toml"
        mesh.export(Path(folder) / "scan.stl")
        scene.write_text(SCENE, "utf-8")
        words = [sys.executable, "-m", "raysim", "dose", str(scene), *OPTIONS]
        before = os.times()
        subprocess.run([*words, "--out", f"{folder}/out"], check=False, stdout=subprocess.DEVNULL)
        after = os.times()
    spent = sum(after[2:4]) - sum(before[2:4])
    most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 2**20
    return len(mesh.faces), spent, after.elapsed - before.elapsed, most


def main() -> None:
    """Print a row for each size; memory is that of the largest so far."""
    print("| judged faces | processor time, s | clock, s | most memory, GiB |\n|---|---|---|---|")
    for level in range(5, 1 + int(sys.argv[1] if sys.argv[1:] else 7)):
        faces, spent, clock, most = run(level)
        print(f"| {faces:,} | {spent:.0f} | {clock:.0f} | {most:.2f} |", flush=True)


if __name__ == "__main__":
    main()
