"""The binary tree under the hierarchy: tight boxes, and splits that no other plane beats."""

import math

import numpy as np
import pytest
from test_hierarchy import MESHES, SOUP

from raysim.kernels.binary_tree import (
    BINS,
    OWN_SHARE,
    best_split,
    bin_of,
    grow_tree,
    measure,
    padding,
    triangle_boxes,
)
from raysim.kernels.bounds import BOX, MINUS_HIGH, OWN
from raysim.kernels.side_by_side import TRIANGLES


def boxed(corners):
    """Boxes of triangles as the build takes them."""
    boxes = np.zeros((len(corners), BOX), np.float32)
    triangle_boxes(np.ascontiguousarray(corners), boxes)
    return boxes


def around(boxes):
    """Low and high corner of what holds all boxes."""
    return boxes[:, :3].min(axis=0), -boxes[:, MINUS_HIGH : MINUS_HIGH + 3].min(axis=0)


def grown(corners):
    """Triangles in the order of the tree, its boxes and its children."""
    triangles = boxed(corners)
    boxes = np.zeros((2 * len(corners), BOX), np.float32)
    children = np.zeros((len(corners), 2), np.int32)
    nodes = grow_tree(triangles, boxes, children)
    return triangles, boxes[: 2 * nodes], children[:nodes]


@pytest.mark.parametrize("mesh", MESHES)
def test_boxes_of_triangles_stand_off_by_the_padding(mesh):
    corners, boxes = MESHES[mesh], boxed(MESHES[mesh])
    low, high = corners.min(axis=1), corners.max(axis=1)
    pad = padding(corners)
    assert (boxes[:, :3] == (low - pad).astype(np.float32)).all()
    assert (-boxes[:, MINUS_HIGH : MINUS_HIGH + 3] == (high + pad).astype(np.float32)).all()
    assert boxes.view(np.int32)[:, OWN].tolist() == list(range(len(corners)))
    assert pad >= 4e-7 * np.abs(corners).max()


@pytest.mark.parametrize("mesh", MESHES)
def test_every_box_is_exactly_that_of_its_triangles(mesh):
    triangles, boxes, children = grown(MESHES[mesh])
    held = {}  # node: (first triangle, triangles)
    for node in range(len(children) - 1, -1, -1):
        parts = []
        for half in range(2):
            child = int(children[node, half])
            parts.append(held[child] if child >= 0 else divmod(-1 - child, 8))
            first, count = parts[-1]
            assert child < 0 or child > node
            if count:
                low, high = around(triangles[first : first + count])
                box = boxes[2 * node + half]
                assert (box[:3] == low).all()
                assert (-box[MINUS_HIGH : MINUS_HIGH + 3] == high).all()
        assert parts[0][0] + parts[0][1] == parts[1][0]
        held[node] = (parts[0][0], parts[0][1] + parts[1][1])
    assert held[0] == (0, len(triangles))


def cost(boxes):
    """What it costs to meet the triangles of some boxes, by the formula of the heuristic."""
    if not len(boxes):
        return 0.0
    x, y, z = np.subtract(*around(boxes)[::-1]).astype(np.float64)
    return (x * y + y * z + z * x) * (math.ceil(len(boxes) / TRIANGLES) + OWN_SHARE * len(boxes))


@pytest.mark.parametrize("longest", range(3))
@pytest.mark.parametrize("count", [2, 3, 6, 17, 200, 3_000])
def test_no_plane_between_bins_is_cheaper_than_the_one_chosen(count, longest):
    corners = SOUP[:count].copy()
    corners[:, :, longest] += 50.0 * np.random.default_rng(5).random((count, 1))
    triangles = boxed(corners)
    box, middles = np.zeros((1, BOX), np.float32), np.zeros((1, BOX), np.float32)
    measure(triangles, 0, count, box, 0, middles, 0)
    scratch = (
        np.zeros(3 * BINS, np.int64),
        np.zeros((3 * BINS, BOX), np.float32),
        np.zeros((1, BOX), np.float32),
        np.zeros(BINS + 1),
    )
    axis, start, scale, last = best_split(triangles, 0, count, middles, 0, scratch)
    twice = triangles[:, :3] - triangles[:, MINUS_HIGH : MINUS_HIGH + 3]
    costs = {}
    for other in range(3):
        low, high = twice[:, other].min(), twice[:, other].max()
        bins = np.minimum(((twice[:, other] - low) * (np.float32(BINS) / (high - low))), BINS - 1)
        bins = bins.astype(int)
        for k in range(BINS - 1):
            left = bins <= k
            if left.any() and not left.all():
                costs[other, k] = cost(triangles[left]) + cost(triangles[~left])
        if other == axis:
            assert [bin_of(triangles, t, axis, start, scale) for t in range(count)] == bins.tolist()
    assert costs[axis, last] == pytest.approx(min(costs.values()), rel=1e-5)
    assert axis == longest or count < 6


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 3e38])
@pytest.mark.parametrize("scale", [0.0, 1.0, 3e38])
def test_every_triangle_has_a_bin_whatever_its_coordinates(value, scale):
    boxes = boxed(SOUP[:4])
    boxes[1, 0] = boxes[2, MINUS_HIGH] = boxes[3, 0] = boxes[3, MINUS_HIGH] = value
    with np.errstate(invalid="ignore", over="ignore"):
        start = np.float32(np.nanmin(boxes[:, 0] - boxes[:, MINUS_HIGH]))
    for t in range(4):
        assert 0 <= bin_of(boxes, t, 0, start, np.float32(scale)) < BINS
