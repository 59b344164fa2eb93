"""Derivatives of the irradiance of a spot: against closed forms, and against runs of their own."""

from dataclasses import replace

import numpy as np
import pytest
from agreement import agrees
from built_scenes import BLACK, Lamp, Piece, box_walls, rectangle, scene_of, smooth, surface
from closed_forms import fresnel, tube_irradiance
from measuring import DEGREES, THREADS

from raysim.assess.sensitivity import (
    Bench,
    Slope,
    body_pairs,
    held_by,
    index_pair,
    index_slope,
    lamp_pairs,
    moved_bodies,
    moved_lamp,
    other_index,
    place_slopes,
    steepest,
)
from raysim.dose.result import Spot
from raysim.transport.kernel_scene import kernel_scene

POWER, RADIUS, LENGTH, DISTANCE = 5.0, 0.013, 0.36, 0.10
SIZE = 0.002  # m, of the spot


def bench_of(pieces, tubes, paths, lamp_surface=BLACK, seed=1):
    """A spot, the first face of the first piece and its first side, in a scene of its own."""
    scene = scene_of(pieces, [Lamp((tube,), POWER, lamp_surface) for tube in tubes])
    spot = Spot("piece 0", "", "outside", 0, np.zeros(3), "", 1.0, 0.0, 1.0)
    return Bench(scene, kernel_scene(scene), spot, seed, THREADS, paths)


def patch():
    """Small square about the origin that faces up."""
    return Piece(rectangle((0.0, 0.0, 0.0), (SIZE, 0.0, 0.0), (0.0, SIZE, 0.0)), BLACK, True)


def dark_room(**other):
    """Walls 0.6 m off the origin; those named in `other` are of another surface."""
    walls = box_walls(-0.6, 0.6)
    return [Piece(corners, other.get(name, BLACK)) for name, corners in walls.items()]


def tube_above(height):
    middle = 0.5 * SIZE
    return (-0.5 * LENGTH, middle, height), (0.5 * LENGTH, middle, height), RADIUS


def test_lamp_moved_away_from_a_spot_follows_the_closed_form():
    """d ln E / dD of a Lambertian tube over the middle of a facing spot (view factor)."""
    bench = bench_of([patch(), *dark_room()], [tube_above(DISTANCE)], 2048)
    step = 1e-4
    high, low = (
        np.log(tube_irradiance(POWER, RADIUS, LENGTH, DISTANCE + s, 0.5 * LENGTH))
        for s in (step, -step)
    )
    truth = float((high - low) / (2.0 * step))
    assert -13.0 < truth < -9.0  # near a tube E goes as 1 / D
    away = place_slopes(lamp_pairs(bench, 0))[2]
    assert agrees(away.value, away.error, truth, 0.02, DEGREES)


def test_spot_moved_towards_the_lamp_is_the_lamp_moved_towards_the_spot():
    bench = bench_of([patch(), *dark_room()], [tube_above(DISTANCE)], 2048)
    lamp, spot = place_slopes(lamp_pairs(bench, 0))[2], place_slopes(body_pairs(bench, (0,)))[2]
    assert agrees(spot.value, np.hypot(spot.error, lamp.error), -lamp.value, 0.03, DEGREES)


def test_common_numbers_take_most_of_the_noise():
    bench = bench_of([patch(), *dark_room()], [tube_above(DISTANCE)], 512)
    slope = place_slopes(lamp_pairs(bench, 0))[2]
    light = bench.batches(bench.arrays, bench.triangles)
    apart = np.sqrt(2.0 / len(light)) * light.std(ddof=1) / light.mean() / 0.004
    assert slope.error < 0.1 * apart


GLASS = 1.5728
BELOW, ASIDE, CEILING = -0.05, 0.4, 0.6


def mirrored(index):
    """Irradiance (any unit) of the spot by a line lamp below its horizon, off a glass ceiling."""
    y = (np.arange(200) + 0.5) / 200 * 0.3 - 0.15
    rise = 2.0 * CEILING - BELOW
    r = np.sqrt(ASIDE**2 + y**2 + rise**2)
    cosine = rise / r  # on the ceiling, and on the spot
    across = np.sqrt(1.0 - (y / r) ** 2)
    return float((fresnel(cosine, index) * across * cosine / r**2).mean())


def glass_bench(paths, seed=1):
    tube = ((ASIDE, -0.15, BELOW), (ASIDE, 0.15, BELOW), RADIUS)
    return bench_of([patch(), *dark_room(ceiling=smooth(GLASS))], [tube], paths, seed=seed)


def test_refractive_index_of_a_glass_ceiling_follows_the_closed_form():
    """The spot sees the lamp's image alone: d ln E / d ln n of Fresnel's reflectance there.

    The lamp is taken for a line there, which is good to some 1e-3.
    """
    bench = glass_bench(1024)
    number = next(k for k, s in enumerate(bench.triangles.surfaces) if s.is_fresnel)
    step = 0.02
    truth = (mirrored(GLASS * (1 + step)) - mirrored(GLASS * (1 - step))) / (
        2.0 * step * mirrored(GLASS)
    )
    slope = index_slope(index_pair(bench, number, "refractive_index"))
    assert truth > 2.0
    assert agrees(slope.value, np.hypot(slope.error, 1e-3 * truth), truth, 0.01, DEGREES)


