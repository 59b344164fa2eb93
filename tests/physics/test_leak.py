"""Stray light through gaps: against closed forms, and against brute force with the gap as a mesh."""

import sys
from pathlib import Path

import numpy as np
import pytest
import trimesh
from agreement import agrees
from built_scenes import Lamp, Piece, box_walls, grid, rectangle, scene_of, surface
from measuring import adjoint_blocks, mean_and_error, point

from raysim.leak import GROUPS, LINES, LeakRun, leaks
from raysim.people import permissible_time
from raysim.run import load_scene
from raysim.slit import slit_of

sys.path.insert(0, str(Path(__file__).parents[1] / "scene"))
from small_scenes import write_scene

SIZE = (0.3, 0.25, 0.3)
ENDS = ([90, 0, 150], [210, 0, 150])  # mm, on the front wall, along x
LENGTH, CENTRE = 0.12, (0.15, 0.15)


def scene_with_gap(folder, lining, lamp, **gap):
    """A box, one lamp, a black judged speck in a far corner, and a gap in the front wall."""
    speck = trimesh.Trimesh([[0, 0, 0], [1, 0, 0], [0, 0, 1]], [[0, 1, 2]], process=False)
    data = {
        "title": "leak",
        "chamber": {"inside": [1000 * side for side in SIZE], "lining": lining},
        "lamp": [lamp],
        "object": [
            {
                "name": "speck",
                "mesh": "speck.ply",
                "surface": {"reflectance": 0.0},
                "at": [5, 245, 5],
                "judged": True,
            }
        ],
        "gap": [{"wall": "front", "from": ENDS[0], "to": ENDS[1]} | gap],
    }
    return load_scene(write_scene(folder, data, speck=speck))


def lamp_table(uvc: float, diameter: float, y: float, x=(60.0, 240.0), reflectance=0.0) -> dict:
    return {
        "name": "lamp",
        "from": [x[0], y, 150],
        "to": [x[1], y, 150],
        "diameter": diameter,
        "uvc": f"{uvc} W",
        "reflectance": reflectance,
    }


def point_to_rectangle(width: float, length: float, distance: float) -> float:
    """View factor from a point to a rectangle facing it, centred before it.

    Source: Howell, plane element to parallel rectangle with a corner above it, four of them.
    """
    x, y = 0.5 * width / distance, 0.5 * length / distance
    p, q = np.hypot(1.0, x), np.hypot(1.0, y)
    corner = (x / p * np.arctan(y / p) + y / q * np.arctan(x / q)) / (2.0 * np.pi)
    return 4.0 * corner


def eye(slit, distance):
    outer = slit.passage.corners[[slit.passage.outer, slit.passage.outer + 1], 1].mean()
    return slit.point(np.array(slit.gap.depth + distance), np.array(outer), np.array(0.0))


def at_eye(scene, distance, groups=GROUPS, lines=LINES):
    """Mean, standard error and both parts at an eye straight before the gap, W/m2."""
    slit = slit_of(scene, scene.written.gap[0], "gap 1")
    run = LeakRun(scene, 3, 2)
    opening = run.opening(slit)
    sight, walls = run.at_eye(slit, eye(slit, distance), opening, groups, lines)
    total = sight + walls
    sets = total.reshape(-1, GROUPS).mean(axis=0)  # those with walls of their own
    return total.mean(), sets.std(ddof=1) / np.sqrt(GROUPS), sight.mean(), walls.mean()


def test_a_slit_that_shows_nothing_but_lamp_is_a_view_factor(tmp_path):
    """Black box, wide lamp behind the slit: E = M F to the inner opening, M = P / (pi d L)."""
    width, depth, distance = 0.004, 0.02, 0.3
    lamp = lamp_table(10.0, 100.0, 80.0, (10.0, 290.0))
    scene = scene_with_gap(
        tmp_path,
        {"reflectance": 0.0},
        lamp,
        width=1000 * width,
        depth=1000 * depth,
        distance=1000 * distance,
        reflectance=0.0,
    )
    mean, error, _, walls = at_eye(scene, distance, 64, 256)
    exitance = 10.0 / (np.pi * 0.1 * 0.28)
    truth = exitance * point_to_rectangle(width, LENGTH, distance + depth)
    assert walls == 0.0
    assert agrees(mean, error, truth, 0.05, GROUPS - 1)


