"""A closed box with bumpy balls in it, of as many triangles as wanted: a scene without a file."""

import numpy as np
import trimesh


def corners(triangles: int) -> np.ndarray:
    """Corners (m), (about `triangles`, 3, 3), of a 1 m box and balls with 4 % bumps."""
    level = 3
    while 20 * 4**level * 8 < triangles and level < 6:
        level += 1
    balls = max(round(triangles / (20 * 4**level)), 1)
    ball = trimesh.creation.icosphere(level, 1.0)
    random = np.random.default_rng(1)
    waves = random.normal(size=(24, 3)) * 8.0
    height = 1.0 + 0.04 * np.cos(ball.vertices @ waves.T).sum(axis=1)[:, None] / np.sqrt(24.0)
    side = int(np.ceil(balls ** (1.0 / 3.0)))
    cell = 1.0 / side
    middles = (np.argwhere(np.ones((side,) * 3))[:balls] + 0.5) * cell
    shape = (ball.vertices * height)[ball.faces] * 0.35 * cell
    box = trimesh.creation.box(extents=(1.0, 1.0, 1.0))
    walls = (box.vertices + 0.5)[box.faces][:, ::-1]
    return np.ascontiguousarray(np.concatenate([walls, *(shape + m for m in middles)]))


def kernel_scene(triangles: int):
    """Kernel scene of a box with bumpy balls, grey walls, one tube in a corner."""
    from raysim.kernels.hierarchy import build_tree
    from raysim.kernels.records import MOST_NUMBERS, Geometry, LampTubes, Surfaces
    from raysim.transport.kernel_scene import KernelScene

    shapes = corners(triangles)
    nodes, blocks, order = build_tree(shapes)
    across = np.cross(shapes[:, 1] - shapes[:, 0], shapes[:, 2] - shapes[:, 0])
    normals = (across / np.linalg.norm(across, axis=1)[:, None])[order]
    things = len(order) + 1
    tube = np.array([[0.03, 0.03, 0.1, 0.0, 0.0, 1.0, 0.8, 0.01]])
    world = Geometry(
        nodes,
        blocks,
        np.ascontiguousarray(normals),
        np.zeros(things, np.int32),
        np.zeros(things, np.int32),
        np.zeros(len(order), np.bool_),
        tube,
        tube,
        np.zeros(1, np.int32),
        np.ones(1),
    )
    grey, none = np.array([[0.6, 0.7, 0.8]]), np.zeros((1, 3))
    surfaces = Surfaces(
        np.zeros(1, np.int32), grey, none, np.array([0.5]), np.zeros((1, MOST_NUMBERS)), none + 0.5
    )
    tubes = LampTubes(np.zeros(1, np.int32), np.ones(1, np.int32))
    return KernelScene(world, surfaces, tubes, np.array([10.0]), order, np.argsort(order), 1)