def busy_bench(paths, seed=1):
    """A spot in a room with a foil-like lining, a mirror of metal, a glass door and two lamps."""
    linings = {name: surface(0.6, specular=0.5) for name in ("left", "right", "back", "ceiling")}
    room = dark_room(front=smooth(GLASS), floor=smooth(0.1905, 2.9773), **linings)
    tubes = [tube_above(DISTANCE), ((0.3, -0.2, 0.1), (0.3, 0.2, 0.3), RADIUS)]
    return bench_of([patch(), *room], tubes, paths, surface(0.5), seed)


def far_apart(bench, states, width, times=16):
    """Slope from two runs of other seeds, far more paths and a wider step; no common numbers."""
    means, errors = [], []
    for seed, (arrays, triangles) in zip((101, 202), states, strict=True):
        own = replace(bench, seed=seed, paths=times * bench.paths)
        light = own.batches(arrays, triangles)
        means.append(light.mean())
        errors.append(light.std(ddof=1) / np.sqrt(len(light)))
    mean = 0.5 * sum(means)
    return (means[0] - means[1]) / (width * mean), np.hypot(*errors) / (width * mean)


@pytest.mark.slow
@pytest.mark.parametrize("what", ["lamp", "body"])
def test_slopes_of_places_agree_with_runs_of_their_own(what):
    """Ten millimetres up and down: the third derivative of 1 / D adds (h / D)^2 = 1 %."""
    bench = busy_bench(4096)
    up, h = np.array([0.0, 0.0, 1.0]), 0.01
    if what == "lamp":
        slope = place_slopes(lamp_pairs(bench, 0))[2]
        states = [(moved_lamp(bench.arrays, 0, s * h * up), bench.triangles) for s in (1, -1)]
    else:
        slope = place_slopes(body_pairs(bench, (0,)))[2]
        moved = [moved_bodies(bench.triangles, (0,), s * h * up) for s in (1, -1)]
        states = [(kernel_scene(m), m) for m in moved]
    found, noise = far_apart(bench, states, 2.0 * h, 8)
    assert agrees(slope.value * 1.01, np.hypot(slope.error, noise), found, 0.10, DEGREES)


@pytest.mark.parametrize("key", ["refractive_index", "extinction"])
def test_slopes_of_indices_agree_with_runs_of_their_own(key):
    bench = busy_bench(512)
    surfaces = bench.triangles.surfaces
    number = next(k for k, s in enumerate(surfaces) if s.is_fresnel and s.extinction > 1.0)
    slope = index_slope(index_pair(bench, number, key))
    states = [(other_index(bench.arrays, number, key, s), bench.triangles) for s in (0.2, -0.2)]
    found, noise = far_apart(bench, states, 0.4)
    assert abs(slope.value - found) < 4.9 * np.hypot(slope.error, noise) + 0.1 * abs(found)
    assert noise < 0.02  # per whole relative change: E by 2 % when the index doubles


def test_length_of_a_gradient_leaves_its_noise_out():
    assert steepest((Slope(3.0, 0.0), Slope(4.0, 0.0), Slope(0.0, 0.0))) == Slope(5.0, 0.0)
    assert steepest((Slope(1.0, 2.0), Slope(0.0, 0.0), Slope(0.0, 0.0))).value == 2.0
    rng = np.random.default_rng(8)
    many = [
        steepest(tuple(Slope(t + 0.5 * rng.standard_normal(), 0.5) for t in (2.0, 1.0, 0.0)))
        for _ in range(4000)
    ]
    square = np.array([slope.value**2 for slope in many])
    error = float(square.std() / np.sqrt(len(square)))
    assert agrees(square.mean(), error, 5.0, 0.07)


def test_a_hook_goes_with_what_hangs_on_it_and_a_rail_stays():
    hook = rectangle((0.0, 0.003, 0.0), (SIZE, 0.0, 0.0), (0.0, SIZE, 0.0))
    rail = rectangle((0.0, 0.05, 0.0), (SIZE, 0.0, 0.0), (0.0, SIZE, 0.0))
    pieces = [patch(), Piece(hook, BLACK, True), Piece(rail, BLACK, True)]
    scene = scene_of(pieces, [Lamp((tube_above(DISTANCE),), POWER)])
    assert held_by(scene, 0) == (0, 1)
    moved = moved_bodies(scene, (0, 1), np.array([0.0, 0.0, 0.01]))
    lifted = (moved.corners - scene.corners)[:, 0, 2]
    assert lifted.tolist() == pytest.approx([0.01] * 4 + [0.0] * 2)
