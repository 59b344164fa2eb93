"""The nearest primitive that a ray hits, found through the hierarchy of boxes.

Hot functions take single arrays instead of tuples of them: numba counts the references to each
array that it takes out of a tuple, call by call, which costs more than a box test.
"""

import numpy as np

from raysim.kernels.compile import kernel
from raysim.kernels.intersect import passes_tube, ray_tube_distance, shear
from raysim.kernels.lanes import float_bits, lowest_bit
from raysim.kernels.side_by_side import (
    BLOCK_SIZE,
    BOXES,
    FORGIVING,
    HALF_WORD,
    ONE_BIT,
    OWN_NUMBER,
    TRIANGLES,
    ZERO,
    entered_boxes,
    fetch_child,
    met_triangles,
)

# The tree is at most some 70 levels deep (see `binary_tree.DEEPEST_SPLIT`), and a level leaves at
# most BOXES - 1 children waiting. The first BOXES places hold the entries into boxes of one node.
STACK_SIZE = 640
BOTTOM = np.uint64(BOXES)
MISSED = -1
ONE = np.uint64(1)
# Typed, because numba compiles a function anew for each literal number or boolean it is given.
NOTHING = np.int64(-1)
NEAREST, ANY = np.bool_(False), np.bool_(True)


@kernel
def nearest_tube(tubes, numbered_from, ox, oy, oz, dx, dy, dz, best, hit, skip_a, skip_b):
    """Distance (m) and number of the nearest tube if it is nearer than `best`; else best, hit."""
    for i in range(tubes.shape[0]):
        primitive = numbered_from + i
        if (
            primitive != skip_a
            and primitive != skip_b
            and not passes_tube(tubes, i, ox, oy, oz, dx, dy, dz)
        ):
            distance = ray_tube_distance(tubes, i, ox, oy, oz, dx, dy, dz)
            if distance < best:
                best, hit = distance, primitive
    return best, hit


@kernel
def nearest_child(bits, depth, stack):
    """The nearest of the children that are entered, and the depth of the stack with the others.

    On the stack the nearer ones lie on top. The nearest one is not put there: of most nodes a ray
    enters only one or two children.
    """
    nearest, bottom = stack[lowest_bit(bits)], depth
    bits &= bits - ONE_BIT
    while bits:
        entry = stack[lowest_bit(bits)]
        bits &= bits - ONE_BIT
        waits = entry if entry > nearest else nearest
        nearest = entry if entry < nearest else nearest
        at = depth
        while at > bottom and stack[at - ONE] < waits:
            stack[at] = stack[at - ONE]
            at -= ONE
        stack[at] = waits
        depth += ONE
    return nearest, depth


@kernel(inlined=True)
def nearest_triangle(
    nodes, blocks, ox, oy, oz, dx, dy, dz, farthest, skip, any_hit, stack, distances
):
    """Distance (m) and number of the nearest triangle; (`farthest`, -1) if none.

    Near children first; the others wait on the stack, whose top is prefetched while another one is
    tested. Parameters as in `nearest_hit`.
    """
    ix, iy, iz = np.float32(1.0 / dx), np.float32(1.0 / dy), np.float32(1.0 / dz)
    start = (np.float32(ox), np.float32(oy), np.float32(oz))
    near = (
        np.uint64(0 if ix >= ZERO else 3 * BOXES),
        np.uint64(BOXES if iy >= ZERO else 4 * BOXES),
        np.uint64(2 * BOXES if iz >= ZERO else 5 * BOXES),
    )
    kx, ky, kz, sx, sy, sz = shear(dx, dy, dz)
    axes = (np.uint64(kx), np.uint64(ky), np.uint64(kz))
    origin = (
        ox if kx == 0 else (oy if kx == 1 else oz),
        ox if ky == 0 else (oy if ky == 1 else oz),
        ox if kz == 0 else (oy if kz == 1 else oz),
    )
    passed_over = np.float64(skip)
    best, hit = farthest, MISSED
    node, depth = np.int32(0), BOTTOM
    reach = np.float32(best) * FORGIVING
    while True:
        if node >= 0:
            bits = entered_boxes(nodes, np.uint64(node), near, start, (ix, iy, iz), reach, stack)
            if bits:
                entry, depth = nearest_child(bits, depth, stack)
                node = np.int32(np.uint32(entry))
                fetch_child(nodes, blocks, stack[depth - ONE])
                continue
        else:
            block = np.uint64(np.int64(-1) - node)
            bits = met_triangles(
                blocks, block, axes, origin, (sx, sy, sz), best, passed_over, distances
            )
            while bits:
                j = lowest_bit(bits)
                bits &= bits - ONE_BIT
                if distances[j] < best:
                    best = distances[j]
                    hit = np.int64(
                        blocks[block * np.uint64(BLOCK_SIZE) + np.uint64(OWN_NUMBER) + j]
                    )
            if any_hit and hit >= 0:
                return best, hit
            reach = np.float32(best) * FORGIVING
        farthest = float_bits(reach)
        while depth > BOTTOM and (stack[depth - ONE] >> HALF_WORD) > farthest:
            depth -= ONE
        if depth == BOTTOM:
            return best, hit
        depth -= ONE
        node = np.int32(np.uint32(stack[depth]))
        fetch_child(nodes, blocks, stack[depth - ONE])


@kernel(allocates=True)
def new_scratch():
    """Scratch of one worker: stack of `nearest_hit`, and distances to the triangles of a block."""
    return np.zeros(STACK_SIZE, np.uint64), np.zeros(TRIANGLES)


@kernel(inlined=True)
def nearest_hit(
    nodes, blocks, tubes, triangles, ox, oy, oz, dx, dy, dz,
    farthest, skip_a, skip_b, any_hit, stack, distances,
):  # fmt: skip
    """Distance (m) and number of the nearest primitive along a ray; (`farthest`, -1) if none.

    Parameters
    ----------
    nodes, blocks
        From `build_tree`.
    tubes : (tubes, 8) float64
        As in `Geometry`; numbered from `triangles` on.
    triangles : int
        Number of triangles.
    ox, oy, oz, dx, dy, dz : float
        Origin (m) and unit direction.
    farthest : float
        Primitives at or beyond this distance (m) are not seen.
    skip_a, skip_b : int
        Primitives to pass over: the one the ray starts on (flat or convex, so that it cannot be
        met again), and the tube a shadow ray ends on. NOTHING (-1) for none.
    any_hit : bool
        ANY stops at the first primitive found, for shadow rays; NEAREST finds the nearest.
    stack, distances
        Scratch of the calling worker, from `new_scratch`.

    Source: hierarchy with ordered traversal, e.g. Pharr, Jakob, Humphreys, "Physically Based
    Rendering", 7.3.
    """
    best, hit = nearest_triangle(
        nodes, blocks, ox, oy, oz, dx, dy, dz, farthest, skip_a, any_hit, stack, distances
    )
    if any_hit and hit >= 0:
        return best, hit
    return nearest_tube(tubes, triangles, ox, oy, oz, dx, dy, dz, best, hit, skip_a, skip_b)
