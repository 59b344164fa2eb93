"""Vector instructions say what the plain loops say, bit for bit, also on awkward numbers."""

import numpy as np
import pytest

from raysim.kernels.compile import kernel
from raysim.kernels.lanes import float_bits, float_bits_plain, lowest_bit, lowest_bit_plain
from raysim.kernels.side_by_side import (
    BLOCK_SIZE,
    BOXES,
    CHILD,
    NODE_SIZE,
    OWN_NUMBER,
    TRIANGLES,
    entered_boxes,
    entered_boxes_one_by_one,
    fetch_child,
    met_triangles,
    met_triangles_one_by_one,
)
from raysim.kernels.traverse import nearest_child

LARGEST = np.finfo(np.float32).max


@kernel
def enter_both(nodes, node, near, origin, inverse, farthest, vector, plain):
    """Bits of both forms; each fills its own entries."""
    a = entered_boxes(nodes, node, near, origin, inverse, farthest, vector)
    b = entered_boxes_one_by_one(nodes, node, near, origin, inverse, farthest, plain)
    return a, b


@kernel
def meet_both(blocks, block, axes, origin, shear, nearest, skip, vector, plain):
    """Bits of both forms; each fills its own distances."""
    a = met_triangles(blocks, block, axes, origin, shear, nearest, skip, vector)
    b = met_triangles_one_by_one(blocks, block, axes, origin, shear, nearest, skip, plain)
    return a, b


def random_nodes(random, count):
    """Nodes with boxes of all sizes on a coarse grid, some of them empty."""
    nodes = np.zeros((count, NODE_SIZE), np.float32)
    low = random.integers(-4, 5, (count, 3, BOXES)).astype(np.float32)
    size = random.choice([0.0, 1e-6, 1.0, 3.0], (count, 3, BOXES)).astype(np.float32)
    boxes = np.concatenate([low, low + size], axis=1)
    empty = random.random((count, BOXES)) < 0.2
    boxes[:, :3][np.broadcast_to(empty[:, None], low.shape)] = np.inf
    boxes[:, 3:][np.broadcast_to(empty[:, None], low.shape)] = -np.inf
    nodes[:, :CHILD] = boxes.reshape(count, -1)
    nodes[:, CHILD:] = random.integers(-(2**31), 2**31, (count, BOXES)).astype(np.int32).view("f4")
    return nodes.ravel()


def test_boxes_entered_are_those_of_the_plain_loop():
    random = np.random.default_rng(1)
    nodes, seen = random_nodes(random, 64), set()
    for _ in range(20_000):
        origin = tuple(random.choice([-4.0, -1.0, 0.0, 0.5, 2.0, 1e30], 3).astype(np.float32))
        way = random.choice([-1.0, -0.3, -0.0, 0.0, 1e-45, 0.7], 3).astype(np.float32)
        with np.errstate(divide="ignore", over="ignore"):
            inverse = np.float32(1.0) / way
        near = tuple(
            np.uint64(BOXES * k if inverse[k] >= 0.0 else BOXES * (k + 3)) for k in range(3)
        )
        node = np.uint64(random.integers(64))
        farthest = random.choice(np.array([0.0, 1.0, LARGEST, np.inf], np.float32))
        vector, plain = np.zeros(BOXES, np.uint64), np.zeros(BOXES, np.uint64)
        a, b = enter_both(nodes, node, near, origin, tuple(inverse), farthest, vector, plain)
        assert a == b
        assert (vector == plain).all()
        seen.add(a)
    assert len(seen) > 50


