"""Ten thousand layouts of lamps: the darkest spot of each, on a card and on the processor.

    python benchmarks/layouts.py SCENE [cpu]

Light of every place with room on every patch of the load is traced once, tubes as sources alone; a
layout is then a sum of columns. Prints one line of JSON for each device. For a machine with a card
(`numba-cuda`); `cpu` leaves it out.
"""

import json
import sys
import time
from datetime import date
from typing import Any

import numpy as np

import raysim
from raysim.base.progress import nobody_watching
from raysim.estimate.cells import in_cells
from raysim.estimate.face_sides import judged_sites
from raysim.scene.check.touching import set_aside
from raysim.studies.lamps.board import PIECE, ROW_PATHS, ROW_POINTS
from raysim.studies.lamps.kinds import kinds_of
from raysim.studies.lamps.places import LampClearances, LampGrid, LampRoom, Place, too_near
from raysim.studies.lamps.sources import Sources
from raysim.transport.device import on_device
from raysim.transport.options import RunOptions

LAYOUTS, LAMPS = 10_000, 4


def matrix(scene: Any, places: list[Place], paths: int) -> tuple[np.ndarray, np.ndarray]:
    """Light of every place on every patch, W/m2, and its standard errors, (patches, places)."""
    sources = Sources(scene, places, RunOptions())
    sources.count_photons(nobody_watching)
    cells = in_cells(scene.triangles, judged_sites(scene.triangles))
    points = int(ROW_POINTS * len(places)) + 1
    found = []
    for first in range(0, len(cells.faces), PIECE):
        chosen = np.arange(first, min(first + PIECE, len(cells.faces)))
        found.append(sources.looked(cells.targets(chosen), paths, points, 1))
    means, errors = zip(*found, strict=True)
    return np.concatenate(means), np.concatenate(errors)


def layouts(apart: np.ndarray) -> np.ndarray:
    """Layouts of lamps that go together, drawn at random, (LAYOUTS, LAMPS)."""
    random = np.random.default_rng(1)
    found: list[np.ndarray] = []
    while len(found) < LAYOUTS:
        one = random.choice(len(apart), LAMPS, replace=False)
        if apart[np.ix_(one, one)][np.triu_indices(LAMPS, 1)].all():
            found.append(one)
    return np.array(found)


def measured(path: str, device: str) -> dict[str, Any]:
    """All figures of one device."""
    scene = set_aside(raysim.load_scene(path))
    room = LampRoom(scene.triangles, scene.written.chamber.inside, LampClearances())
    places, _, _ = room.grid(kinds_of(scene.written, ()), LampGrid())
    apart = ~too_near(places, LampClearances().lamps)
    with on_device(device):
        matrix(scene, places, 1)  # compiles
        started = time.perf_counter()
        light, error = matrix(scene, places, ROW_PATHS)
        traced = time.perf_counter()
    drawn = layouts(apart)
    began = time.perf_counter()
    worst = np.array([light[:, one].sum(axis=1).min() for one in drawn])
    ended = time.perf_counter()
    return {
        "device": device,
        "date": date.today().isoformat(),
        "scene": scene.path.name,
        "places": len(places),
        "patches": len(light),
        "matrix_s": traced - started,
        "median_error": float(np.median(error[light > 0.0] / light[light > 0.0])),
        "layouts": len(drawn),
        "lamps": LAMPS,
        "layouts_s": ended - began,
        "best_mW_cm2": 0.1 * float(worst.max()),
        "median_mW_cm2": 0.1 * float(np.median(worst)),
    }


if __name__ == "__main__":
    for name in sys.argv[2:] or ["cpu", "cuda"]:
        print(json.dumps(measured(sys.argv[1], name)), flush=True)
