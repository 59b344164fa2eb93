"""What a ray hits, as a thread of a graphics card finds it.

Pairs of boxes, one ray at a time, where the processor tests eight boxes side by side. All other
physics is copied from the functions of the processor (`remade`).

`card` stands for numba-cuda. Here it is a stand-in for a single thread, so that the code for the
card can be run and tested without one.

Source: ordered traversal with a stack, Aila and Laine, "Understanding the efficiency of ray
traversal on GPUs", HPG (2009).
"""

from typing import Any, NamedTuple

import numpy as np

from raysim.kernels.intersect import ray_triangle_distance, shear
from raysim.kernels.side_by_side import FORGIVING
from raysim.kernels.traverse import MISSED, nearest_tube

DEEPEST = 96  # pairs that can wait; a tree is at most some 70 levels deep
ZERO = np.float32(0.0)
NEVER = np.float32(np.inf)
END = np.uint32(0xFFFF)
NEAR_END, OTHER_END = np.uint32(0), np.uint32(16)
# Numbers of the words of a node, without a sign: a signed index is checked at each use.
FIRST, SECOND, THIRD, FOURTH, FIFTH, SIXTH, SEVENTH, EIGHTH = (np.uint64(k) for k in range(8))
NODE_LANES = (
    4  # of 32 rays side by side: with fewer on their way to a leaf, those at leaves go first
)
NO_CHILD = np.int64(-(2**40))


class _Memory:
    """Stand-in for the memory of a thread."""

    def array(self, size: Any, kind: Any) -> np.ndarray:
        """Array of its own for a thread."""
        return np.zeros(size, kind)


class _Atomic:
    """Stand-in for additions that no other thread comes between."""

    def add(self, array: Any, place: Any, number: Any) -> Any:
        """Add to an element and return what it was before."""
        before = array[place]
        array[place] += number
        return before


class OneThread:
    """Stand-in for numba-cuda: a card of a single thread."""

    local, atomic = _Memory(), _Atomic()

    def activemask(self) -> int:
        """Bits of the threads that run side by side."""
        return -1

    def popc(self, mask: int) -> int:
        """Number of bits: as if all 32 were set."""
        return 32

    def grid(self, dimensions: int) -> int:
        """Number of this thread."""
        return 0

    def gridsize(self, dimensions: int) -> int:
        """Number of threads."""
        return 1


card: Any = OneThread()


class Pairs(NamedTuple):
    """Binary tree of boxes, two to a node, on a grid of whole numbers.

    `words` (nodes, 8) uint32: low (below) and high end in 16 bits each, of x, y, z of one half and
    of the other, then the two children: a node, or -1 - (8 * first triangle + number of triangles).
    `origin` (3,) float64, m, and `scale` (3,) float64, per m, lead to the grid. Rays side by side
    read far apart from one another, so that few words count more than few instructions.
    """

    words: np.ndarray
    origin: np.ndarray
    scale: np.ndarray


class Leaves(NamedTuple):
    """Triangles in the order of the tree: `corners` (triangles, 9) float64, m, and `number`."""

    corners: np.ndarray
    number: np.ndarray


def end_of(word, shift):
    """One end of a box along an axis, on the grid, float32 (definition)."""
    return np.float32(np.int32((word >> shift) & END))


def box_entry(wx, wy, wz, sx, sy, sz, ix, iy, iz, ax, ay, az, reach):
    """Distance at which a ray enters a box; infinite where it misses it.

    Parameters
    ----------
    wx, wy, wz : uint32
        The box's ends along the axes.
    sx, sy, sz : uint32
        Shifts to the end that the ray meets first, 0 or 16.
    ix, iy, iz, ax, ay, az : float32
        One over its direction; minus its origin times that.

    Source: as `side_by_side.entered_boxes_one_by_one`, with the same margin. A NaN is passed over.
    """
    enter = max(ZERO, end_of(wx, sx) * ix + ax)
    enter = max(enter, end_of(wy, sy) * iy + ay)
    enter = max(enter, end_of(wz, sz) * iz + az)
    leave = min(reach, end_of(wx, OTHER_END - sx) * ix + ax)
    leave = min(leave, end_of(wy, OTHER_END - sy) * iy + ay)
    leave = min(leave, end_of(wz, OTHER_END - sz) * iz + az)
    return enter if enter <= leave * FORGIVING else NEVER


