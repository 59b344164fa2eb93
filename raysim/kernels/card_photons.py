"""Photons on a graphics card: what one of its many threads does.

A thread takes the next photon as soon as its last one has ended. The photon flies by the functions
of `history`, copied for the card (`remade`).

Source: refilling of finished threads, Aila and Laine, "Understanding the efficiency of ray
traversal on GPUs", HPG (2009).
"""

import math
from typing import NamedTuple

import numpy as np

from raysim.kernels.card import DEEPEST, card, nearest_hit
from raysim.kernels.history import arrive, leave_lamp
from raysim.kernels.records import LOST
from raysim.kernels.run_cpu import carried_cases
from raysim.kernels.traverse import NEAREST, NOTHING

FIELD = 21  # bits of a case's count in a word of arrivals
IN_WORD = 3  # cases
FIELD_MASK = np.uint64(2**FIELD - 1)


class Work(NamedTuple):
    """Photons of one launch: some batches, each of so many photons of every lamp."""

    first_batch: int
    batches: int
    batch_photons: np.ndarray  # (lamps,) int64
    photons: int  # of all lamps in a batch


def count_alive(tally, row, alive, cases):
    """Add one to `tally[row, case]` for every case whose bit is set in `alive`."""
    for case in range(cases):
        if (alive >> case) & 1:
            card.atomic.add(tally, (row, case), 1)


def count_arrival(arrivals, row, alive, cases):
    """Count a photon on face-side `row`: FIELD bits for each case, three cases in a word."""
    for first in range(0, cases, IN_WORD):
        word = np.uint64(0)
        for case in range(first, min(first + IN_WORD, cases)):
            word |= np.uint64((alive >> case) & 1) << np.uint64(FIELD * (case - first))
        card.atomic.add(arrivals, (row, first // IN_WORD), word)


def photon_of(work, number):
    """Batch of a launch, lamp, and number of the photon among all of that lamp."""
    batch, rest, lamp = number // work.photons, number % work.photons, 0
    while rest >= work.batch_photons[lamp]:
        rest -= work.batch_photons[lamp]
        lamp += 1
    return batch, lamp, (work.first_batch + batch) * work.batch_photons[lamp] + rest


def fly_photons(geometry, surfaces, lamp_tubes, rules, work, taken, arrivals, bodies, fates, flown):
    """What one thread does: it flies photons until none is left.

    Parameters
    ----------
    taken : (1,) int64
        Photons that any thread has taken so far.
    arrivals : (batches, lamps, 2 * triangles, words) uint64
        Counts of arrivals, see `count_arrival`.
    bodies : (lamps, bodies, cases) int64
    fates : (lamps, FATES, cases) int64
    flown : (1,) int64
        Segments.
    """
    stack, waits = card.local.array(DEEPEST, np.int32), card.local.array(DEEPEST, np.float32)
    cases, last_photon = surfaces.reflectance.shape[1], work.batches * work.photons
    triangles = len(geometry.normals)
    alive, bounce, segments = 0, 0, 0
    batch, lamp, photon, last = 0, 0, np.uint64(0), 0
    x, y, z, dx, dy, dz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    while True:
        if alive == 0:
            number = card.atomic.add(taken, 0, 1)
            if number >= last_photon:
                break
            batch, lamp, index = photon_of(work, number)
            tubes = lamp_tubes.number[lamp]
            tube = lamp_tubes.first[lamp] + index % tubes
            alive = carried_cases(index // tubes, rules.case_stride)
            photon, bounce, last = np.uint64(index), 0, triangles + tube
            x, y, z, dx, dy, dz = leave_lamp(
                geometry.tubes, tube, lamp, photon, rules.key0, rules.key1
            )
        best, hit = nearest_hit(
            geometry.nodes, geometry.blocks, geometry.solid, triangles, x, y, z, dx, dy, dz,
            math.inf, last, NOTHING, NEAREST, stack, waits,
        )  # fmt: skip
        alive, x, y, z, dx, dy, dz, last = arrive(
            geometry, surfaces, lamp, photon, alive, bounce, x, y, z, dx, dy, dz,
            best, hit, last, rules.key0, rules.key1,
            arrivals[batch, lamp], bodies[lamp], fates[lamp],
        )  # fmt: skip
        segments, bounce = segments + 1, bounce + 1
        if alive != 0 and bounce >= rules.max_bounces:
            count_alive(fates[lamp], LOST, alive, cases)
            alive = 0
    card.atomic.add(flown, 0, segments)


def add_batches(work, groups, arrivals, tile, tiles, total, squares):
    """Add the counts of a launch to sums, sums of squares and tiles, and clear them.

    Each thread takes face-sides of its own. `tiles` (groups, lamps, tiles, cases) int32, `tile`
    (2 * triangles,) int32; the rest as in `run_cpu.trace_photons`, without workers.
    """
    lamps, sides, cases = total.shape
    words = arrivals.shape[3]
    for at in range(card.grid(1), lamps * sides * words, card.gridsize(1)):
        lamp, rest = at // (sides * words), at % (sides * words)
        side, number = rest // words, rest % words
        for batch in range(work.batches):
            word = arrivals[batch, lamp, side, number]
            if word != 0:
                arrivals[batch, lamp, side, number] = 0
                group = (work.first_batch + batch) % max(groups, 1)
                for case in range(IN_WORD * number, min(IN_WORD * (number + 1), cases)):
                    shift = np.uint64(FIELD * (case - IN_WORD * number))
                    count = np.int64((word >> shift) & FIELD_MASK)
                    total[lamp, side, case] += count
                    squares[lamp, side, case] += count * count
                    if groups > 0 and count != 0:
                        card.atomic.add(tiles, (group, lamp, tile[side], case), count)
