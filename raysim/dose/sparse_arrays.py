"""Large arrays that are mostly zeros, kept as their other values and a bit for each place.

Of the sums over backward paths in a checkpoint two in three are zeros: a face-side that is looked
at once has one path a batch, which sees one lamp or none. Every bit of the others is kept.
"""

import numpy as np

SMALLEST = 1 << 20  # bytes below which it is not worth it
PLACES, VALUES, SHAPE = " places", " values", " shape"

Arrays = dict[str, np.ndarray]


def without_zeros(arrays: Arrays) -> Arrays:
    """Arrays with three for each large one of eight-byte numbers; `with_zeros` takes them back."""
    kept: Arrays = {}
    for name, array in arrays.items():
        if array.nbytes < SMALLEST or array.dtype.itemsize != 8:
            kept[name] = array
            continue
        flat = np.ascontiguousarray(array).reshape(-1)
        there = flat.view(np.uint64) != 0  # minus zero is no zero
        kept[name + PLACES] = np.packbits(there)
        kept[name + VALUES] = flat[there]
        kept[name + SHAPE] = np.array(array.shape, np.int64)
    return kept


def with_zeros(kept: Arrays) -> Arrays:
    """The arrays that `without_zeros` was given, to the last bit.

    Raises
    ------
    ValueError, KeyError
        Where the parts of one do not fit together.
    """
    arrays: Arrays = {}
    for name, part in kept.items():
        own = name.removesuffix(SHAPE)
        if name.endswith((PLACES, VALUES)):
            continue
        if own == name:
            arrays[name] = part
            continue
        places, values = kept[own + PLACES], kept[own + VALUES]
        count = int(np.prod(part))
        if len(places) != -(-count // 8):
            raise ValueError(f"{own}: {len(places)} bytes for {count} places")
        flat = np.zeros(count, values.dtype)
        flat[np.unpackbits(places, count=count).astype(bool)] = values
        arrays[own] = flat.reshape(part)
    return arrays
