"""Configuration factors through the tracer's own directions and intersections.

Source of the factors: see `closed_forms.py`. With shares F of N rays the relative error is
sqrt((1 - F) / (F N)); N is chosen so that a 1 % error would fail, and `agrees` refuses less.
"""

import numpy as np
import pytest
from agreement import agrees, all_agree
from built_scenes import (
    BLACK,
    Lamp,
    Piece,
    area_of,
    box_walls,
    disc,
    icosphere,
    rectangle,
    scene_of,
)
from closed_forms import (
    coaxial_discs,
    element_to_sphere,
    parallel_rectangles,
    perpendicular_rectangles,
    sphere_to_disc,
    tube_on_plate,
)
from measuring import DEGREES, forward_blocks, mean_and_error
from ray_casting import view_factor


def from_rectangle(x, y, z=0.0):
    """Emitter: points of a level rectangle, facing up."""

    def emit(random, count):
        at = np.empty((count, 3))
        at[:, 0], at[:, 1], at[:, 2] = random.uniform(*x, count), random.uniform(*y, count), z
        return at, np.tile([0.0, 0.0, 1.0], (count, 1))

    return emit


def from_disc(radius):
    """Emitter: points of a level disc at z = 0, facing up."""

    def emit(random, count):
        r, angle = radius * np.sqrt(random.random(count)), 2.0 * np.pi * random.random(count)
        at = np.stack([r * np.cos(angle), r * np.sin(angle), np.zeros(count)], axis=1)
        return at, np.tile([0.0, 0.0, 1.0], (count, 1))

    return emit


def from_sphere(radius):
    """Emitter: points of a sphere about the origin."""

    def emit(random, count):
        normals = random.normal(size=(count, 3))
        normals /= np.linalg.norm(normals, axis=1)[:, None]
        return radius * normals, normals

    return emit


@pytest.mark.parametrize("cells", [1, 7])
def test_cube(cells):
    walls = box_walls(0.0, 1.0, cells)
    del walls["floor"]  # the emitter lies in its plane
    groups = np.repeat(np.arange(5), 2 * cells**2)
    share, error = view_factor(
        np.concatenate(list(walls.values())), groups, from_rectangle((0, 1), (0, 1)), 2_500_000, 1
    )
    truth = dict.fromkeys(walls, perpendicular_rectangles(1.0, 1.0, 1.0))
    truth["ceiling"] = parallel_rectangles((0, 1), (0, 1), (0, 1), (0, 1), 1.0)
    assert share.sum() == pytest.approx(1.0, abs=1e-12)
    assert all_agree(share, error, list(truth.values()))


def test_unequal_parallel_rectangles():
    x, y, xi, eta, z = (0.0, 1.0), (0.0, 0.5), (0.2, 0.9), (-0.3, 0.1), 0.4
    target = rectangle((xi[0], eta[0], z), (0.0, eta[1] - eta[0], 0.0), (xi[1] - xi[0], 0.0, 0.0))
    share, error = view_factor(target, np.zeros(2, int), from_rectangle(x, y), 4_000_000, 2)
    assert agrees(share[0], error[0], parallel_rectangles(x, y, xi, eta, z))


def test_perpendicular_rectangles_with_a_common_edge():
    width, height, common = 0.3, 0.8, 0.6
    wall = rectangle((0.0, 0.0, 0.0), (0.0, common, 0.0), (0.0, 0.0, height))
    emitter = from_rectangle((0.0, width), (0.0, common))
    share, error = view_factor(wall, np.zeros(2, int), emitter, 1_500_000, 3)
    assert agrees(share[0], error[0], perpendicular_rectangles(width, height, common))


def test_coaxial_discs():
    target = disc(0.3, 0.4, 720, up=False)
    share, error = view_factor(target, np.zeros(720, int), from_disc(0.25), 1_500_000, 4)
    assert agrees(share[0], error[0], coaxial_discs(0.25, 0.3, 0.4))


def test_sphere_to_disc():
    target = disc(0.3, 0.4, 720, up=False)
    for radius, seed in ((0.01, 5), (0.39, 6)):
        emitter = from_sphere(radius)
        share, error = view_factor(target, np.zeros(720, int), emitter, 4_500_000, seed)
        assert agrees(share[0], error[0], sphere_to_disc(0.3, 0.4))


def test_tube_to_facing_rectangle():
    radius, length, height = 0.013, 0.36, 0.05
    plate = rectangle((-0.1, 0.05, 0.0), (0.25, 0.0, 0.0), (0.0, 0.4, 0.0))
    lamp = Lamp((((0.0, 0.0, height), (0.0, length, height), radius),), 1.0)
    blocks = forward_blocks(scene_of([Piece(plate, BLACK)], [lamp]), 2_000_000, 7, np.zeros(2, int))
    share, error = mean_and_error(blocks[:, 1, 0, 0, 0])
    nodes, weights = np.polynomial.legendre.leggauss(60)
    across, along = 0.025 + 0.125 * nodes[:, None], 0.25 + 0.2 * nodes[None]
    e = tube_on_plate(1.0, radius, length, across, along, height)
    truth = (e * weights[:, None] * weights).sum() * 0.125 * 0.2
    assert agrees(share, error, truth, degrees=DEGREES)


def test_tube_to_sphere():
    # Equal surface, not equal radius: the mean shadow of a convex body is a quarter of its
    # surface (Cauchy).
    radius, length, centre, size = 0.013, 0.2, np.array([0.08, 0.02, 0.05]), 0.06
    corners, _ = icosphere(1.0, 4)
    corners = corners * size * np.sqrt(4.0 * np.pi / area_of(corners)) + centre
    lamp = Lamp((((0.0, 0.0, 0.0), (0.0, 0.0, length), radius),), 1.0)
    scene = scene_of([Piece(corners, BLACK)], [lamp])
    blocks = forward_blocks(scene, 5_200_000, 8, np.zeros(len(corners), int))
    share, error = mean_and_error(blocks[:, 1, 0, 0, 0])
    nodes, weights = np.polynomial.legendre.leggauss(80)
    turn, z = np.pi * (np.arange(720) + 0.5) / 360, 0.5 * length * (1.0 + nodes)
    normal = np.stack([np.cos(turn), np.sin(turn), 0.0 * turn], axis=1)
    way = centre - normal[None] * radius - np.array([0.0, 0.0, 1.0]) * z[:, None, None]
    distance = np.linalg.norm(way, axis=2)
    cosine = (way * normal).sum(axis=2) / distance
    factor = element_to_sphere(cosine, distance / size)
    truth = (factor.mean(axis=1) * weights).sum() / 2.0
    assert agrees(share, error, truth, degrees=DEGREES)


def test_a_box_around_a_tube_gets_all_of_its_light():
    lamp = Lamp((((0.2, 0.2, 0.1), (0.3, 0.3, 0.3), 0.02),), 1.0)
    scene = scene_of([Piece(w, BLACK) for w in box_walls(0.0, 0.4).values()], [lamp])
    blocks = forward_blocks(scene, 100_000, 9, scene.face_part)
    assert blocks[:, 1, 0, :, 0].sum(axis=1) == pytest.approx(1.0, abs=1e-12)
