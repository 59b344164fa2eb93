"""Photon counts of every judged face-side under many linings: which of them can be the worst.

Photons carry no weights, so linings share a run only where they are equally glossy wall by wall:
then a photon carries one bit for each of them. Backward paths go on from these counts, as they do
in a dose run, and the bound on the worst face-side covers all of them.
"""

from collections.abc import Sequence

import numpy as np

from raysim.estimate.bounds import FORWARD_ERROR, count_lower_bound, count_variance
from raysim.estimate.face_sides import Sites
from raysim.estimate.refinement import Refinement, forward_only
from raysim.scene.triangles import SceneTriangles
from raysim.studies.linings.columns import Variant, column_scene
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.photons import BATCH_PHOTONS, PhotonRun

PHOTONS = 8 * BATCH_PHOTONS  # of each run


def equally_glossy(variants: Sequence[Variant]) -> list[list[int]]:
    """Places of the variants in groups whose photons are scattered alike by every wall."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for place, variant in enumerate(variants):
        kind = tuple(s.specular if s.is_plain else s for s in variant.walls)
        groups.setdefault(kind, []).append(place)
    return list(groups.values())


def counted(
    bare: KernelScene,
    triangles: SceneTriangles,
    sites: Sites,
    variants: Sequence[Variant],
    factors: np.ndarray,
    seed: int,
    threads: int,
) -> tuple[Refinement, int]:
    """What photons say of each site under each variant, and the ray segments it took.

    Columns are those of `column_scene`; `factors` (columns, lamps) is the output of each lamp as a
    share of its rating.
    """
    columns = len(factors)
    each = columns // len(variants)
    mean, error, bound = (np.zeros((columns, len(sites.faces))) for _ in range(3))
    segments = 0
    for places in equally_glossy(variants):
        arrays = column_scene(triangles, [variants[place] for place in places], bare)
        assert (arrays.surfaces.lobe == arrays.surfaces.lobe[:, :1]).all()
        run = PhotonRun(arrays, seed, threads)
        run.add_batches(-(-PHOTONS // int(run.batch_photons.sum())))
        own = [each * place + k for place in places for k in range(each)]
        total, squares = (t[:, :, sites.faces, sites.sides] for t in run.arrivals())
        scale = factors[own] * (arrays.lamp_watts / run.photons)  # columns, lamps
        spread = np.maximum(count_variance(total, squares, run.batches), 0.0)
        mean[own] = np.einsum("clu,cl->cu", total, scale) / sites.areas
        variance = np.einsum("clu,cl->cu", spread, scale**2) / sites.areas**2
        bound[own] = count_lower_bound(mean[own], variance, FORWARD_ERROR)
        one_photon = scale.max(axis=1)[:, None] / sites.areas
        error[own] = np.where(variance > 0.0, np.sqrt(variance), one_photon)
        segments += run.segments
    state = forward_only(mean, error, bound)
    state.settle = columns
    return state, segments
