"""Backward paths on a graphics card: what one of its many threads does.

A thread traces all paths of one batch of one target, one after the other, as a worker of the
processor does; sums therefore keep their order, and do not hang on the launch.
"""

import numpy as np

from raysim.kernels.backward import backward_path
from raysim.kernels.card import DEEPEST, card

# Sizes of a thread's own memory; for each scene its own take their place (`path_function`).
LAMPS, CASES, TUBES, IMAGES = 64, 64, 64, 64


def trace_paths(geometry, surfaces, known, starts, rules, done, paths, batches, sums, rays):
    """What one thread does: batches of targets, until none is left.

    Parameters
    ----------
    done, paths : (targets,) int64
        Paths per batch that each target has, and that it is to get.
    batches : int
    sums : (targets, batches, lamps, cases) float64
        Set to the sums of scores, W/m2.
    rays : (1,) int64
        Rays traced; added to.
    """
    stack, waits = card.local.array(DEEPEST, np.int32), card.local.array(DEEPEST, np.float32)
    weight = card.local.array(CASES, np.float64)
    choice = card.local.array(TUBES, np.float64)
    image_choice = card.local.array(IMAGES, np.float64)
    scores = card.local.array((LAMPS, CASES), np.float64)
    lamps, cases = sums.shape[2], sums.shape[3]
    own = (
        stack, waits, weight[:cases], choice[: len(geometry.tubes)],
        image_choice[: len(known.image_tubes)],
    )  # fmt: skip
    traced = 0
    for task in range(card.grid(1), len(paths) * batches, card.gridsize(1)):
        target, batch = task // batches, task % batches
        for lamp in range(lamps):
            for case in range(cases):
                scores[lamp, case] = 0.0
        for place in range(done[target], done[target] + paths[target]):
            traced += backward_path(
                geometry, surfaces, known, starts, target, np.uint64(place * batches + batch),
                batch, place, rules, scores[:lamps, :cases], own,
            )  # fmt: skip
        for lamp in range(lamps):
            for case in range(cases):
                sums[target, batch, lamp, case] = scores[lamp, case]
    card.atomic.add(rays, 0, traced)
