"""Build a hierarchy of boxes over triangles, splitting where tracing gets cheapest.

A binary tree is built first and then flattened, so that a node has up to eight children whose
boxes lie side by side in memory, and its leaves are blocks of up to four triangles.

Source: surface-area heuristic with bins, Wald, "On fast construction of SAH-based bounding volume
hierarchies", IEEE Symposium on Interactive Ray Tracing (2007).
"""

import math

import numpy as np

from raysim.kernels.compile import kernel
from raysim.kernels.side_by_side import (
    BLOCK_SIZE,
    BOXES,
    CHILD,
    NODE_SIZE,
    OWN_NUMBER,
    TRIANGLES,
)

BINS = 16
# Below this depth the build halves by count, which bounds the depth of any mesh to
# DEEPEST_SPLIT + log2(triangles) and so the stack of the traversal.
DEEPEST_SPLIT = 40
# Boxes are padded by this share of the scene's size: some float32 roundings of a coordinate.
PADDING = 4.0e-7


@kernel
def half_area(low, high):
    """Half of the surface area of a box, m2 (definition)."""
    x, y, z = high[0] - low[0], high[1] - low[1], high[2] - low[2]
    return x * y + y * z + z * x


@kernel
def grow(low, high, other_low, other_high):
    """Extend the box (low, high) in place so that it holds the other one."""
    for axis in range(3):
        low[axis] = min(low[axis], other_low[axis])
        high[axis] = max(high[axis], other_high[axis])


@kernel
def bounds_of(order, first, count, lows, highs, low, high):
    """Set (low, high) to the box around the listed triangles."""
    low[:] = math.inf
    high[:] = -math.inf
    for i in range(first, first + count):
        grow(low, high, lows[order[i]], highs[order[i]])


@kernel
def fill_bins(order, first, count, lows, highs, axis, start, scale, counts, bin_low, bin_high):
    """Sort triangles into bins along one axis by the middle of their boxes."""
    counts[:] = 0
    bin_low[:] = math.inf
    bin_high[:] = -math.inf
    for i in range(first, first + count):
        t = order[i]
        k = min(int((0.5 * (lows[t, axis] + highs[t, axis]) - start) * scale), BINS - 1)
        counts[k] += 1
        grow(bin_low[k], bin_high[k], lows[t], highs[t])


@kernel
def best_plane(counts, bin_low, bin_high, right_cost):
    """Cost of the cheapest split between bins, and the number of the last bin on its left."""
    low, high = np.full(3, math.inf), np.full(3, -math.inf)
    number = 0
    for k in range(BINS - 1, 0, -1):
        grow(low, high, bin_low[k], bin_high[k])
        number += counts[k]
        right_cost[k] = half_area(low, high) * number if number else math.inf
    low[:] = math.inf
    high[:] = -math.inf
    number, best, where = 0, math.inf, -1
    for k in range(BINS - 1):
        grow(low, high, bin_low[k], bin_high[k])
        number += counts[k]
        if number and right_cost[k + 1] < math.inf:
            cost = half_area(low, high) * number + right_cost[k + 1]
            if cost < best:
                best, where = cost, k
    return best, where


@kernel
def best_split(order, first, count, lows, highs):
    """Axis, start, scale and last left bin of the cheapest split; bin -1 if there is none."""
    counts = np.zeros(BINS, np.int64)
    bin_low, bin_high = np.zeros((BINS, 3)), np.zeros((BINS, 3))
    right_cost = np.zeros(BINS)
    best, best_axis, best_start, best_scale, best_bin = math.inf, 0, 0.0, 0.0, -1
    for axis in range(3):
        start, end = math.inf, -math.inf
        for i in range(first, first + count):
            middle = 0.5 * (lows[order[i], axis] + highs[order[i], axis])
            start, end = min(start, middle), max(end, middle)
        if not end > start:
            continue
        scale = BINS / (end - start)
        if not math.isfinite(scale):
            continue
        fill_bins(order, first, count, lows, highs, axis, start, scale, counts, bin_low, bin_high)
        cost, where = best_plane(counts, bin_low, bin_high, right_cost)
        if cost < best:
            best, best_axis, best_start = cost, axis, start
            best_scale, best_bin = scale, where
    return best_axis, best_start, best_scale, best_bin


