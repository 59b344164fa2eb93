"""Every triangle lies in one leaf, inside all boxes above it, whatever the mesh."""

import numpy as np
import pytest
from built_scenes import box, icosphere
from ray_casting import cast

from raysim.kernels.hierarchy import NODE_SIZE, WIDTH, build_hierarchy
from raysim.kernels.traverse import STACK_DEPTH


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
    """Per leaf: its triangles, the bounds (6,) of all boxes around it, and its depth."""
    order, boxes, children = build_hierarchy(corners.min(axis=1), corners.max(axis=1))
    assert sorted(order) == list(range(len(corners)))
    boxes = boxes.reshape(-1, 6, WIDTH).astype(float)
    assert boxes.size == len(children) * NODE_SIZE
    found, todo = [], [(0, np.array([-np.inf] * 3 + [np.inf] * 3), 1)]
    while todo:
        node, around, depth = todo.pop()
        for k in range(WIDTH):
            own = boxes[node, :, k]
            if not (own[:3] <= own[3:]).all():
                continue  # an empty place
            inside = np.concatenate(
                [np.maximum(around[:3], own[:3]), np.minimum(around[3:], own[3:])]
            )
            child = int(children[node, k])
            if child < 0:
                first, count = divmod(-child - 1, 8)
                found.append((order[first : first + count], inside, depth))
            else:
                todo.append((child, inside, depth + 1))
    return found


@pytest.mark.parametrize("mesh", MESHES)
def test_every_triangle_lies_in_one_leaf_and_inside_its_boxes(mesh):
    corners = MESHES[mesh]
    found = leaves(corners)
    faces = np.concatenate([faces for faces, _, _ in found])
    assert sorted(faces) == list(range(len(corners)))
    for faces, bounds, _ in found:
        if len(faces):
            assert (corners[faces].min(axis=(0, 1)) >= bounds[:3]).all()
            assert (corners[faces].max(axis=(0, 1)) <= bounds[3:]).all()


@pytest.mark.parametrize("mesh", MESHES)
def test_the_stack_of_the_traversal_is_deep_enough(mesh):
    depth = max(depth for _, _, depth in leaves(MESHES[mesh]))
    assert depth * (WIDTH - 1) + 1 <= STACK_DEPTH


def test_a_stack_of_triangles_is_met_in_order():
    corners = stack(900)
    origins = np.array([[0.2, 0.2, 2.0], [0.2, 0.2, -1.0], [0.2, 0.2, 0.75], [0.2, 0.2, 0.6]])
    directions = np.array([[0.0, 0.0, s] for s in (-1.0, 1.0, -1.0, 1.0)])
    distances, hits = cast(corners, origins, directions)
    assert distances == pytest.approx([1.0, 1.0, 0.25, 0.4], rel=1e-12)
    assert hits[[0, 2, 3]].tolist() == [0, 1, 0]
