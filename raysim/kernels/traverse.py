"""The nearest primitive that a ray meets, by way of the hierarchy of boxes.

Hot functions take single arrays instead of a whole `Geometry`: handing the tuple on costs more
than a box test.
"""

import numpy as np

from raysim.kernels.compile import kernel
from raysim.kernels.hierarchy import NODE_SIZE, WIDTH
from raysim.kernels.intersect import ray_triangle_distance, ray_tube_distance, shear

# The tree is at most some 70 levels deep (see `hierarchy.DEEPEST_SPLIT`), and a level leaves at
# most WIDTH - 1 children waiting.
STACK_DEPTH = 640
MISSED = -1
INFINITE = np.float32(np.inf)
ZERO = np.float32(0.0)
# Boxes are tested in single precision; a box is entered if it would be with a few roundings more.
FORGIVING = np.float32(1.000001)


@kernel
def child_entries(boxes, at, ox, oy, oz, ix, iy, iz, farthest, entries):
    """Set `entries` to the distances (m) at which a ray enters a node's children, or inf.

    Parameters
    ----------
    boxes : (nodes * NODE_SIZE,) float32
    at : int
        Where the node's numbers begin.
    ox, oy, oz : float32
        Ray's origin, m.
    ix, iy, iz : float32
        One over its direction.
    farthest : float32
        Boxes that begin beyond this distance (m) are not entered.
    entries : (WIDTH,) float32

    Source: slab method, Williams et al., "An efficient and robust ray-box intersection
    algorithm", JGT 10(1) (2005), all children side by side after Wald, Benthin, Boulos, "Getting
    rid of packets", IEEE Symposium on Interactive Ray Tracing (2008). Boxes are padded when
    built, which keeps triangles off the planes of their sides: a NaN (0 * inf) can only arise
    where nothing can be met.
    """
    near_x = np.uint64(at if ix >= ZERO else at + 3 * WIDTH)
    near_y = np.uint64(at + WIDTH if iy >= ZERO else at + 4 * WIDTH)
    near_z = np.uint64(at + 2 * WIDTH if iz >= ZERO else at + 5 * WIDTH)
    far_x = np.uint64(at + 3 * WIDTH if ix >= ZERO else at)
    far_y = np.uint64(at + 4 * WIDTH if iy >= ZERO else at + WIDTH)
    far_z = np.uint64(at + 5 * WIDTH if iz >= ZERO else at + 2 * WIDTH)
    for i in range(entries.shape[0]):
        j = np.uint64(i)
        a = (boxes[near_x + j] - ox) * ix
        b = (boxes[near_y + j] - oy) * iy
        c = (boxes[near_z + j] - oz) * iz
        a = a if a > b else b
        c = c if c > ZERO else ZERO
        near = a if a > c else c
        a = (boxes[far_x + j] - ox) * ix
        b = (boxes[far_y + j] - oy) * iy
        c = (boxes[far_z + j] - oz) * iz
        a = a if a < b else b
        c = c if c < farthest else farthest
        far = a if a < c else c
        entries[j] = near if near <= far * FORGIVING else INFINITE


@kernel
def nearest_tube(tubes, numbered_from, ox, oy, oz, dx, dy, dz, farthest, skip_a, skip_b):
    """Distance (m) and primitive number of the nearest lamp tube, if nearer than `farthest`."""
    best, hit = farthest, MISSED
    for i in range(tubes.shape[0]):
        primitive = numbered_from + i
        if primitive != skip_a and primitive != skip_b:
            distance = ray_tube_distance(tubes, i, ox, oy, oz, dx, dy, dz)
            if distance < best:
                best, hit = distance, primitive
    return best, hit


