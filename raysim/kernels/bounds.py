"""Boxes as eight numbers that one instruction enlarges.

A row holds low x, y, z, the number of the box, minus high x, y, z, and an unused number, all
float32. To enlarge a box so that it holds another one then takes a single minimum of eight numbers.
"""

import numpy as np
from llvmlite import ir
from numba import types
from numba.extending import intrinsic

from raysim.kernels.compile import kernel, settings
from raysim.kernels.lanes import INDEX, Lanes, pointer_to, refuse_other_than

BOX = 8  # numbers of a row
OWN = 3  # place of the number of the box: int32 among float32
MINUS_HIGH = 4  # place of the first high plane
NOTHING = np.float32(np.inf)  # every number of a box that holds nothing
# Typed, see `traverse.NOTHING`.
X, Y, Z = np.int64(0), np.int64(1), np.int64(2)
FIRST = np.int64(0)


@kernel
def half_area(boxes, i):
    """Half of the surface area of a box, m2 (definition); not finite where it holds nothing."""
    x = -boxes[i, MINUS_HIGH] - boxes[i, 0]
    y = -boxes[i, MINUS_HIGH + 1] - boxes[i, 1]
    z = -boxes[i, MINUS_HIGH + 2] - boxes[i, 2]
    return x * y + y * z + z * x


@kernel
def empty(boxes, i):
    """Make a box empty."""
    for k in range(BOX):
        boxes[i, k] = NOTHING


@kernel
def enlarge_one_by_one(boxes, i, others, j):
    """Enlarge box `i` of `boxes` so that it holds box `j` of `others`; a NaN is ignored.

    Parameters
    ----------
    boxes, others : (boxes, BOX) float32
        m.
    i, j : int64
    """
    for k in range(BOX):
        if others[j, k] < boxes[i, k] or np.isnan(boxes[i, k]):
            boxes[i, k] = others[j, k]


@intrinsic
def _enlarge(context, boxes, i, others, j):
    refuse_other_than(boxes, types.float32)
    refuse_other_than(others, types.float32)
    signature = types.void(boxes, types.int64, others, types.int64)

    def code(context, builder, signature, arguments):
        places, found = [], []
        for array, row in ((0, 1), (2, 3)):
            table = pointer_to(context, builder, signature.args[array], arguments[array])
            first = builder.mul(arguments[row], ir.Constant(INDEX, BOX))
            places.append(builder.gep(table, [first]))
            found.append(Lanes.loaded(builder, table, first, BOX))
        found[0].least(found[1]).store(places[0])
        return context.get_dummy_value()

    return signature, code


enlarge = enlarge_one_by_one if settings.DISABLE_JIT else _enlarge
