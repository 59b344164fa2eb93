"""A graphics card against the processor of the same machine: the same photons, the same light.

    python benchmarks/card.py SCENE

Prints one line of JSON: the fate of a million photons and more, segments a second of both, whether
what paths score agrees, and a whole dose run of both. For a machine with a card (`numba-cuda`); CI
has none, and there `tests/transport/test_card.py` runs the same functions as plain Python.
"""

import json
import platform
import sys
import time
from datetime import date
from typing import Any
from unittest import mock

import numpy as np
from scipy.stats import chi2

import raysim
from raysim.transport import cuda
from raysim.transport.device import on_device
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.known import known_light
from raysim.transport.paths import BackwardRun
from raysim.transport.photons import PhotonRun
from raysim.transport.starts import FaceStarts, face_start
from raysim.transport.threads import default_threads
from raysim.transport.tiles import tiles_of

BATCHES, TIMED, GROUPS = 64, 4096, 32
# Few batches: points of a lattice are spread the more evenly the more of them a batch has.
MAPS, MAP_BATCHES, MAP_PATHS, MAP_PHOTON_BATCHES = 8, 4, 256, 256


def photons_on(device: str, scene: Any, arrays: Any, timed: int) -> tuple[PhotonRun, float]:
    """A run of BATCHES batches, and segments a second of as many `timed` ones (of another run)."""
    tiles = tiles_of(arrays, scene.triangles)
    with on_device(device):
        run, clock = (
            PhotonRun(arrays, 1, default_threads(), tiles=tiles, groups=GROUPS) for _ in range(2)
        )
        run.add_batches(BATCHES)  # compiles, too
        start = time.perf_counter()
        clock.add_batches(timed)
        return run, clock.segments / (time.perf_counter() - start)


def of_another_launch(run: PhotonRun, scene: Any, arrays: Any) -> bool:
    """Whether the same photons of the card count the same in launches of other sizes."""
    whole = run.tallies()
    with on_device("cuda"), mock.patch.multiple(cuda, THREADS=96, BLOCKS=3, MEMORY=2**24):
        tiles = tiles_of(arrays, scene.triangles)
        again = PhotonRun(arrays, 1, 1, tiles=tiles, groups=GROUPS)
        again.add_batches(BATCHES // 2)
        again.add_batches(BATCHES - BATCHES // 2)
        return all((tally == whole[name]).all() for name, tally in again.tallies().items())


def paths_on(device: str, scene: Any, arrays: Any, known: Any) -> tuple[BackwardRun, float]:
    """Paths that read counts, from every seventh judged face, and rays a second of as many more."""
    faces = np.flatnonzero(scene.triangles.judged[:, 0])[::7]
    with on_device(device):
        run = BackwardRun(
            arrays, scene.triangles, 1, default_threads(), batches=GROUPS, known=known
        )
        run.add_starts([face_start(int(face), 0) for face in faces])
        everyone = np.arange(len(faces))
        run.add_paths(everyone, np.full(len(faces), 2))
        before, start = run.rays, time.perf_counter()
        run.add_paths(everyone, np.full(len(faces), 2))
        return run, (run.rays - before) / (time.perf_counter() - start)


def dose_on(device: str, scene: Any) -> tuple[Any, float]:
    """A dose run to 2 %, and its seconds; without compiling, which an earlier run has done."""
    with on_device(device):
        raysim.simulate(scene, seed=2, precision=0.2)
        start = time.perf_counter()
        return raysim.simulate(scene), time.perf_counter() - start


def map_on_card(scene: Any, arrays: Any, seed: int) -> tuple[np.ndarray, float]:
    """Irradiance of every judged face-side (cautious case, W/m2), and the seconds it took."""
    triangles, start = scene.triangles, time.perf_counter()
    with on_device("cuda"):
        tiles = tiles_of(arrays, triangles)
        photons = PhotonRun(arrays, seed, default_threads(), tiles=tiles, groups=MAP_BATCHES)
        photons.add_batches(MAP_PHOTON_BATCHES)
        known = known_light(photons, triangles)
        run = BackwardRun(
            arrays, triangles, seed, default_threads(), batches=MAP_BATCHES, known=known
        )
        starts = FaceStarts(*np.nonzero(triangles.judged))
        everyone = np.arange(len(starts))
        run.add_starts(starts)
        run.add_paths(everyone, np.full(len(everyone), MAP_PATHS))
        light = run.batch_irradiance(everyone)[..., 0].sum(axis=2).mean(axis=1)
        return light, time.perf_counter() - start


def map_figures(scene: Any, arrays: Any) -> dict[str, Any]:
    """The map of a scene, again and again: its seconds, and the error by the spread of whole maps.

    The median over face-sides of the variance of MAPS maps, over the median of its own law (of
    chi squared): where all sides had the same error, that would be it.
    """
    map_on_card(scene, arrays, 0)  # compiles
    maps, seconds = zip(*(map_on_card(scene, arrays, 1 + k) for k in range(MAPS)), strict=True)
    light = np.array(maps)
    variance = light.var(axis=0, ddof=1) / light.mean(axis=0) ** 2
    middle = float(chi2.median(MAPS - 1)) / (MAPS - 1)
    return {
        "map_sides": light.shape[1],
        "map_seconds": [round(one, 3) for one in seconds],
        "map_median_error": float(np.sqrt(np.median(variance) / middle)),
    }


def compared(path: str) -> dict[str, Any]:
    """All figures of one scene."""
    name = cuda.the_card().get_current_device().name
    scene = raysim.load_scene(path)
    arrays = kernel_scene(scene.triangles)
    own, own_speed = photons_on("cpu", scene, arrays, BATCHES)
    there, speed = photons_on("cuda", scene, arrays, TIMED)
    (counts, squares), (other, _) = own.arrivals(), there.arrivals()
    error = np.sqrt(np.maximum(squares - counts**2 / BATCHES, 1.0))
    known = known_light(own, scene.triangles)
    here, here_speed = paths_on("cpu", scene, arrays, known)
    far, far_speed = paths_on("cuda", scene, arrays, known)
    used = len(here.paths)
    ratio = far._sums[:used].sum(axis=(1, 2)) / np.maximum(here._sums[:used].sum(axis=(1, 2)), 1e-9)
    result, seconds = dose_on("cpu", scene)
    card_result, card_seconds = dose_on("cuda", scene)
    return {
        "card": name if isinstance(name, str) else name.decode(),
        "processor": f"{platform.machine()}, {default_threads()} threads",
        "date": date.today().isoformat(),
        "scene": scene.path.name,
        "photons": int(own.photons.sum()),
        "segments": [own.segments, there.segments],
        "same_counts_in_launches_of_other_sizes": of_another_launch(there, scene, arrays),
        "arrivals_that_differ": int(np.abs(other - counts).sum()),
        "arrivals": int(counts.sum()),
        "largest_z_of_a_face": float((np.abs(other - counts) / error).max()),
        "photon_segments_per_s": [own_speed, speed],
        "path_sums_that_differ_by_more_than_1e-5": float((np.abs(ratio - 1.0) > 1e-5).mean()),
        "path_rays": [here.rays, far.rays],
        "path_rays_per_s": [here_speed, far_speed],
        "dose_seconds": [seconds, card_seconds],
        "timer_s": [result.needed, card_result.needed],
    } | map_figures(scene, arrays)


if __name__ == "__main__":
    print(json.dumps(compared(sys.argv[1])))
