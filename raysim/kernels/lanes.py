"""Vector registers for kernels: one instruction on several numbers side by side.

Numba has no vector types of its own. An ``intrinsic`` may write instructions of LLVM, which maps
vectors to whatever registers the machine has; `Lanes` lets such code read like arithmetic.
"""

from typing import Any

import numpy as np
from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.core.errors import TypingError
from numba.extending import intrinsic

from raysim.kernels.compile import settings

BITS = ir.IntType(32)
INDEX = ir.IntType(64)
CACHE_LINE = 64  # bytes, in nearly all processors of today (common knowledge)


class Lanes:
    """A vector register while code is being written: operators append instructions."""

    def __init__(self, builder: Any, value: Any) -> None:
        self.builder, self.value = builder, value

    @classmethod
    def loaded(cls, builder: Any, pointer: Any, index: Any, count: int) -> "Lanes":
        """`count` neighbours in memory from ``pointer[index]`` on."""
        vector = ir.VectorType(pointer.type.pointee, count).as_pointer()
        at = builder.bitcast(builder.gep(pointer, [index]), vector)
        return cls(builder, builder.load(at, align=4))

    @classmethod
    def filled(cls, builder: Any, scalar: Any, count: int) -> "Lanes":
        """The same number in every lane."""
        vector = ir.Constant(ir.VectorType(scalar.type, count), ir.Undefined)
        first = builder.insert_element(vector, scalar, ir.Constant(BITS, 0))
        everywhere = ir.Constant(ir.VectorType(BITS, count), [0] * count)
        return cls(builder, builder.shuffle_vector(first, vector, everywhere))

    def store(self, pointer: Any) -> None:
        """Write all lanes to neighbours in memory from `pointer` on."""
        at = self.builder.bitcast(pointer, self.value.type.as_pointer())
        self.builder.store(self.value, at, align=4)

    def _with(self, instruction: Any, other: "Lanes") -> "Lanes":
        return Lanes(self.builder, instruction(self.value, other.value))

    def __add__(self, other: "Lanes") -> "Lanes":
        return self._with(self.builder.fadd, other)

    def __sub__(self, other: "Lanes") -> "Lanes":
        return self._with(self.builder.fsub, other)

    def __mul__(self, other: "Lanes") -> "Lanes":
        return self._with(self.builder.fmul, other)

    def __truediv__(self, other: "Lanes") -> "Lanes":
        return self._with(self.builder.fdiv, other)

    def __and__(self, other: "Lanes") -> "Lanes":
        return self._with(self.builder.and_, other)

    def __or__(self, other: "Lanes") -> "Lanes":
        return self._with(self.builder.or_, other)

    def compared(self, how: str, other: "Lanes") -> "Lanes":
        """True per lane where the comparison holds; false where a NaN takes part."""
        return Lanes(self.builder, self.builder.fcmp_ordered(how, self.value, other.value))

    def larger(self, other: "Lanes") -> "Lanes":
        """The larger per lane; where this is NaN, the other one."""
        chosen = self.compared(">", other).value
        return Lanes(self.builder, self.builder.select(chosen, self.value, other.value))

    def smaller(self, other: "Lanes") -> "Lanes":
        """The smaller per lane; where this is NaN, the other one."""
        chosen = self.compared("<", other).value
        return Lanes(self.builder, self.builder.select(chosen, self.value, other.value))

    def least(self, other: "Lanes") -> "Lanes":
        """As `smaller`, for a result that is written back to where `self` or `other` was read.

        There LLVM turns a comparison and a choice into a masked store, which takes several times
        as long as a minimum.
        """
        kind = self.value.type
        width = {ir.FloatType(): 32, ir.DoubleType(): 64}[kind.element]
        name = f"llvm.minnum.v{kind.count}f{width}"
        call = ir.FunctionType(kind, [kind, kind])
        minimum = cgutils.get_or_insert_function(self.builder.module, call, name)
        return Lanes(self.builder, self.builder.call(minimum, [self.value, other.value]))

    def as_words(self) -> "Lanes":
        """The bits of 32-bit lanes as lower halves of 64-bit integers."""
        count = self.value.type.count
        narrow = self.builder.bitcast(self.value, ir.VectorType(BITS, count))
        return Lanes(self.builder, self.builder.zext(narrow, ir.VectorType(INDEX, count)))

    def shifted_up(self, places: int) -> "Lanes":
        """64-bit integers shifted to the left."""
        far = Lanes.filled(self.builder, ir.Constant(INDEX, places), self.value.type.count)
        return self._with(self.builder.shl, far)

    def bits(self) -> Any:
        """A comparison as a 32-bit integer: bit i is lane i."""
        narrow = self.builder.bitcast(self.value, ir.IntType(self.value.type.count))
        return self.builder.zext(narrow, BITS)


def refuse_other_than(array: Any, kind: Any) -> None:
    """TypingError unless a numba type is that of a contiguous array of `kind`."""
    if not isinstance(array, types.Array) or array.dtype != kind or array.layout != "C":
        raise TypingError(f"{array} is not a contiguous array of {kind}")


def pointer_to(context: Any, builder: Any, kind: Any, array: Any) -> Any:
    """Pointer to the first number of an array that was passed to an intrinsic."""
    return context.make_array(kind)(context, builder, array).data


def ask_for(builder: Any, pointer: Any, size: int) -> None:
    """Write instructions that prefetch `size` bytes from `pointer` on."""
    byte = ir.IntType(8).as_pointer()
    kind = ir.FunctionType(ir.VoidType(), [byte, BITS, BITS, BITS])
    fetch = cgutils.get_or_insert_function(builder.module, kind, "llvm.prefetch.p0")
    how = [ir.Constant(BITS, number) for number in (0, 3, 1)]  # to read, kept close, data
    for start in range(0, size, CACHE_LINE):
        builder.call(fetch, [builder.gep(pointer, [ir.Constant(INDEX, start)]), *how])


@intrinsic
def _lowest_bit(context, bits):
    def code(context, builder, signature, arguments):
        return builder.zext(builder.cttz(arguments[0], ir.Constant(ir.IntType(1), 1)), INDEX)

    return types.uint64(types.uint32), code


@intrinsic
def _float_bits(context, value):
    def code(context, builder, signature, arguments):
        return builder.zext(builder.bitcast(arguments[0], BITS), INDEX)

    return types.uint64(types.float32), code


def lowest_bit_plain(bits: int) -> np.uint64:
    """Number of the lowest bit that is set; `bits` must not be zero (definition)."""
    return np.uint64((int(bits) & -int(bits)).bit_length() - 1)


def float_bits_plain(value: float) -> np.uint64:
    """Bits of a float32; for positive numbers and infinity their order is that of the numbers."""
    return np.uint64(np.float32(value).view(np.uint32))


lowest_bit = lowest_bit_plain if settings.DISABLE_JIT else _lowest_bit
float_bits = float_bits_plain if settings.DISABLE_JIT else _float_bits
