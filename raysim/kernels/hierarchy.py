"""Build a hierarchy of boxes over triangles, splitting where tracing gets cheapest.

A binary tree is built first and then flattened, so that a node has up to eight children whose
boxes lie side by side in memory.

Source: surface-area heuristic with bins, Wald, "On fast construction of SAH-based bounding volume
hierarchies", IEEE Symposium on Interactive Ray Tracing (2007).
"""

import math

import numpy as np

from raysim.kernels.compile import kernel

BINS = 16
WIDTH = 8  # children of a node
NODE_SIZE = 6 * WIDTH  # its numbers: low x, y, z, high x, y, z, each for all children
LEAF_SIZE = 4
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
    bounds_of(order, 0, triangles, lows, highs, low, high)
    pad = 0.0
    for axis in range(3):
        pad = max(pad, PADDING * max(abs(low[axis]), abs(high[axis])))
        pad = max(pad, PADDING * (high[axis] - low[axis]))
    todo = np.zeros((4 * 128, 4), np.int64)
    todo[0] = (0, 0, triangles, 0)
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
            if size <= LEAF_SIZE:
                node_children[node, child] = -(8 * begin + size) - 1
            else:
                node_children[node, child] = nodes
                todo[waiting] = (nodes, begin, size, depth + 1)
                waiting += 1
                nodes += 1
    return order, node_boxes[:nodes].copy(), node_children[:nodes].copy()


@kernel
def gather_children(boxes, children, node, found):
    """Fill `found` (WIDTH, 2) with (binary node, child) below `node`; returns how many.

    The child with the largest box is opened until the node is full.
    """
    found[0] = (node, 0)
    found[1] = (node, 1)
    count = 2
    while count < WIDTH:
        largest, widest = -1, -1.0
        for i in range(count):
            parent, child = found[i]
            if children[parent, child] >= 0:
                box = boxes[parent, 6 * child : 6 * child + 6]
                size = half_area(box[:3], box[3:])
                if size > widest:
                    largest, widest = i, size
        if largest < 0:
            break
        inner = np.int64(children[found[largest, 0], found[largest, 1]])
        found[largest] = (inner, 0)
        found[count] = (inner, 1)
        count += 1
    return count


@kernel
def build_hierarchy(lows, highs):
    """Order of the triangles in the leaves, boxes and children of the nodes.

    Parameters
    ----------
    lows, highs : (triangles, 3) float64
        Corners of each triangle's box, m.

    Returns
    -------
    order : (triangles,) int64
    node_boxes : (nodes * NODE_SIZE,) float32
        Per node the low x of its WIDTH children, their low y, low z, high x, high y, high z.
    node_children : (nodes, WIDTH) int32
        Node number, or ``-(8 first + count) - 1`` for a leaf of `count` triangles.
    """
    order, boxes, children = build_binary(lows, highs)
    wide_boxes = np.zeros(len(children) * NODE_SIZE, np.float32)
    wide_children = np.zeros((len(children), WIDTH), np.int32)
    binary_node = np.zeros(len(children), np.int64)
    found = np.zeros((WIDTH, 2), np.int64)
    nodes, done = 1, 0
    while done < nodes:
        count = gather_children(boxes, children, binary_node[done], found)
        for i in range(WIDTH):
            at = done * NODE_SIZE + i
            for k in range(6):
                # An empty place gets a box that no ray can meet.
                empty = math.inf if k < 3 else -math.inf
                parent, child = found[i]
                value = np.float64(boxes[parent, 6 * child + k]) if i < count else empty
                wide_boxes[at + k * WIDTH] = value
            if i < count:
                target = np.int64(children[found[i, 0], found[i, 1]])
                if target >= 0:
                    binary_node[nodes] = target
                    target = nodes
                    nodes += 1
                wide_children[done, i] = target
        done += 1
    return order, wide_boxes[: nodes * NODE_SIZE].copy(), wide_children[:nodes].copy()
