"""What a meter shows: irradiance, or what a head without cosine correction makes of the light.

Backward paths leave the point after the cosine law, so their mean score is the irradiance. For a
head of another response R each share of a score is weighted by R(theta) / cos(theta) of the way on
which its light comes in: the path's own first direction, or, for the light straight from a lamp,
the direction of the point of the tube that was looked at. Paths are traced one to a batch, so that
every score is known; a second run that stops at the lamps tells the direct share.

Source: importance weights, definition of the response in `meter_heads`.
"""

from collections.abc import Sequence
from functools import partial

import numpy as np

from raysim.kernels.direct import choice_of_tubes, chosen_tube, seen_tube_point
from raysim.kernels.lattice import lattice_point
from raysim.kernels.random_numbers import BACKWARD_LAMP, ZERO_STEP, split_word, uniforms
from raysim.kernels.sampling import square_to_cosine_hemisphere
from raysim.scene.triangles import METER_LIFT, MeterPoint, SceneTriangles
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.options import RunOptions
from raysim.transport.paths import PATH_BATCHES, traced_irradiance
from raysim.transport.starts import Start
from raysim.transport.streams import METERS, WEIGHTED_METERS
from raysim.transport.tallies import MAX_BOUNCES

METER_PATHS = 1024  # per batch
DIRECT_ONLY = 1  # bounce at which a path ends that is to see lamps only


def meter_batches(
    triangles: SceneTriangles,
    arrays: KernelScene,
    options: RunOptions,
    *,
    cases: slice = slice(None),
    paths: int = METER_PATHS,
    max_bounces: int = MAX_BOUNCES,
) -> np.ndarray:
    """What each meter of a scene shows, W/m2, (points, batches, lamps, cases), lamps at rating.

    With DIRECT_ONLY as `max_bounces`, what it would show in a box that reflects nothing; the paths
    are the same.

    Source: reciprocity, `kernels.backward`, and the equation of the module.
    """
    meters = triangles.meters
    columns = arrays.surfaces.reflectance[:, cases].shape[1]
    shown = np.zeros((len(meters), PATH_BATCHES, len(triangles.lamps), columns))
    traced = partial(traced_irradiance, arrays, triangles, options=options, cases=cases)
    plain = [k for k, meter in enumerate(meters) if meter.response.is_cosine]
    if plain:
        starts = [_start(METERS.first + k, meters[k]) for k in plain]
        shown[plain] = traced(starts, paths, max_bounces=max_bounces).batches
    first = WEIGHTED_METERS.first
    for k in sorted(set(range(len(meters))) - set(plain)):
        streams = range(first + k * paths, first + (k + 1) * paths)
        starts = [_start(stream, meters[k]) for stream in streams]
        whole, direct = (
            traced(starts, 1, max_bounces=bounces).batches  # paths, batches, lamps, cases
            for bounces in (max_bounces, DIRECT_ONLY)
        )
        to_lamp = lamp_cosines(arrays, meters[k], streams, options.seed)
        over = meters[k].response.over_cosine
        weighted = (whole - direct) * over(first_cosines(streams, options.seed))[..., None, None]
        shown[k] = (weighted + direct * over(to_lamp)[..., None, None]).mean(axis=0)
    return shown


def _start(stream: int, meter: MeterPoint) -> Start:
    return Start(stream, at=meter.at, facing=meter.facing)


def first_cosines(streams: Sequence[int], seed: int) -> np.ndarray:
    """Cosines of the first directions of the paths, one a batch, (paths, batches).

    Source: the draws of `kernels.backward.backward_path`.
    """
    key = split_word(seed)
    found = np.empty((len(streams), PATH_BATCHES))
    for row, stream in enumerate(np.array(streams, np.uint64)):
        for batch in range(PATH_BATCHES):
            u, v, _, _ = lattice_point(np.uint64(batch), stream, 0, ZERO_STEP, *key)
            found[row, batch] = square_to_cosine_hemisphere(u, v)[2]
    return found


def lamp_cosines(
    arrays: KernelScene, meter: MeterPoint, streams: Sequence[int], seed: int
) -> np.ndarray:
    """Cosines of the directions in which the paths looked for a lamp, (paths, batches).

    Where none was above the horizon of the head the cosine is 1, and the score 0.

    Source: the draws of `kernels.direct.direct_irradiance`.
    """
    key, n = split_word(seed), meter.facing
    zero, purpose = np.uint64(0), np.uint64(BACKWARD_LAMP)
    tubes, exitance = arrays.geometry.tubes, arrays.geometry.tube_exitance
    at = meter.at + METER_LIFT * n
    choice = np.zeros(len(tubes))
    total = choice_of_tubes(tubes, exitance, *at, *n, choice)
    found = np.ones((len(streams), PATH_BATCHES))
    if total <= 0.0:
        return found
    for row, stream in enumerate(np.array(streams, np.uint64)):
        for batch in range(PATH_BATCHES):
            _, _, u0, u1 = lattice_point(np.uint64(batch), stream, 0, ZERO_STEP, *key)
            _, _, u2, _ = uniforms(np.uint64(batch), stream, zero, purpose, *key)
            tube, _ = chosen_tube(choice, total, u0)
            to = np.array(seen_tube_point(tubes, tube, *at, u1, u2)[:3]) - at
            found[row, batch] = (to @ n) / max(float(np.linalg.norm(to)), 1e-12)
    return found