@kernel
def partition(order, first, count, lows, highs, depth):
    """Reorder triangles so that one child's come first; returns how many they are."""
    if depth < DEEPEST_SPLIT:
        axis, start, scale, last_bin = best_split(order, first, count, lows, highs)
        if last_bin >= 0:
            i, j = first, first + count - 1
            while i <= j:
                t = order[i]
                middle = 0.5 * (lows[t, axis] + highs[t, axis])
                if min(int((middle - start) * scale), BINS - 1) <= last_bin:
                    i += 1
                else:
                    order[i] = order[j]
                    order[j] = t
                    j -= 1
            if first < i < first + count:
                return i - first
    return count // 2


@kernel
def store_box(node_boxes, node, child, low, high, pad):
    """Write a padded box into the parent's row."""
    for axis in range(3):
        node_boxes[node, 6 * child + axis] = low[axis] - pad
        node_boxes[node, 6 * child + 3 + axis] = high[axis] + pad


@kernel
def build_binary(lows, highs):
    """Order of the triangles, and boxes (nodes, 12) and children (nodes, 2) of a binary tree."""
    triangles = lows.shape[0]
    order = np.arange(triangles)
    node_boxes = np.zeros((max(triangles, 1), 12), np.float32)
    node_children = np.zeros((max(triangles, 1), 2), np.int32)
    low, high = np.zeros(3), np.zeros(3)
    bounds_of(order, np.int64(0), triangles, lows, highs, low, high)
    pad = 0.0
    for axis in range(3):
        pad = max(pad, PADDING * max(abs(low[axis]), abs(high[axis])))
        pad = max(pad, PADDING * (high[axis] - low[axis]))
    todo = np.zeros((4 * 128, 4), np.int64)
    todo[0, 2] = triangles  # number by number: a tuple at once takes 3 s to compile
    waiting, nodes = 1, 1
    while waiting:
        waiting -= 1
        node, first, count, depth = todo[waiting]
        left = partition(order, first, count, lows, highs, depth) if count > 1 else count
        for child in range(2):
            begin = first if child == 0 else first + left
            size = left if child == 0 else count - left
            bounds_of(order, begin, size, lows, highs, low, high)
            store_box(node_boxes, node, child, low, high, pad)
            if size <= TRIANGLES:
                node_children[node, child] = -(8 * begin + size) - 1
            else:
                node_children[node, child] = nodes
                todo[waiting, 0], todo[waiting, 1] = nodes, begin
                todo[waiting, 2], todo[waiting, 3] = size, depth + 1
                waiting += 1
                nodes += 1
    return order, node_boxes[:nodes].copy(), node_children[:nodes].copy()


