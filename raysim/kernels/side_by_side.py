"""One ray against eight boxes, or against four triangles, at a time.

Each test is written twice: in vector instructions, and as a plain loop with the same result. The
loops run where nothing is compiled (``NUMBA_DISABLE_JIT=1``), and the tests compare the two.
"""

import numpy as np
from llvmlite import ir
from numba import types
from numba.extending import intrinsic

from raysim.kernels.compile import kernel, settings
from raysim.kernels.intersect import ray_triangle_distance
from raysim.kernels.lanes import (
    BITS,
    INDEX,
    Lanes,
    ask_for,
    float_bits,
    pointer_to,
    refuse_other_than,
)

BOXES = 8  # children of a node of the hierarchy
# Numbers of a node: low x, y, z, high x, y, z and the child, each for all children.
NODE_SIZE = 7 * BOXES
CHILD = 6 * BOXES  # where the children stand in it: int32 among float32
TRIANGLES = 4  # triangles of a block
# Numbers of a block: x, y, z, each of three corners, and the triangle's own number, each for all.
BLOCK_SIZE = 10 * TRIANGLES
OWN_NUMBER = 9 * TRIANGLES  # where the triangles' numbers stand in it
NODE_BYTES, BLOCK_BYTES = 4 * NODE_SIZE, 8 * BLOCK_SIZE
# Boxes are tested in single precision; this margin of a few roundings lets no hit be missed.
FORGIVING = np.float32(1.000001)
ZERO = np.float32(0.0)
ONE_BIT = np.uint32(1)
HALF_WORD = np.uint64(32)


@kernel(allocates=True)
def entered_boxes_one_by_one(nodes, node, near, origin, inverse, farthest, entries):
    """Bits of a node's children that a ray enters; their distances go to `entries`.

    Parameters
    ----------
    nodes : (nodes * NODE_SIZE,) float32
    node : uint64
    near : three uint64
        Place within the node of the planes that the ray meets first, for each axis: the low planes
        where the direction is positive (0, 8, 16), else the high planes (24, 32, 40).
    origin, inverse : three float32
        Ray's origin, m, and one over its direction.
    farthest : float32
        Boxes that begin beyond this distance (m) are not entered.
    entries : (BOXES or more,) uint64
        Set to the bits of the distance (m, float32) at which each box is entered, zero if the ray
        starts inside, above those of the child (int32): in this form they are ordered by distance.

    Source: slab method, Williams et al., "An efficient and robust ray-box intersection
    algorithm", JGT 10(1) (2005), all children side by side after Wald, Benthin, Boulos, "Getting
    rid of packets", IEEE Symposium on Interactive Ray Tracing (2008). A NaN (0 * inf) on one axis
    leaves the decision to the other axes, so that at worst a box is entered in vain.
    """
    bits = np.uint32(0)
    first = np.int64(node) * NODE_SIZE
    children = nodes[first + CHILD : first + NODE_SIZE].view(np.int32)
    for i in range(BOXES):
        enter, leave = ZERO, farthest
        for axis in range(3):
            start = np.int64(near[axis])
            end = CHILD // 2 + 2 * BOXES * axis - start
            a = (nodes[first + start + i] - origin[axis]) * inverse[axis]
            b = (nodes[first + end + i] - origin[axis]) * inverse[axis]
            enter = a if a > enter else enter
            leave = b if b < leave else leave
        entries[i] = (float_bits(enter) << HALF_WORD) | np.uint64(np.uint32(children[i]))
        if enter <= leave * FORGIVING:
            bits |= ONE_BIT << np.uint32(i)
    return bits


@kernel(allocates=True)
def met_triangles_one_by_one(blocks, block, axes, origin, shear, nearest, skip, distances):
    """Bits of a block's triangles that a ray meets nearer than `nearest`, and `distances` (m).

    Parameters
    ----------
    blocks : (blocks * BLOCK_SIZE,) float64
        Corners, m; NaN where a block has fewer than TRIANGLES triangles.
    block : uint64
    axes : three uint64
        Axis order kx, ky, kz from `intersect.shear`.
    origin : three float64
        Ray's origin, m, in that order.
    shear : three float64
        From `intersect.shear`.
    nearest : float64
        m.
    skip : float64
        Number of a triangle that is passed over.
    distances : (TRIANGLES,) float64
        Set for the triangles whose bits are set.

    Source: `intersect.ray_triangle_distance`, side by side.
    """
    bits = np.uint32(0)
    corners = np.zeros((1, 9))
    for i in range(TRIANGLES):
        at = BLOCK_SIZE * np.int64(block) + i
        for corner in range(3):
            for axis in range(3):
                corners[0, 3 * corner + axis] = blocks[at + TRIANGLES * (3 * axis + corner)]
        distance = ray_triangle_distance(corners, 0, *origin, *axes, *shear)
        if distance < nearest and blocks[at + OWN_NUMBER] != skip:
            distances[i] = distance
            bits |= ONE_BIT << np.uint32(i)
    return bits


def fetch_nothing(nodes, blocks, entry):
    """Prefetch the child of an entry (see `entered_boxes_one_by_one`) into the cache.

    This changes no result, even where the entry is out of date. It is an intrinsic,
    because numba counts references to arrays that a function gets and uses in a branch only.
    """


