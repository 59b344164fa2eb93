"""A binary tree of boxes over triangles, split where tracing becomes cheapest.

Source: surface-area heuristic with bins, Wald, "On fast construction of SAH-based bounding volume
hierarchies", IEEE Symposium on Interactive Ray Tracing (2007).
"""

import math

import numpy as np

from raysim.kernels.bounds import (
    BOX,
    FIRST,
    MINUS_HIGH,
    NOTHING,
    OWN,
    X,
    Y,
    Z,
    empty,
    enlarge,
    half_area,
)
from raysim.kernels.compile import kernel
from raysim.kernels.side_by_side import TRIANGLES

BINS = 16
# Without it rays test more blocks in vain; with a larger value blocks are less full (measured at 0,
# 0.05, 0.1 and 0.2).
OWN_SHARE = 0.05
LAST_BIN = np.float32(BINS - 1)
# Below this depth the build halves by count, which bounds the depth of any mesh to
# DEEPEST_SPLIT + log2(triangles) and so the stack of the traversal.
DEEPEST_SPLIT = 40
DEEPEST = 128  # enough for 2^88 triangles
# Boxes are padded by this share of the scene's size: some float32 roundings of a coordinate.
PADDING = 4.0e-7


@kernel
def padding(corners):
    """Width (m) by which the boxes of some triangles are enlarged, against rounding."""
    largest = 0.0
    for axis in range(3):
        low, high = math.inf, -math.inf
        for i in range(corners.shape[0]):
            for corner in range(3):
                low = min(low, corners[i, corner, axis])
                high = max(high, corners[i, corner, axis])
        largest = max(largest, abs(low), abs(high), high - low)
    return PADDING * largest


@kernel(allocates=True)
def triangle_boxes(corners, boxes):
    """Fill `boxes` (triangles, BOX) float32 with the padded box and the number of each triangle."""
    pad = padding(corners)
    numbers = boxes.view(np.int32)
    for i in range(corners.shape[0]):
        for axis in range(3):
            a, b, c = corners[i, 0, axis], corners[i, 1, axis], corners[i, 2, axis]
            boxes[i, axis] = min(a, b, c) - pad
            boxes[i, MINUS_HIGH + axis] = -(max(a, b, c) + pad)
        numbers[i, OWN] = i
        boxes[i, BOX - 1] = NOTHING


@kernel
def measure(triangles, first, count, boxes, i, middles, j):
    """Set box `i` to the box of some triangles, and box `j` to the box of twice their middles.

    One axis after the other, so that the growing box stays in registers.
    """
    empty(boxes, i)
    empty(middles, j)
    for axis in range(3):
        low, high, start, end = NOTHING, NOTHING, NOTHING, NOTHING
        for t in range(first, first + count):
            a, b = triangles[t, axis], triangles[t, MINUS_HIGH + axis]
            middle = a - b
            low = a if a < low else low
            high = b if b < high else high
            start = middle if middle < start else start
            end = -middle if -middle < end else end
        boxes[i, axis], boxes[i, MINUS_HIGH + axis] = low, high
        middles[j, axis], middles[j, MINUS_HIGH + axis] = start, end


@kernel
def bins_per_metre(middles, j, axis):
    """Scale from twice a middle to bins; zero where all middles coincide."""
    scale = np.float32(BINS) / (-middles[j, MINUS_HIGH + axis] - middles[j, axis])
    return scale if scale < NOTHING else np.float32(0.0)


@kernel
def bin_of(triangles, t, axis, start, scale):
    """Bin of a triangle's middle along one axis."""
    place = (triangles[t, axis] - triangles[t, MINUS_HIGH + axis] - start) * scale
    return np.int64(place if place < LAST_BIN else LAST_BIN)  # a NaN falls into the last


@kernel
def fill_bins(triangles, first, count, starts, scales, counts, bins):
    """Count triangles by the bins that their middles fall into, and box them, on all axes."""
    for k in range(3 * BINS):
        empty(bins, k)
    counts[:] = 0
    for t in range(first, first + count):
        x = bin_of(triangles, t, X, starts[0], scales[0])
        y = bin_of(triangles, t, Y, starts[1], scales[1]) + BINS
        z = bin_of(triangles, t, Z, starts[2], scales[2]) + 2 * BINS
        enlarge(bins, x, triangles, t)
        enlarge(bins, y, triangles, t)
        enlarge(bins, z, triangles, t)
        counts[x] += 1
        counts[y] += 1
        counts[z] += 1


