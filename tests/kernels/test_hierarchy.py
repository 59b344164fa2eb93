"""Every triangle lies in one leaf, inside all boxes above it, whatever the mesh."""

import numpy as np
import pytest
from built_scenes import box, icosphere
from ray_casting import cast

from raysim.kernels.hierarchy import build_tree
from raysim.kernels.side_by_side import BLOCK_SIZE, BOXES, CHILD, NODE_SIZE, OWN_NUMBER, TRIANGLES
from raysim.kernels.traverse import BOTTOM, STACK_SIZE


def stack(count):
    """Triangles at heights 2^-k: a mesh that no halving of space can halve."""
    flat = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    return flat + 2.0 ** -np.arange(count)[:, None, None] * np.array([0.0, 0.0, 1.0])


SOUP = np.random.default_rng(1).normal(size=(3_000, 3, 3))
MESHES = {
    "one": SOUP[:1],
    "five": SOUP[:5],
    "soup": SOUP,
    "box": box(-1.0, 1.0, 10),
    "ball far off": icosphere(0.3, 3, (1e3, -1e3, 10.0))[0],
    "one thousand times the same": np.repeat(SOUP[:1], 1_000, axis=0),
    "stack": stack(900),
    "flat": box(0.0, (1.0, 1.0, 1e-12), 8),
}


def leaves(corners):
    """Per leaf: its triangles, their corners, the bounds (6,) of all boxes around it, its depth."""
    nodes, blocks, order = build_tree(corners)
    assert sorted(order) == list(range(len(corners)))
    children = nodes.view(np.int32).reshape(-1, NODE_SIZE)[:, CHILD:]
    boxes = nodes.reshape(-1, NODE_SIZE)[:, :CHILD].reshape(-1, 6, BOXES).astype(float)
    blocks = blocks.reshape(-1, BLOCK_SIZE // TRIANGLES, TRIANGLES)
    found, todo = [], [(0, np.array([-np.inf] * 3 + [np.inf] * 3), 1)]
    while todo:
        node, around, depth = todo.pop()
        for k in range(BOXES):
            own = boxes[node, :, k]
            if not (own[:3] <= own[3:]).all():
                continue  # an empty place
            inside = np.concatenate(
                [np.maximum(around[:3], own[:3]), np.minimum(around[3:], own[3:])]
            )
            child = int(children[node, k])
            if child < 0:
                block = blocks[-1 - child]
                there = np.isfinite(block[OWN_NUMBER // TRIANGLES])
                numbers = block[OWN_NUMBER // TRIANGLES, there].astype(int)
                shapes = block[:9, there].T.reshape(-1, 3, 3).transpose(0, 2, 1)
                found.append((order[numbers], shapes, inside, depth))
            else:
                todo.append((child, inside, depth + 1))
    assert 0 <= len(blocks) - len(found) <= 1  # the second half of a single triangle is empty
    return found


@pytest.mark.parametrize("mesh", MESHES)
def test_every_triangle_lies_in_one_leaf_and_inside_its_boxes(mesh):
    corners = MESHES[mesh]
    found = leaves(corners)
    faces = np.concatenate([faces for faces, *_ in found])
    assert sorted(faces) == list(range(len(corners)))
    for faces, shapes, bounds, _ in found:
        assert 1 <= len(faces) <= TRIANGLES
        assert (shapes == corners[faces]).all()
        assert (shapes.min(axis=(0, 1)) >= bounds[:3]).all()
        assert (shapes.max(axis=(0, 1)) <= bounds[3:]).all()


@pytest.mark.parametrize("mesh", MESHES)
def test_the_stack_of_the_traversal_is_deep_enough(mesh):
    depth = max(depth for *_, depth in leaves(MESHES[mesh]))
    assert int(BOTTOM) + depth * (BOXES - 1) + 1 <= STACK_SIZE


def test_a_stack_of_triangles_is_met_in_order():
    corners = stack(900)
    origins = np.array([[0.2, 0.2, 2.0], [0.2, 0.2, -1.0], [0.2, 0.2, 0.75], [0.2, 0.2, 0.6]])
    directions = np.array([[0.0, 0.0, s] for s in (-1.0, 1.0, -1.0, 1.0)])
    distances, hits = cast(corners, origins, directions)
    assert distances == pytest.approx([1.0, 1.0, 0.25, 0.4], rel=1e-12)
    assert hits[[0, 2, 3]].tolist() == [0, 1, 0]


@pytest.mark.parametrize("mesh", MESHES)
def test_nodes_and_blocks_come_depth_first(mesh):
    nodes, blocks, _ = build_tree(MESHES[mesh])
    table = nodes.reshape(-1, NODE_SIZE)
    children = nodes.view(np.int32).reshape(-1, NODE_SIZE)[:, CHILD:]
    real = table[:, :BOXES] <= table[:, 3 * BOXES : 4 * BOXES]
    inner = real & (children >= 0)
    for node in np.flatnonzero(inner.any(axis=1)):
        assert children[node, inner[node]][0] == node + 1
        assert (np.diff(children[node, inner[node]]) > 0).all()
    assert sorted(children[inner]) == list(range(1, len(table)))
    assert nodes.ctypes.data % 64 == blocks.ctypes.data % 64 == 0


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 1e200, -1e39])
def test_coordinates_beyond_all_bounds_do_no_harm_to_the_build(value):
    corners = SOUP[:500].copy()
    corners[::7, 0, 1] = value
    _, blocks, order = build_tree(corners)
    numbers = blocks.reshape(-1, BLOCK_SIZE)[:, OWN_NUMBER:]
    assert sorted(numbers[np.isfinite(numbers)]) == sorted(order) == list(range(500))


def test_triangles_that_do_not_lie_side_by_side_in_memory_are_taken_too():
    apart = np.concatenate([SOUP, SOUP], axis=2)[:, :, :3]
    assert not apart.flags.c_contiguous
    for mine, other in zip(build_tree(apart), build_tree(SOUP), strict=True):
        assert np.array_equal(mine, other, equal_nan=True)