def brute_force(slit, lining, lamp, gap_surface, eye_at, paths):
    """Irradiance at the eye with the gap as walls of a mesh, by plain backward paths."""
    walls = box_walls(0.0, SIZE)
    del walls["front"]
    pieces = [Piece(wall, lining) for wall in walls.values()]
    inner = slit.passage.corners[[slit.passage.inner, 0], 1]
    z = sorted(slit.point(np.zeros(2), inner, np.zeros(2))[:, 2])
    x = (CENTRE[0] - LENGTH / 2, CENTRE[0] + LENGTH / 2)
    pieces += [
        Piece(rectangle((x0, 0.0, z0), (0.0, 0.0, z1 - z0), (x1 - x0, 0.0, 0.0)), lining)
        for x0, x1, z0, z1 in (
            (0.0, SIZE[0], 0.0, z[0]),
            (0.0, SIZE[0], z[1], SIZE[2]),
            (0.0, x[0], z[0], z[1]),
            (x[1], SIZE[0], z[0], z[1]),
        )
    ]
    for k, (p, q) in enumerate(zip(slit.passage.corners, slit.passage.ends, strict=True)):
        if k in (slit.passage.inner, slit.passage.outer):
            continue
        steps = np.array([0.0, 1.0])

        def place(u, v, p=p, q=q):
            at = p + u[:, None] * (q - p)
            return slit.point(at[:, 0], at[:, 1], LENGTH * (v - 0.5))

        pieces.append(Piece(grid(steps, steps, place), gap_surface, two_sided=True))
    scene = scene_of(pieces, [lamp], closed=False)
    blocks = adjoint_blocks(scene, [point(5, eye_at, slit.outwards * -1.0)], paths, 9, slice(2, 3))
    return mean_and_error(blocks.sum(axis=(1, 2))[:, 0])


@pytest.mark.parametrize(
    ("keys", "reflectance", "specular"),
    [
        ({}, 0.5, 0.0),
        pytest.param({}, 0.5, 0.7, marks=pytest.mark.slow),
        ({"kind": "rabbet", "step": 8.0}, 0.7, 0.0),
    ],
    ids=["plain", "plain, mirror lining", "rabbet"],
)
def test_gap_agrees_with_brute_force(tmp_path, keys, reflectance, specular):
    """The gap drawn as a mesh and traced from the eye over the whole hemisphere.

    The slit is 24 times as long as wide, so endless strips err by little; the brute-force ends of
    the slit are open, which lets a little out sideways.
    """
    width, depth, distance = 0.005, 0.016, 0.05
    lining = surface(0.6, specular=specular)
    lamp = lamp_table(5.0, 26.0, 180.0, reflectance=0.5)
    scene = scene_with_gap(
        tmp_path,
        {"reflectance": 0.6, "specular": specular},
        lamp,
        width=1000 * width,
        depth=1000 * depth,
        distance=1000 * distance,
        reflectance=reflectance,
        **keys,
    )
    slit = slit_of(scene, scene.written.gap[0], "gap 1")
    mean, error, sight, walls = at_eye(scene, distance, 64)
    assert walls > 0.0
    assert (sight > 0.0) == (not keys)
    tubes = (((0.06, 0.18, 0.15), (0.24, 0.18, 0.15), 0.013),)
    truth, noise = brute_force(
        slit,
        lining,
        Lamp(tubes, 5.0, surface(0.5)),
        surface(reflectance),
        eye(slit, distance),
        3_000_000,
    )
    assert agrees(mean, np.hypot(error, noise), truth, 0.25 if keys else 0.15, GROUPS - 1)


def test_black_labyrinth_is_dark(tmp_path):
    lamp = lamp_table(5.0, 26.0, 180.0)
    gap = {"width": 3, "depth": 18, "distance": 300, "kind": "rabbet", "step": 9}
    scene = scene_with_gap(tmp_path, "foil", lamp, reflectance=0.0, **gap)
    (found,) = leaks(scene, threads=2)
    assert found.irradiance == 0.0
    assert found.times[0] == 86_400.0
    assert found.inside > 1.0  # it is bright behind it


def test_nearly_black_labyrinth_is_still_resolved(tmp_path):
    """Some 1e-6 of the light on the opening comes out; its error stays below 10 %."""
    lamp = lamp_table(5.0, 26.0, 180.0)
    gap = {"width": 3, "depth": 18, "distance": 300, "kind": "rabbet", "step": 9}
    scene = scene_with_gap(tmp_path, "foil", lamp, reflectance=0.05, **gap)
    (found,) = leaks(scene, threads=2)
    assert 0.0 < found.irradiance < 1e-6 * found.inside
    assert found.error < 0.1 * found.irradiance


def test_times_come_from_the_safe_side_and_are_divided(tmp_path):
    lamp = lamp_table(5.0, 26.0, 180.0)
    scene = scene_with_gap(tmp_path, "foil", lamp, width=3, depth=18, distance=300)
    (found,) = leaks(scene, threads=2)
    safe = found.irradiance + 2.0 * found.error
    assert found.times[0] == pytest.approx(permissible_time(safe) / 1.2)
    assert found.times[1] == pytest.approx(10.0 / 6.0 * found.times[0])
    assert found.times[0] < 86_400.0
