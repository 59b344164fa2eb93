"""Light that candidate lamps bring to pieces of the load, as sources alone: a matrix with errors.

Lamps that only emit do not change each other's light, so the light of any choice of them is the
sum of its columns. Photons from each of them are counted on tiles; backward paths from pieces of
the load read those counts for all lamps at once, add every tube that they cross on their sharp way,
and look at all lamps from their start. Cautious case, lamps at the end of their life.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.progress import Progress
from raysim.dose.lamp_output import lamp_factors
from raysim.estimate.bounds import READING_ERROR, batch_mean
from raysim.kernels.records import TUBE_COLUMNS, Known
from raysim.scene.build import BuiltScene, with_lamps
from raysim.studies.lamps.choice import Choice
from raysim.studies.lamps.places import Place
from raysim.studies.tracer import InPieces
from raysim.transport.kernel_scene import KernelScene, kernel_scene
from raysim.transport.known import nothing_known
from raysim.transport.options import RunOptions
from raysim.transport.paths import PATH_BATCHES, BackwardRun
from raysim.transport.photons import PhotonRun
from raysim.transport.starts import Start
from raysim.transport.tallies import MAX_BOUNCES
from raysim.transport.tiles import Tiles, tiles_of

LAMP_PHOTONS = 512  # of each lamp in one batch; own choice, as all here
POINTS_AT_ONCE = 4  # of each lamp that are looked at from one point of a face
CHUNK = 16  # lamps whose photons are counted at a time: counts by face take memory
DIRECT_SEED = 77_777  # apart from that of the paths


class Sources(InPieces):
    """Candidate lamps in a scene without its own ones.

    Attributes
    ----------
    exitances : (lamps,) float64
        Of their tubes, W/m2, cautious case.
    photons : int
        Photons sent out.
    rays : int
        Rays of backward paths.
    """

    def __init__(self, scene: BuiltScene, places: Sequence[Place], options: RunOptions) -> None:
        named = [place.lamp(f"place {k}") for k, place in enumerate(places, 1)]
        self.scene = with_lamps(scene, named)
        self.triangles = self.scene.triangles
        self.options = options
        self.arrays = as_sources(kernel_scene(self.triangles))
        hours = [lamp.hours for lamp in self.triangles.lamps]
        behaviour = scene.written.lamps_behaviour
        self.factors = lamp_factors(hours, behaviour)[CAUTIOUS]
        of = self.arrays.geometry.tube_lamp
        exitances = np.zeros(len(self.factors))
        np.maximum.at(exitances, of, self.arrays.geometry.tube_exitance)
        self.exitances = exitances * self.factors
        self.known: Known = nothing_known(self.arrays)
        self.photons = self.rays = 0

    def count_photons(self, progress: Progress) -> None:
        """Send photons out from every lamp, and keep what arrives on tiles."""
        tiles = tiles_of(self.arrays, self.triangles)
        count = len(self.factors)
        light = np.zeros((PATH_BATCHES, len(tiles.areas), count, 1), np.float32)
        firsts = range(0, count, CHUNK)
        counted = self.each(Sources.photons_of, [(first, tiles) for first in firsts])
        for first, (own, photons) in zip(firsts, counted, strict=True):
            light[:, :, first : first + CHUNK] = own
            self.photons += photons
            progress("photons from every place", min(first + CHUNK, count), count)
        self.known = self.known._replace(tile=tiles.of, light=light, reach=tiles.reach)

    def photons_of(self, first: int, tiles: Tiles) -> tuple[np.ndarray, int]:
        """What arrives on tiles from some lamps, W/m2, and the photons sent out."""
        these = np.arange(first, min(first + CHUNK, len(self.factors)))
        run = PhotonRun(
            only(self.arrays, these),
            (self.options.seed + first) % 2**64,
            self.options.threads,
            batch_photons=LAMP_PHOTONS * len(these),
            tiles=tiles,
            groups=PATH_BATCHES,
        )
        run.add_batches(PATH_BATCHES)
        power = np.moveaxis(run.power_on_tiles(), 1, 2)
        light = (power / tiles.areas[:, None, None]).astype(np.float32)
        return light, int(run.photons.sum())

    def looked(
        self, starts: Sequence[Start], paths: int, points: int, seed: int
    ) -> tuple[np.ndarray, np.ndarray]:
        """Means of `batches`, and their standard errors, W/m2, (starts, lamps) each."""
        direct, rest = self.batches(starts, paths, points, seed)
        return batch_mean(direct + rest)

    def batches(
        self,
        starts: Sequence[Start],
        paths: int,
        points: int,
        seed: int,
        lamps: np.ndarray | None = None,
    ) -> tuple[np.ndarray, np.ndarray]:
        """Irradiance of starts by lamp, W/m2: direct and all other, (starts, batches, lamps) each.

        Per batch and start so many `paths`, and `points` of all lamps together that are looked at;
        at the output of the cautious case. `lamps` are those that are wanted, default all.
        """
        arrays, known, factors = self.arrays, self.known, self.factors
        if lamps is not None:
            arrays, factors = only(arrays, lamps), factors[lamps]
            known = known._replace(light=np.ascontiguousarray(known.light[:, :, lamps]))
        spots = max(points // (POINTS_AT_ONCE * len(factors)), 1)
        look = nothing_known(arrays)._replace(lamp_points=-(-points // spots))
        known = known._replace(lamp_points=0)
        first = self._run(arrays, look, starts, spots, seed=seed + DIRECT_SEED, bounces=1)
        rest = self._run(arrays, known, starts, paths, seed=seed)
        return first * factors, rest * factors

    def whole(self, starts: Sequence[Start], paths: int, seed: int, choice: Choice) -> np.ndarray:
        """Irradiance of starts by a choice of lamps, tubes in the way, W/m2, (starts,)."""
        lamps = np.array(choice)
        arrays = with_bodies(only(self.arrays, lamps))
        light = self._run(arrays, nothing_known(arrays), starts, paths, seed=seed)
        return np.asarray((light @ self.factors[lamps]).mean(axis=1))

    def _run(
        self,
        arrays: KernelScene,
        known: Known,
        starts: Sequence[Start],
        paths: int,
        *,
        seed: int,
        bounces: int = MAX_BOUNCES,
    ) -> np.ndarray:
        run = BackwardRun(
            arrays,
            self.triangles,
            seed % 2**64,
            self.options.threads,
            batches=PATH_BATCHES,
            known=known,
            max_bounces=bounces,
        )
        run.add_starts(starts)
        everyone = np.arange(len(starts))
        run.add_paths(everyone, np.full(len(starts), paths))
        self.rays += run.rays
        return run.batch_irradiance(everyone)[..., 0]


def one_case(arrays: KernelScene) -> KernelScene:
    """The scene in its cautious case alone (definition)."""
    one = {
        name: np.ascontiguousarray(getattr(arrays.surfaces, name)[:, :1])
        for name in ("reflectance", "transmittance", "lobe")
    }
    return replace(arrays, surfaces=arrays.surfaces._replace(**one))


def as_sources(arrays: KernelScene) -> KernelScene:
    """The same with lamps that neither block nor reflect, in the cautious case alone."""
    geometry = arrays.geometry._replace(solid=np.zeros((0, TUBE_COLUMNS)))
    return replace(one_case(arrays), geometry=geometry)


def only(arrays: KernelScene, lamps: np.ndarray) -> KernelScene:
    """The scene with some of its lamps alone, which are sources without a body."""
    of = arrays.geometry.tube_lamp
    tubes = np.concatenate([np.flatnonzero(of == lamp) for lamp in lamps])
    number = arrays.lamp_tubes.number[lamps]
    first = np.concatenate([[0], np.cumsum(number)[:-1]]).astype(np.int32)
    faces = len(arrays.order)
    these = np.concatenate([np.arange(faces), faces + tubes])
    geometry = arrays.geometry._replace(
        surface=arrays.geometry.surface[these],
        body=arrays.geometry.body[these],
        tubes=arrays.geometry.tubes[tubes],
        tube_lamp=np.repeat(np.arange(len(lamps), dtype=np.int32), number),
        tube_exitance=arrays.geometry.tube_exitance[tubes],
    )
    return replace(
        arrays,
        geometry=geometry,
        lamp_tubes=arrays.lamp_tubes._replace(first=first, number=number),
        lamp_watts=arrays.lamp_watts[lamps],
    )


def with_bodies(arrays: KernelScene) -> KernelScene:
    """The scene with lamps that block and reflect (definition)."""
    return replace(arrays, geometry=arrays.geometry._replace(solid=arrays.geometry.tubes))


def read_low(direct: np.ndarray, rest: np.ndarray) -> np.ndarray:
    """Batches that may stand for an upper bound: what was read off tiles may be too low."""
    return direct + (1.0 + READING_ERROR) * rest