def leaf_hit(leaves, leaf, ox, oy, oz, dx, dy, dz, skip, best, hit):
    """Distance (m) and number of the nearest triangle of a leaf nearer than `best`; else those."""
    kx, ky, kz, sx, sy, sz = shear(dx, dy, dz)
    px = ox if kx == 0 else (oy if kx == 1 else oz)
    py = ox if ky == 0 else (oy if ky == 1 else oz)
    pz = ox if kz == 0 else (oy if kz == 1 else oz)
    first, count = leaf >> 3, leaf & 7
    for i in range(first, first + count):
        n = np.uint64(i)
        distance = ray_triangle_distance(leaves.corners, n, px, py, pz, kx, ky, kz, sx, sy, sz)
        if distance < best and leaves.number[n] != skip:
            best, hit = distance, np.int64(leaves.number[n])
    return best, hit


def taken_up(stack, waits, depth, reach):
    """The next child that waits, near enough, and the depth of the stack; NO_CHILD if none."""
    while depth > 0:
        depth -= 1
        if waits[np.uint64(depth)] <= reach:
            return np.int64(stack[np.uint64(depth)]), depth
    return NO_CHILD, depth


def next_node(words, node, depth, sx, sy, sz, ix, iy, iz, ax, ay, az, reach, stack, waits):
    """The child of a node that a ray enters next, or what waits; and the depth of the stack."""
    n = np.uint64(node)
    near, far = np.int32(words[n, SEVENTH]), np.int32(words[n, EIGHTH])
    one = box_entry(
        words[n, FIRST], words[n, SECOND], words[n, THIRD],
        sx, sy, sz, ix, iy, iz, ax, ay, az, reach,
    )  # fmt: skip
    two = box_entry(
        words[n, FOURTH], words[n, FIFTH], words[n, SIXTH],
        sx, sy, sz, ix, iy, iz, ax, ay, az, reach,
    )  # fmt: skip
    if two < one:
        near, far, one, two = far, near, two, one
    if two < NEVER:
        stack[np.uint64(depth)], waits[np.uint64(depth)] = far, two
        depth += 1
    if one < NEVER:
        return np.int64(near), depth
    return taken_up(stack, waits, depth, reach)


def on_grid(origin, direction, start, scale):
    """One over a direction, minus the origin times that, and the shift to the first end met.

    All on the grid along one axis; see `box_entry`.
    """
    inverse = np.float32(1.0) / np.float32(direction * scale)
    before = -np.float32((origin - start) * scale) * inverse
    return inverse, before, NEAR_END if inverse >= ZERO else OTHER_END


def few_left():
    """Whether few of the rays side by side are still on their way to a leaf."""
    return card.popc(card.activemask()) < NODE_LANES


def nearest_hit(
    nodes, blocks, tubes, triangles, ox, oy, oz, dx, dy, dz,
    farthest, skip_a, skip_b, any_hit, stack, distances,
):  # fmt: skip
    """As `traverse.nearest_hit`; `nodes` are Pairs, `blocks` Leaves, the scratch two stacks."""
    ix, ax, sx = on_grid(ox, dx, nodes.origin[0], nodes.scale[0])
    iy, ay, sy = on_grid(oy, dy, nodes.origin[1], nodes.scale[1])
    iz, az, sz = on_grid(oz, dz, nodes.origin[2], nodes.scale[2])
    words, node, depth = nodes.words, np.int64(0), 0
    best, hit = farthest, np.int64(MISSED)
    while node != NO_CHILD:
        reach = np.float32(best) * FORGIVING
        while node >= 0:
            node, depth = next_node(
                words, node, depth, sx, sy, sz, ix, iy, iz, ax, ay, az, reach, stack, distances
            )
            if few_left():
                break
        if node < 0 and node != NO_CHILD:
            best, hit = leaf_hit(blocks, -1 - node, ox, oy, oz, dx, dy, dz, skip_a, best, hit)
            if any_hit and hit >= 0:
                return best, hit
            node, depth = taken_up(stack, distances, depth, np.float32(best) * FORGIVING)
    return nearest_tube(tubes, triangles, ox, oy, oz, dx, dy, dz, best, hit, skip_a, skip_b)