@kernel
def child_of(children, row):
    """What a row of the binary tree, 2 * node + child, leads to; the last row leads to the root."""
    return np.int64(children[row // 2, row % 2]) if row < 2 * len(children) else 0


@kernel
def share_places(left, right, area, cost, split):
    """Fill one row of `cost` and `split` (see `shared_places`) from those of its two halves."""
    for k in range(BOXES):
        places = k + 1 if k else BOXES
        for j in range(1, places):
            both = left[j - 1] + right[places - j - 1]
            if j == 1 or both < cost[k]:  # the first way stands where areas are not finite
                cost[k], split[k] = both, j
    cost[0] += area
    for k in range(1, BOXES):
        if cost[k - 1] <= cost[k]:
            cost[k], split[k] = cost[k - 1], 0


@kernel
def shared_places(boxes, children):
    """How the places of wide nodes are best shared out: (2 * nodes + 1, BOXES) int8.

    A row of the binary tree may be given one place, as a wide node or a block, or be opened to
    take k + 1 places, of which entry k goes to its first half; 0 where fewer places do as well.
    Entry 0 shares out the BOXES places of the wide node that the row itself makes. What is least
    is the cost of tracing: the area of all wide nodes together.

    Source: Ylitie, Karras, Laine, "Efficient incoherent ray traversal on GPUs through compressed
    wide BVHs", HPG (2017), section 3.1.
    """
    rows = 2 * len(children) + 1
    cost, split = np.zeros((rows, BOXES)), np.zeros((rows, BOXES), np.int8)
    for i in range(rows):
        row = rows - 2 - i if i < rows - 1 else rows - 1  # children before parents, the root last
        area = np.float32(1.0)
        if row < rows - 1:
            box = boxes[row // 2, 6 * (row % 2) : 6 * (row % 2) + 6]
            area = max(half_area(box[:3], box[3:]), np.float32(0.0))
        target = child_of(children, row)
        if target >= 0:
            share_places(cost[2 * target], cost[2 * target + 1], area, cost[row], split[row])
    return split


@kernel
def gather_children(children, split, row, found):
    """Fill `found` (BOXES,) with the rows that are the children of a wide node; returns how many.

    `row` is the row of the binary tree that the wide node stands for.
    """
    todo = np.zeros((2 * BOXES, 2), np.int64)  # row, places
    target, share = child_of(children, row), np.int64(split[row, 0])
    todo[0, 0], todo[0, 1] = 2 * target + 1, BOXES - share
    todo[1, 0], todo[1, 1] = 2 * target, share
    waiting, count = 2, 0
    while waiting:
        waiting -= 1
        row, places = todo[waiting]
        while places > 1 and split[row, places - 1] == 0:
            places -= 1
        if places == 1:
            found[count] = row
            count += 1
            continue
        target, share = child_of(children, row), np.int64(split[row, places - 1])
        todo[waiting, 0], todo[waiting, 1] = 2 * target + 1, places - share
        todo[waiting + 1, 0], todo[waiting + 1, 1] = 2 * target, share
        waiting += 2
    return count


@kernel
def flatten(boxes, children):
    """Wide nodes as in `build_tree`, and the first triangle and the size of each block.

    An empty place of a node gets a box that no ray can meet.
    """
    split = shared_places(boxes, children)
    nodes = np.zeros(len(children) * NODE_SIZE, np.float32)
    targets = nodes.view(np.int32)
    stands_for = np.zeros(len(children), np.int64)
    stands_for[0] = 2 * len(children)
    block_first = np.zeros(2 * len(children), np.int64)
    block_count = np.zeros(2 * len(children), np.int64)
    found = np.zeros(BOXES, np.int64)
    known, done, blocks = 1, 0, 0
    while done < known:
        count = gather_children(children, split, stands_for[done], found)
        for i in range(BOXES):
            at = done * NODE_SIZE + i
            row = found[i] if i < count else 0
            for k in range(6):
                empty = math.inf if k < 3 else -math.inf
                value = np.float64(boxes[row // 2, 6 * (row % 2) + k]) if i < count else empty
                nodes[at + k * BOXES] = value
            if i >= count:
                continue
            target = child_of(children, row)
            if target >= 0:
                stands_for[known] = row
                targets[at + CHILD] = known
                known += 1
            else:
                block_first[blocks], block_count[blocks] = divmod(-target - 1, 8)
                blocks += 1
                targets[at + CHILD] = -blocks
        done += 1
    return nodes[: known * NODE_SIZE].copy(), block_first[:blocks], block_count[:blocks]


@kernel
def filled_blocks(corners, order, block_first, block_count):
    """Corners and numbers of the triangles block by block; NaN where there is none."""
    blocks = np.full(len(block_first) * BLOCK_SIZE, math.nan)
    for b in range(len(block_first)):
        for i in range(block_count[b]):
            at, triangle = b * BLOCK_SIZE + i, block_first[b] + i
            blocks[at + OWN_NUMBER] = triangle
            for corner in range(3):
                for axis in range(3):
                    value = corners[order[triangle], corner, axis]
                    blocks[at + (3 * axis + corner) * TRIANGLES] = value
    return blocks


@kernel
def build_tree(corners):
    """Hierarchy over triangles, which are numbered in the order of its leaves.

    Parameters
    ----------
    corners : (triangles, 3, 3) float64
        m.

    Returns
    -------
    nodes : (nodes * NODE_SIZE,) float32
        Boxes (m) of each node's children, and the children as int32: a node, or -1 - block. The
        layout stands in `side_by_side`.
    blocks : (blocks * BLOCK_SIZE,) float64
        Corners (m) and numbers of each block's triangles; NaN where it has fewer than TRIANGLES.
    order : (triangles,) int64
        The row of `corners` that each number stands for.
    """
    triangles = corners.shape[0]
    lows, highs = np.zeros((triangles, 3)), np.zeros((triangles, 3))
    for i in range(triangles):
        for axis in range(3):
            a, b, c = corners[i, 0, axis], corners[i, 1, axis], corners[i, 2, axis]
            lows[i, axis], highs[i, axis] = min(a, b, c), max(a, b, c)
    order, boxes, children = build_binary(lows, highs)
    nodes, block_first, block_count = flatten(boxes, children)
    return nodes, filled_blocks(corners, order, block_first, block_count), order
