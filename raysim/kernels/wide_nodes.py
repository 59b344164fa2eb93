"""From a binary tree to nodes of up to eight children and blocks of up to four triangles."""

import math

import numpy as np

from raysim.kernels.binary_tree import DEEPEST
from raysim.kernels.bounds import FIRST, MINUS_HIGH, OWN, half_area
from raysim.kernels.compile import kernel
from raysim.kernels.side_by_side import (
    BLOCK_SIZE,
    BOXES,
    CHILD,
    NODE_SIZE,
    OWN_NUMBER,
    TRIANGLES,
)

ALL_PLACES = np.int64(BOXES)


@kernel
def child_of(children, row):
    """What a row of the binary tree, 2 * node + half, leads to; the last row leads to the root."""
    return np.int64(children[row // 2, row % 2]) if row < 2 * len(children) else 0


@kernel
def share_places(left, right, area, cost, split):
    """Fill one row of `cost` and `split` (see `shared_places`) from the rows of its two halves."""
    for k in range(BOXES):
        places = k + 1 if k else BOXES
        for j in range(1, places):
            both = left[j - 1] + right[places - j - 1]
            if j == 1 or both < cost[k]:  # keeps the first way where areas are not finite
                cost[k], split[k] = both, j
    cost[0] += area
    for k in range(1, BOXES):
        if cost[k - 1] <= cost[k]:
            cost[k], split[k] = cost[k - 1], 0


@kernel(allocates=True)
def shared_places(boxes, children):
    """Cheapest way to share out the places of wide nodes: (2 * nodes + 1, BOXES) int8.

    A row of the binary tree either takes one place, as a wide node or a block, or is opened and its
    two halves take k + 1 places. Entry k says how many of these go to the first half; 0 where fewer
    places do as well. Entry 0 shares out the BOXES places of the wide node that the row itself
    becomes. The cost is that of tracing: the area of all wide nodes together.

    Source: Ylitie, Karras, Laine, "Efficient incoherent ray traversal on GPUs through compressed
    wide BVHs", HPG (2017), section 3.1.
    """
    rows = 2 * len(children) + 1
    cost, split = np.zeros((rows, BOXES)), np.zeros((rows, BOXES), np.int8)
    for i in range(rows):
        row = rows - 2 - i if i < rows - 1 else rows - 1  # children before parents, the root last
        target = child_of(children, row)
        if target >= 0:
            area = np.float32(1.0)
            if row < rows - 1:
                area = max(half_area(boxes, row), np.float32(0.0))
            share_places(cost[2 * target], cost[2 * target + 1], area, cost[row], split[row])
    return split


@kernel
def open_row(children, row, places, share, todo, waiting):
    """Note both halves of a row and the places that each gets: `share` for the first, the rest."""
    target = child_of(children, row)
    todo[waiting, 0], todo[waiting, 1] = 2 * target + 1, places - share
    todo[waiting + 1, 0], todo[waiting + 1, 1] = 2 * target, share


@kernel
def gather_children(children, split, row, found, todo):
    """Fill `found` (BOXES,) with the rows that are the children of a wide node; returns how many.

    `row` is the row of the binary tree that the wide node stands for; `todo` (2 * BOXES, 2) int64
    is scratch.
    """
    open_row(children, row, ALL_PLACES, np.int64(split[row, 0]), todo, FIRST)
    waiting, count = 2, 0
    while waiting:
        waiting -= 1
        row, places = todo[waiting, 0], todo[waiting, 1]
        while places > 1 and split[row, places - 1] == 0:
            places -= 1
        if places == 1:
            found[count] = row
            count += 1
        else:
            share = np.int64(split[row, places - 1])
            open_row(children, row, places, share, todo, waiting)
            waiting += 2
    return count


@kernel
def write_boxes(boxes, rows, count, nodes, node):
    """Write the boxes of a wide node's children; an empty place gets a box that no ray can hit."""
    for i in range(BOXES):
        at = node * NODE_SIZE + i
        for axis in range(3):
            low, high = np.float32(math.inf), np.float32(-math.inf)
            if i < count:
                low, high = boxes[rows[i], axis], -boxes[rows[i], MINUS_HIGH + axis]
            nodes[at + axis * BOXES] = low
            nodes[at + (3 + axis) * BOXES] = high


@kernel(allocates=True)
def flatten(boxes, children, nodes, block_first, block_count):
    """Write wide nodes in the layout of `side_by_side`; returns how many, and how many blocks.

    Nodes and blocks are written depth first, so that a ray reads memory that lies close together.

    Parameters
    ----------
    boxes, children
        From `grow_tree`.
    nodes : (enough * NODE_SIZE,) float32
        Filled.
    block_first, block_count : (enough,) int64
        Filled with the first triangle and the number of triangles of each block.
    """
    split = shared_places(boxes, children)
    targets = nodes.view(np.int32)
    waiting = np.zeros(
        (DEEPEST * BOXES, 2), np.int64
    )  # row, and the place that waits for its number
    found, todo = np.zeros(BOXES, np.int64), np.zeros((2 * BOXES, 2), np.int64)
    waiting[0, 0], waiting[0, 1] = 2 * len(children), -1
    depth, known, blocks = 1, 0, 0
    while depth:
        depth -= 1
        row, asked = waiting[depth, 0], waiting[depth, 1]
        node, known = known, known + 1
        if asked >= 0:
            targets[asked] = node
        count = gather_children(children, split, row, found, todo)
        write_boxes(boxes, found, count, nodes, node)
        for i in range(BOXES - 1, -1, -1):  # so that the first one is on top
            at = node * NODE_SIZE + CHILD + i
            targets[at] = 0
            if i < count and child_of(children, found[i]) >= 0:
                waiting[depth, 0], waiting[depth, 1] = found[i], at
                depth += 1
        for i in range(count):
            target = child_of(children, found[i])
            if target < 0:
                block_first[blocks], block_count[blocks] = divmod(-target - 1, 8)
                blocks += 1
                targets[node * NODE_SIZE + CHILD + i] = -blocks
    return known, blocks


@kernel(allocates=True)
def fill_blocks(corners, triangles, block_first, block_count, blocks, order):
    """Write corners and numbers of the triangles block by block; NaN where there is none.

    Parameters
    ----------
    corners : (triangles, 3, 3) float64
        m.
    triangles : (triangles, BOX) float32
        In the order of the tree, as `grow_tree` left them.
    block_first, block_count : (blocks,) int64
        From `flatten`.
    blocks : (blocks * BLOCK_SIZE,) float64
        Filled.
    order : (triangles,) int64
        Filled with the row of `corners` for each triangle number.
    """
    rows = triangles.view(np.int32)
    for b in range(len(block_first)):
        for i in range(TRIANGLES):
            at, number = b * BLOCK_SIZE + i, block_first[b] + i
            if i >= block_count[b]:
                for k in range(0, BLOCK_SIZE, TRIANGLES):
                    blocks[at + k] = math.nan
                continue
            row = rows[number, OWN]
            order[number] = row
            blocks[at + OWN_NUMBER] = number
            for corner in range(3):
                for axis in range(3):
                    blocks[at + (3 * axis + corner) * TRIANGLES] = corners[row, corner, axis]