def random_blocks(random, count):
    """Blocks of triangles with small whole coordinates, so that edges are met; some not full."""
    blocks = np.full((count, BLOCK_SIZE // TRIANGLES, TRIANGLES), np.nan)
    blocks[:, :9] = random.integers(-3, 4, (count, 9, TRIANGLES))
    blocks[:, OWN_NUMBER // TRIANGLES] = np.arange(count * TRIANGLES).reshape(count, TRIANGLES)
    blocks[random.random((count, 1, TRIANGLES)).repeat(10, axis=1) < 0.2] = np.nan
    return blocks.ravel()


def test_triangles_met_are_those_of_the_plain_loop():
    random = np.random.default_rng(2)
    blocks, met = random_blocks(random, 500), 0
    for _ in range(40_000):
        block = np.uint64(random.integers(500))
        axes = tuple(np.uint64(k) for k in random.permutation(3))
        origin = tuple(random.integers(-3, 4, 3).astype(float))
        shear = (*random.choice([0.0, 0.5, -0.25, 1.0], 2), random.choice([1.0, -1.3]))
        nearest = random.choice([0.5, 2.0, np.inf])
        skip = float(random.integers(4) + 4 * int(block))
        vector, plain = np.full(TRIANGLES, -1.0), np.full(TRIANGLES, -1.0)
        a, b = meet_both(blocks, block, axes, origin, shear, nearest, skip, vector, plain)
        assert a == b
        lanes = [i for i in range(TRIANGLES) if a >> i & 1]
        assert vector[lanes].tolist() == plain[lanes].tolist()
        met += len(lanes)
    assert met > 2_000


@kernel
def fetch_all(nodes, blocks, entries):
    """Ask for the child of each entry, from within a kernel."""
    for entry in entries:
        fetch_child(nodes, blocks, entry)


def test_asking_memory_changes_nothing_wherever_it_leads():
    random = np.random.default_rng(3)
    nodes, blocks = random_nodes(random, 8), random_blocks(random, 8)
    before = nodes.copy(), blocks.copy()
    entries = random.integers(2**64, size=10_000, dtype=np.uint64)  # nearly all lead nowhere
    entries[:16] = np.arange(-8, 8).astype(np.uint64) & np.uint64(2**32 - 1)
    fetch_all(nodes, blocks, entries)
    assert np.array_equal(nodes.view(np.uint32), before[0].view(np.uint32))
    assert np.array_equal(blocks, before[1], equal_nan=True)


def test_the_nearest_child_comes_first_and_the_others_in_their_order():
    random = np.random.default_rng(4)
    for _ in range(2_000):
        stack = np.zeros(64, np.uint64)
        stack[:BOXES] = random.integers(6, size=BOXES).astype(np.uint64) << np.uint64(32)
        stack[:BOXES] += random.permutation(BOXES).astype(np.uint64)
        stack[BOXES : BOXES + 2] = 7, 5  # of earlier nodes: they stay where they are
        bits = int(random.integers(1, 256))
        entered = sorted(int(stack[i]) for i in range(BOXES) if bits >> i & 1)
        nearest, depth = nearest_child(np.uint32(bits), np.uint64(BOXES + 2), stack)
        assert int(depth) == BOXES + 1 + len(entered)
        waiting = stack[BOXES : int(depth)].tolist()
        assert [int(nearest), *waiting[:1:-1]] == entered
        assert waiting[:2] == [7, 5]


def test_bits_of_numbers():
    both = kernel(lambda x, n: (float_bits(x), lowest_bit(n)))
    values = np.array([0.0, 1e-45, 0.1, 1.0, LARGEST, np.inf], np.float32)
    numbers = [np.uint32(n) for n in (1, 2, 12, 128, 255, 2**31)]
    found = [both(x, n) for x, n in zip(values, numbers, strict=True)]
    assert [low for _, low in found] == [0, 1, 2, 7, 0, 31]
    assert [bits for bits, _ in found] == values.view(np.uint32).tolist()
    assert sorted(bits for bits, _ in found) == [bits for bits, _ in found]
    for (bits, low), x, n in zip(found, values, numbers, strict=True):
        assert (bits, low) == (float_bits_plain(x), lowest_bit_plain(n))


def test_an_array_of_another_kind_is_refused():
    with pytest.raises(Exception, match="not a contiguous array of float32"):
        enter_both(
            np.zeros(NODE_SIZE), np.uint64(0), (np.uint64(0),) * 3, (np.float32(0),) * 3,
            (np.float32(1),) * 3, np.float32(1), np.zeros(8, np.uint64), np.zeros(8, np.uint64),
        )  # fmt: skip