@intrinsic
def _entered_boxes(context, nodes, node, near, origin, inverse, farthest, entries):
    refuse_other_than(nodes, types.float32)
    refuse_other_than(entries, types.uint64)
    three, offsets = types.UniTuple(types.float32, 3), types.UniTuple(types.uint64, 3)
    signature = types.uint32(nodes, types.uint64, offsets, three, three, types.float32, entries)

    def code(context, builder, signature, arguments):
        table = pointer_to(context, builder, signature.args[0], arguments[0])
        _, node, near, origin, inverse, farthest, _ = arguments
        first = builder.mul(node, ir.Constant(INDEX, NODE_SIZE))

        def fill(scalar):
            return Lanes.filled(builder, scalar, BOXES)

        def at(offset):
            return Lanes.loaded(builder, table, builder.add(first, offset), BOXES)

        enter, leave = fill(ir.Constant(ir.FloatType(), 0.0)), fill(farthest)
        for axis in range(3):
            start = builder.extract_value(near, axis)
            # Low and high planes of an axis stand half of all planes apart.
            end = builder.sub(ir.Constant(INDEX, CHILD // 2 + 2 * BOXES * axis), start)
            o = fill(builder.extract_value(origin, axis))
            scale = fill(builder.extract_value(inverse, axis))
            enter = ((at(start) - o) * scale).larger(enter)
            leave = ((at(end) - o) * scale).smaller(leave)
        words = enter.as_words().shifted_up(32) | at(ir.Constant(INDEX, CHILD)).as_words()
        words.store(pointer_to(context, builder, signature.args[6], arguments[6]))
        forgiving = fill(ir.Constant(ir.FloatType(), float(FORGIVING)))
        return enter.compared("<=", leave * forgiving).bits()

    return signature, code


@intrinsic
def _met_triangles(context, blocks, block, axes, origin, shear, nearest, skip, distances):
    refuse_other_than(blocks, types.float64)
    refuse_other_than(distances, types.float64)
    number = types.float64
    three, offsets = types.UniTuple(number, 3), types.UniTuple(types.uint64, 3)
    signature = types.uint32(blocks, types.uint64, offsets, three, three, number, number, distances)

    def code(context, builder, signature, arguments):
        table = pointer_to(context, builder, signature.args[0], arguments[0])
        _, block, axes, origin, shear, nearest, skip, distances = arguments
        first = builder.mul(block, ir.Constant(INDEX, BLOCK_SIZE))

        def fill(scalar):
            return Lanes.filled(builder, scalar, TRIANGLES)

        def at(place):
            return Lanes.loaded(builder, table, builder.add(first, place), TRIANGLES)

        def corners(which):
            """Coordinates of the three corners on one axis, from the ray's origin."""
            axis = builder.extract_value(axes, which)
            start = builder.mul(axis, ir.Constant(INDEX, 3 * TRIANGLES))
            steps = [ir.Constant(INDEX, TRIANGLES * corner) for corner in range(3)]
            from_ray = fill(builder.extract_value(origin, which))
            return [at(builder.add(start, step)) - from_ray for step in steps]

        sx, sy, sz = (fill(builder.extract_value(shear, which)) for which in range(3))
        z = corners(2)
        ax, bx, cx = (x - sx * h for x, h in zip(corners(0), z, strict=True))
        ay, by, cy = (y - sy * h for y, h in zip(corners(1), z, strict=True))
        u, v, w = cx * by - cy * bx, ax * cy - ay * cx, bx * ay - by * ax
        zero = fill(ir.Constant(ir.DoubleType(), 0.0))
        met = u.smaller(v).smaller(w).compared(">=", zero)
        met |= u.larger(v).larger(w).compared("<=", zero)
        determinant = u + v + w
        distance = (u * z[0] + v * z[1] + w * z[2]) * sz / determinant
        distance.store(pointer_to(context, builder, signature.args[7], distances))
        met &= determinant.compared("!=", zero)
        met &= distance.compared(">", zero)
        met &= distance.compared("<", fill(nearest))
        return (met & at(ir.Constant(INDEX, OWN_NUMBER)).compared("!=", fill(skip))).bits()

    return signature, code


@intrinsic
def _fetch_child(context, nodes, blocks, entry):
    refuse_other_than(nodes, types.float32)
    refuse_other_than(blocks, types.float64)

    def code(context, builder, signature, arguments):
        byte, starts = ir.IntType(8).as_pointer(), []
        child = builder.sext(builder.trunc(arguments[2], BITS), INDEX)
        for which, size, row in ((0, NODE_BYTES, child), (1, BLOCK_BYTES, builder.not_(child))):
            table = pointer_to(context, builder, signature.args[which], arguments[which])
            at = builder.mul(row, ir.Constant(INDEX, size))
            starts.append(builder.gep(builder.bitcast(table, byte), [at]))
        is_node = builder.icmp_signed(">=", child, ir.Constant(INDEX, 0))
        ask_for(builder, builder.select(is_node, *starts), max(NODE_BYTES, BLOCK_BYTES))
        return context.get_dummy_value()

    return types.void(nodes, blocks, types.uint64), code


entered_boxes = entered_boxes_one_by_one if settings.DISABLE_JIT else _entered_boxes
met_triangles = met_triangles_one_by_one if settings.DISABLE_JIT else _met_triangles
fetch_child = fetch_nothing if settings.DISABLE_JIT else _fetch_child
