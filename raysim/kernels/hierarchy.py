"""Build a hierarchy of boxes over triangles, split where tracing becomes cheapest.

A binary tree is built first and then flattened, so that a node has up to eight children whose
boxes lie side by side in memory, and its leaves are blocks of up to four triangles.
"""

import numpy as np

from raysim.kernels.binary_tree import grow_tree, triangle_boxes
from raysim.kernels.bounds import BOX
from raysim.kernels.lanes import CACHE_LINE
from raysim.kernels.side_by_side import BLOCK_SIZE, NODE_SIZE
from raysim.kernels.wide_nodes import fill_blocks, flatten


def aligned(count: int, kind: type[np.generic]) -> np.ndarray:
    """Array (count,), not yet filled, that begins with a cache line.

    Made by numpy, which asks for large memory pages for a large array (numpy 1.22 and newer, on
    Linux). Arrays made inside kernels get small pages, and rays then miss the page table often.
    """
    size = count * np.dtype(kind).itemsize
    memory = np.empty(size + CACHE_LINE, np.uint8)
    start = -memory.ctypes.data % CACHE_LINE
    return memory[start : start + size].view(kind)


def build_tree(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
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
        Row of `corners` for each triangle number.
    """
    corners = np.ascontiguousarray(corners, np.float64)
    count = len(corners)
    triangles = aligned(count * BOX, np.float32).reshape(-1, BOX)
    triangle_boxes(corners, triangles)
    # Room for a tree with one triangle per leaf; memory that is not used costs nothing.
    largest = max(count - 1, 1)
    boxes = aligned(2 * largest * BOX, np.float32).reshape(-1, BOX)
    children = np.empty((largest, 2), np.int32)
    inner = grow_tree(triangles, boxes, children)
    boxes, children = boxes[: 2 * inner], children[:inner]
    nodes = aligned(inner * NODE_SIZE, np.float32)
    first, number = np.empty(inner + 1, np.int64), np.empty(inner + 1, np.int64)
    known, filled = flatten(boxes, children, nodes, first, number)
    blocks, order = aligned(filled * BLOCK_SIZE, np.float64), np.empty(count, np.int64)
    fill_blocks(corners, triangles, first[:filled], number[:filled], blocks, order)
    return nodes[: known * NODE_SIZE], blocks, order