@kernel
def work_of(count):
    """Cost of testing `count` triangles, in blocks: a block costs the same however few it holds.

    The small extra cost per triangle decides between planes that need equally many blocks.
    """
    return (count + TRIANGLES - 1) // TRIANGLES + OWN_SHARE * count


@kernel
def best_plane(first, counts, bins, box, right_cost):
    """Cost of the cheapest split between the bins of one axis, and the last bin on its left.

    The bins of the axis begin at `first`; bin -1 if there is nothing to split. Empty bins change
    nothing and are passed over.
    """
    empty(box, FIRST)
    number = 0
    right_cost[BINS] = math.inf
    for k in range(BINS - 1, 0, -1):
        right_cost[k] = right_cost[k + 1]
        if counts[first + k]:
            number += counts[first + k]
            enlarge(box, 0, bins, first + k)
            right_cost[k] = half_area(box, FIRST) * work_of(number)
    empty(box, FIRST)
    number, best, where = 0, math.inf, -1
    for k in range(BINS - 1):
        if counts[first + k]:
            number += counts[first + k]
            enlarge(box, 0, bins, first + k)
            cost = half_area(box, FIRST) * work_of(number) + right_cost[k + 1]
            if cost < best:
                best, where = cost, k
    return best, where


@kernel
def best_split(triangles, first, count, middles, j, scratch):
    """Axis, start, scale and last left bin of the cheapest split; bin -1 if there is none."""
    counts, bins, box, right_cost = scratch
    starts = (middles[j, 0], middles[j, 1], middles[j, 2])
    scales = (
        bins_per_metre(middles, j, X),
        bins_per_metre(middles, j, Y),
        bins_per_metre(middles, j, Z),
    )
    fill_bins(triangles, first, count, starts, scales, counts, bins)
    best, best_axis, best_bin = math.inf, 0, -1
    for axis in range(3):
        if scales[axis] > np.float32(0.0):
            cost, where = best_plane(axis * BINS, counts, bins, box, right_cost)
            if cost < best:
                best, best_axis, best_bin = cost, axis, where
    return best_axis, starts[best_axis], scales[best_axis], best_bin


@kernel
def swap(triangles, a, b):
    """Let two triangles change places."""
    for k in range(BOX):
        triangles[a, k], triangles[b, k] = triangles[b, k], triangles[a, k]


@kernel
def partition(triangles, first, count, depth, middles, j, scratch):
    """Reorder triangles so that one child's come first; returns how many they are."""
    if depth < DEEPEST_SPLIT:
        axis, start, scale, last_bin = best_split(triangles, first, count, middles, j, scratch)
        if last_bin >= 0:
            t, end = first, first + count - 1
            while t <= end:
                if bin_of(triangles, t, axis, start, scale) <= last_bin:
                    t += 1
                else:
                    swap(triangles, t, end)
                    end -= 1
            if first < t < first + count:
                return t - first
    return count // 2


@kernel(allocates=True)
def grow_tree(triangles, boxes, children):
    """Grow the tree over the boxes of triangles and return how many nodes it has, at least one.

    Parameters
    ----------
    triangles : (triangles, BOX) float32
        From `triangle_boxes`, m; reordered so that the triangles of every node are neighbours.
    boxes : (2 * nodes, BOX) float32
        Filled: rows 2 * node and 2 * node + 1 are the boxes of a node's halves, m.
    children : (nodes, 2) int32
        Filled: the node that a half is, always a later one, or -1 - (8 * first triangle + number
        of triangles) where these fit into a block.
    """
    scratch = (
        np.zeros(3 * BINS, np.int64),
        np.zeros((3 * BINS, BOX), np.float32),
        np.zeros((1, BOX), np.float32),
        np.zeros(BINS + 1),
    )
    middles = np.zeros((DEEPEST, BOX), np.float32)
    todo = np.zeros((DEEPEST, 4), np.int64)
    measure(triangles, FIRST, triangles.shape[0], boxes, FIRST, middles, FIRST)
    todo[0] = (0, 0, triangles.shape[0], 0)
    waiting, nodes = 1, 1
    while waiting:
        waiting -= 1
        node, first, count, depth = todo[waiting]
        left = count
        if count > 1:
            left = partition(triangles, first, count, depth, middles, waiting, scratch)
        for half in range(2):
            begin = first if half == 0 else first + left
            size = left if half == 0 else count - left
            measure(triangles, begin, size, boxes, 2 * node + half, middles, waiting)
            if size <= TRIANGLES:
                children[node, half] = -(8 * begin + size) - 1
            else:
                children[node, half] = nodes
                todo[waiting] = (nodes, begin, size, depth + 1)
                waiting += 1
                nodes += 1
    return nodes
