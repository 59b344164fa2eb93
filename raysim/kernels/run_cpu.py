"""Outermost loops on the processor: which worker traces which photons and backward paths.

Each worker is a thread that calls the loop with its own number (`threads.in_threads`). Numba's
parallel loops would do the same and take three times as long to compile.
"""

import numpy as np

from raysim.kernels.backward import backward_path
from raysim.kernels.compile import kernel
from raysim.kernels.history import follow_photon
from raysim.kernels.traverse import new_scratch

# Batches of one target that a worker traces in a row: their rays begin at the same spot, so that
# they read the same memory.
BLOCK = 8


@kernel
def add_to_tiles(arrivals, tile, tally):
    """Add one batch's counts on face-sides to those of their tiles, (tiles, cases)."""
    for row in range(arrivals.shape[0]):
        for case in range(arrivals.shape[1]):
            tally[tile[row], case] += arrivals[row, case]


@kernel
def add_batch(arrivals, total, squares):
    """Add one batch's counts to the sums and sums of squares, and clear them for the next."""
    for row in range(arrivals.shape[0]):
        for case in range(arrivals.shape[1]):
            count = np.int64(arrivals[row, case])
            if count != 0:
                total[row, case] += count
                squares[row, case] += count * count
                arrivals[row, case] = 0


@kernel
def carried_cases(turn, case_stride):
    """Bits of the cases that the photons of one turn carry: one turn in `case_stride` each."""
    bits = 0
    for case in range(case_stride.shape[0]):
        if turn % case_stride[case] == 0:
            bits |= 1 << case
    return bits


@kernel
def trace_batch(geometry, surfaces, lamp_tubes, rules, lamp, first, photons, tally):
    """Trace `photons` photons of one lamp from index `first` on; returns the segments flown.

    Photons take turns between the tubes of a lamp. `tally` holds arrivals, bodies, fates, scratch.
    """
    arrivals, bodies, fates, scratch = tally
    segments = 0
    count = lamp_tubes.number[lamp]
    for i in range(photons):
        photon = first + i
        tube = lamp_tubes.first[lamp] + photon % count
        carried = carried_cases(photon // count, rules.case_stride)
        segments += follow_photon(
            geometry, surfaces, tube, lamp, np.uint64(photon), carried,
            rules.key0, rules.key1, rules.max_bounces, arrivals, bodies, fates, scratch,
        )  # fmt: skip
    return segments


@kernel(allocates=True)
def trace_photons(
    worker, geometry, surfaces, lamp_tubes, rules, first_batch, batches, batch_photons,
    tile, tiles, total, squares, bodies, fates, segments,
):  # fmt: skip
    """Trace one worker's batches of photons from the lamps and add to its integer tallies.

    Parameters
    ----------
    worker : int
        Number of this worker, w. It takes the batches w, w + workers, w + 2 workers, ...
    first_batch, batches : int
        Batch b of a lamp begins with its photon number b * batch_photons[lamp].
    batch_photons : (lamps,) int64
    tile : (2 * triangles,) int32
        Tile of each face-side.
    tiles : (workers, groups, lamps, tiles, cases) int32
        Counts of arrivals on tiles, apart for each group of batches: b belongs to b % groups.
    total, squares : (workers, lamps, 2 * triangles, cases) int64
        Sums over batches of the counts of arrivals and of their squares.
    bodies : (workers, lamps, bodies, cases) int64
    fates : (workers, lamps, FATES, cases) int64
    segments : (workers,) int64
    """
    workers = total.shape[0]
    arrivals = np.zeros((total.shape[2], total.shape[3]), np.int32)
    scratch = new_scratch()
    flown = 0
    for batch in range(first_batch + worker, first_batch + batches, workers):
        for lamp in range(batch_photons.shape[0]):
            photons = batch_photons[lamp]
            tally = (arrivals, bodies[worker, lamp], fates[worker, lamp], scratch)
            flown += trace_batch(
                geometry, surfaces, lamp_tubes, rules, lamp, batch * photons, photons, tally
            )
            if tiles.shape[1] > 0:
                add_to_tiles(arrivals, tile, tiles[worker, batch % tiles.shape[1], lamp])
            add_batch(arrivals, total[worker, lamp], squares[worker, lamp])
    segments[worker] += flown


@kernel(allocates=True)
def trace_backward(
    worker, geometry, surfaces, known, starts, rules, done, paths, rows, sums, rays
):  # fmt: skip
    """Trace one worker's backward paths, from chosen targets to the lamps.

    Parameters
    ----------
    worker : int
        Number of this worker, w. It takes the blocks of batches w, w + workers, ...
    known : Known
    starts : Starts
    rules : Rules
        A path that carries a case has weight n of its stride.
    done : (targets,) int64
        Paths per batch that each target already has.
    paths : (targets,) int64
        Further paths per batch, for each target.
    rows : (targets,) int64
        Row of `sums` for each target.
    sums : (enough, batches, lamps, cases) float32
        Sums of path scores, W/m2; this function adds to them. A sum divided by the number of
        paths is an irradiance.
    rays : (workers,) int64
        Number of rays traced; this function adds to it.
    """
    workers = rays.shape[0]
    batches = sums.shape[1]
    cases = surfaces.reflectance.shape[1]
    stack, distances = new_scratch()
    weight = np.zeros(cases)
    choice = np.zeros(geometry.tubes.shape[0])
    image_choice = np.zeros(known.image_tubes.shape[0])
    scratch = (stack, distances, weight, choice, image_choice)
    scores = np.zeros(
        (sums.shape[2], cases)
    )  # not a row of `sums`: threads would write to the same cache lines
    traced = 0
    tasks = paths.shape[0] * batches
    for block in range(worker * BLOCK, tasks, workers * BLOCK):
        for task in range(block, min(block + BLOCK, tasks)):
            target, batch = task // batches, task % batches
            scores[:] = 0.0
            for place in range(done[target], done[target] + paths[target]):
                traced += backward_path(
                    geometry, surfaces, known, starts, target, np.uint64(place * batches + batch),
                    batch, place, rules, scores, scratch,
                )  # fmt: skip
            row = rows[target]
            for lamp in range(scores.shape[0]):
                for case in range(cases):
                    sums[row, batch, lamp, case] += scores[lamp, case]
    rays[worker] += traced
