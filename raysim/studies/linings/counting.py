"""Photon counts of every judged face-side under many linings: which of them can be the worst.

Photons carry no weights, so linings share a run only where they are equally glossy wall by wall:
then a photon carries one bit for each of them. Backward paths go on from these counts, as they do
in a dose run, and the bound on the worst face-side covers all of them.
"""

from collections.abc import Sequence

import numpy as np

from raysim.estimate.bounds import FORWARD_ERROR, count_variance
from raysim.estimate.face_sides import Sites
from raysim.estimate.photon_counts import Counted
from raysim.estimate.refinement import Refinement
from raysim.scene.triangles import SceneTriangles
from raysim.studies.linings.columns import Variant, column_scene, in_groups
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.options import RunOptions
from raysim.transport.photons import BATCH_PHOTONS, PhotonRun

PHOTONS = 8 * BATCH_PHOTONS  # of each run


def equally_glossy(variant: Variant) -> tuple[object, ...]:
    """Kind of variants whose photons are scattered alike by every wall."""
    return tuple(s.specular if s.is_plain else s for s in variant.walls)


def counted(
    bare: KernelScene,
    box: tuple[SceneTriangles, Sites],
    variants: Sequence[Variant],
    factors: np.ndarray,
    options: RunOptions,
) -> tuple[Refinement, int]:
    """What photons say of each site under each variant, and the ray segments it took.

    `box` is the scene with its judged sites. Columns are those of `column_scene`; `factors`
    (columns, lamps) is the output of each lamp as a share of its rating.
    """
    triangles, sites = box
    columns = len(factors)
    each = columns // len(variants)
    mean, variance, one_photon = (np.zeros((columns, len(sites.faces))) for _ in range(3))
    segments = 0
    for places in in_groups(variants, equally_glossy):
        arrays = column_scene(triangles, [variants[place] for place in places], bare)
        assert (arrays.surfaces.lobe == arrays.surfaces.lobe[:, :1]).all()
        run = PhotonRun(arrays, options.seed, options.threads)
        run.add_batches(-(-PHOTONS // int(run.batch_photons.sum())))
        own = [each * place + k for place in places for k in range(each)]
        total, squares = (t[:, :, sites.faces, sites.sides] for t in run.arrivals())
        scale = factors[own] * (arrays.lamp_watts / run.photons)  # columns, lamps
        spread = count_variance(total, squares, run.batches)
        mean[own] = np.einsum("clu,cl->cu", total, scale) / sites.areas
        variance[own] = np.einsum("clu,cl->cu", spread, scale**2) / sites.areas**2
        one_photon[own] = scale.max(axis=1)[:, None] / sites.areas
        segments += run.segments
    return Counted(mean, variance, one_photon).state(FORWARD_ERROR), segments