@kernel
def push_children(children, node, entries, depth, nodes, distances):
    """Put the children that are entered on the stack, the nearest on top; returns its depth."""
    bottom = depth
    for j in range(WIDTH):
        distance = entries[j]
        if distance < INFINITE:
            at = depth
            while at > bottom and distances[at - 1] < distance:
                distances[at] = distances[at - 1]
                nodes[at] = nodes[at - 1]
                at -= 1
            distances[at] = distance
            nodes[at] = children[node, j]
            depth += 1
    return depth


@kernel
def nearest_triangle(
    boxes, children, corners, ox, oy, oz, dx, dy, dz, best, hit, skip_a, skip_b, any_hit, stack
):
    """Distance (m) and number of the nearest triangle, where nearer than `best`; else best, hit.

    Near children first; the others wait on the stack. Parameters as in `nearest_hit`.
    """
    nodes, distances, entries = stack
    fx, fy, fz = np.float32(ox), np.float32(oy), np.float32(oz)
    ix, iy, iz = np.float32(1.0 / dx), np.float32(1.0 / dy), np.float32(1.0 / dz)
    kx, ky, kz, sx, sy, sz = shear(dx, dy, dz)
    px = ox if kx == 0 else (oy if kx == 1 else oz)
    py = ox if ky == 0 else (oy if ky == 1 else oz)
    pz = ox if kz == 0 else (oy if kz == 1 else oz)
    node, depth = 0, 0
    while True:
        reach = np.float32(best) * FORGIVING
        if node >= 0:
            child_entries(boxes, node * NODE_SIZE, fx, fy, fz, ix, iy, iz, reach, entries)
            depth = push_children(children, node, entries, depth, nodes, distances)
        else:
            code = -(node + 1)
            first = code >> 3
            for i in range(first, first + (code & 7)):
                if i != skip_a and i != skip_b:
                    distance = ray_triangle_distance(corners, i, px, py, pz, kx, ky, kz, sx, sy, sz)
                    if distance < best:
                        best, hit = distance, i
            if any_hit and hit >= 0:
                return best, hit
            reach = np.float32(best) * FORGIVING
        depth -= 1
        while depth >= 0 and distances[depth] > reach:
            depth -= 1
        if depth < 0:
            return best, hit
        node = nodes[depth]


@kernel
def new_stack():
    """Scratch of one worker: waiting nodes, their distances, and entries into children."""
    return (
        np.zeros(STACK_DEPTH, np.int32),
        np.zeros(STACK_DEPTH, np.float32),
        np.zeros(WIDTH, np.float32),
    )


@kernel
def nearest_hit(tree, ox, oy, oz, dx, dy, dz, farthest, skip_a, skip_b, any_hit, stack):
    """Distance (m) and number of the nearest primitive along a ray; (`farthest`, -1) if none.

    Parameters
    ----------
    tree : (node_boxes, node_children, corners, tubes)
        Arrays of `Geometry`.
    ox, oy, oz, dx, dy, dz : float
        Origin (m) and unit direction.
    farthest : float
        Primitives at or beyond this distance (m) are not seen.
    skip_a, skip_b : int
        Primitives to pass over: the one the ray starts on (flat or convex, so that it cannot be
        met again), and the tube a shadow ray ends on. -1 for none.
    any_hit : bool
        Stop at the first primitive found, near or not: for shadow rays.
    stack
        Scratch of the calling worker, from `new_stack`.

    Source: hierarchy with ordered traversal, e.g. Pharr, Jakob, Humphreys, "Physically Based
    Rendering", 7.3.
    """
    boxes, children, corners, tubes = tree
    best, hit = nearest_tube(
        tubes, corners.shape[0], ox, oy, oz, dx, dy, dz, farthest, skip_a, skip_b
    )
    if corners.shape[0] == 0 or (any_hit and hit >= 0):
        return best, hit
    return nearest_triangle(
        boxes,
        children,
        corners,
        ox,
        oy,
        oz,
        dx,
        dy,
        dz,
        best,
        hit,
        skip_a,
        skip_b,
        any_hit,
        stack,
    )
