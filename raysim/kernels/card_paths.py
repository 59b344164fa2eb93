"""Backward paths on a graphics card: what one of its many threads does.

A thread traces some paths of one batch of one target, one after the other. Which ones does not
hang on the launch, and nor does the sum over all of them.
"""

from typing import NamedTuple

import numpy as np

from raysim.kernels.backward import backward_path
from raysim.kernels.card import DEEPEST, card

# Sizes of a thread's own memory; for each scene its own take their place (`path_function`).
LAMPS, CASES, TUBES, IMAGES = 64, 64, 64, 64


class PathWork(NamedTuple):
    """Pieces of work, all (pieces,) int64: `paths` further paths per batch of a `target`.

    `done` is the number of the first.
    """

    target: np.ndarray
    done: np.ndarray
    paths: np.ndarray


def trace_paths(geometry, surfaces, known, starts, rules, work, batches, sums, rays):
    """What one thread does: batches of pieces, until none is left.

    Parameters
    ----------
    work : PathWork
    batches : int
    sums : (pieces, batches, lamps, cases) float64
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
    for task in range(card.grid(1), len(work.paths) * batches, card.gridsize(1)):
        piece, batch = task // batches, task % batches
        target, first = work.target[piece], work.done[piece]
        for lamp in range(lamps):
            for case in range(cases):
                scores[lamp, case] = 0.0
        for place in range(first, first + work.paths[piece]):
            traced += backward_path(
                geometry, surfaces, known, starts, target, np.uint64(place * batches + batch),
                batch, place, rules, scores[:lamps, :cases], own,
            )  # fmt: skip
        for lamp in range(lamps):
            for case in range(cases):
                sums[piece, batch, lamp, case] = scores[lamp, case]
    card.atomic.add(rays, 0, traced)


def add_pieces(first, pieces, sums, found):
    """Add the pieces of each target in their order.

    Parameters
    ----------
    first, pieces : (targets,) int64
        The first piece of a target, and how many it has.
    sums : (pieces, batches, lamps, cases) float64
    found : (targets, batches, lamps, cases) float64
        Set to the sums, W/m2.
    """
    targets, batches, lamps, cases = found.shape
    each = batches * lamps * cases
    for at in range(card.grid(1), targets * each, card.gridsize(1)):
        target, rest = at // each, at % each
        batch, lamp, case = rest // (lamps * cases), rest // cases % lamps, rest % cases
        whole = 0.0
        for piece in range(first[target], first[target] + pieces[target]):
            whole += sums[piece, batch, lamp, case]
        found[target, batch, lamp, case] = whole
