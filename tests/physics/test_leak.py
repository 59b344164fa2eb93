"""Stray light through gaps: against closed forms, and against brute force with the gap as a mesh."""

import numpy as np
import pytest
import trimesh
from agreement import agrees
from built_scenes import Lamp, Piece, box_walls, grid, rectangle, scene_of, surface
from measuring import DEGREES, adjoint_blocks, mean_and_error, point
from running import SMALL_BATCH, batches_of
from small_scenes import write_scene

from raysim.dose.simulate import load_scene
from raysim.studies.leak.exposure_limits import permissible_time
from raysim.studies.leak.run import GROUPS, LINES, LeakRun, study
from raysim.studies.leak.slit import slit_of
from raysim.transport.options import RunOptions

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


def at_eye(scene, distance, groups=GROUPS, lines=LINES, seeds=(3,)):
    """Mean, standard error and both parts at an eye straight before the gap, W/m2.

    Every seed gives GROUPS independent sets, each with light on the walls of its own: groups of
    lines beyond these share it, and are averaged with those they share it with.
    """
    slit = slit_of(scene, scene.written.gap[0], "gap 1")
    sets, sights, walls_seen = [], [], []
    for seed in seeds:
        run = LeakRun(scene, RunOptions(seed, 2))
        opening = run.opening(slit)
        sight, walls = run.at_eye(slit, eye(slit, distance), opening, groups, lines)
        sets.append((sight + walls).reshape(-1, GROUPS).mean(axis=0))
        sights.append(sight.mean())
        walls_seen.append(walls.mean())
    sets = np.concatenate(sets)
    error = sets.std(ddof=1) / np.sqrt(len(sets))
    return sets.mean(), error, np.mean(sights), np.mean(walls_seen)


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
    assert agrees(mean, error, truth, 0.03, GROUPS - 1)


MIRROR = surface(1.0, specular=1.0)
LIVELY = 0.95  # reflectance that decides how far a backward path goes on in the gap


def brute_force(slit, lining, lamp, reflectance, eye_at, paths):
    """Irradiance at the eye with the gap as walls of a mesh, by plain backward paths.

    Mirrors close the ends of a rabbet: it is then as good as endless, as the strips are. (Open ends
    let some 5 % of the light off its walls out sideways.) A plain gap has black ends, as an eye
    looks straight through: mirrors would show it images of the lining, 0.4 % more light than there
    is, while its walls send less than 1 %.
    A path goes on as on the brightest column of the surfaces and carries a weight for each other
    one; the first column is read. So paths in a dark gap do not die out, and what they bring is
    weighted down to its own reflectance.
    """
    end_surface = surface(0.0) if slit.gap.step is None else MIRROR
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
    gap_surface = surface(reflectance, reflectance, max(reflectance, LIVELY))
    for k, (p, q) in enumerate(zip(slit.passage.corners, slit.passage.ends, strict=True)):
        if k not in (slit.passage.inner, slit.passage.outer):
            pieces.append(Piece(_wall_of_gap(slit, p, q), gap_surface, two_sided=True))
    pieces += [Piece(_end_of_gap(slit, end), end_surface, two_sided=True) for end in (-0.5, 0.5)]
    scene = scene_of(pieces, [lamp], closed=False)
    blocks = adjoint_blocks(scene, [point(5, eye_at, slit.outwards * -1.0)], paths, 9)
    return mean_and_error(blocks[:, 0].sum(axis=(1, 2)))


ENDS_OF_UNIT = np.array([0.0, 1.0])


def _wall_of_gap(slit, p, q):
    def place(u, v):
        at = p + u[:, None] * (q - p)
        return slit.point(at[:, 0], at[:, 1], LENGTH * (v - 0.5))

    return grid(ENDS_OF_UNIT, ENDS_OF_UNIT, place)


def _end_of_gap(slit, end):
    low, high = slit.passage.corners.min(axis=0), slit.passage.corners.max(axis=0)

    def place(u, v):
        a, b = low[0] + u * (high - low)[0], low[1] + v * (high - low)[1]
        return slit.point(a, b, np.full(len(u), end * LENGTH))

    return grid(ENDS_OF_UNIT, ENDS_OF_UNIT, place)


DEPTH, DISTANCE = 0.016, 0.02
RABBET = {"kind": "rabbet", "step": 8.0}


def both_ways(folder, width, reflectance, specular, keys, paths, groups, seeds):
    """A gap by its own method and by brute force: (mean, error, sight, walls), (mean, error)."""
    lamp = lamp_table(5.0, 26.0, 180.0, reflectance=0.5)
    lining = {"reflectance": 0.6, "specular": specular}
    sizes = {"width": 1000 * width, "depth": 1000 * DEPTH, "distance": 1000 * DISTANCE}
    scene = scene_with_gap(folder, lining, lamp, reflectance=reflectance, **sizes, **keys)
    slit = slit_of(scene, scene.written.gap[0], "gap 1")
    ours = at_eye(scene, DISTANCE, groups, 256, seeds)
    tubes = (((0.06, 0.18, 0.15), (0.24, 0.18, 0.15), 0.013),)
    tube = Lamp(tubes, 5.0, surface(0.5))
    walls = surface(0.6, specular=specular)
    return ours, brute_force(slit, walls, tube, reflectance, eye(slit, DISTANCE), paths)


def agree(ours, brute, catches, sets=GROUPS):
    """Whether both ways agree; `sets` that are independent stand behind the error of ours.

    Degrees of freedom of the sum of two errors: Welch 1947, Satterthwaite 1946.
    """
    error = np.hypot(ours[1], brute[1])
    degrees = error**4 / (ours[1] ** 4 / (sets - 1) + brute[1] ** 4 / DEGREES)
    return agrees(ours[0], error, brute[0], catches, degrees)


@pytest.mark.parametrize(
    ("keys", "reflectance", "specular", "paths", "catches"),
    [
        ({}, 0.5, 0.0, 400_000, 0.005),
        pytest.param({}, 0.5, 0.7, 400_000, 0.015, marks=pytest.mark.slow),
        pytest.param(RABBET, 0.7, 0.0, 3_000_000, 0.08, marks=pytest.mark.slow),  # a labyrinth
    ],
    ids=["plain", "plain, mirror lining", "rabbet"],
)
def test_gap_agrees_with_brute_force(tmp_path, keys, reflectance, specular, paths, catches):
    """The gap drawn as a mesh and traced from the eye over the whole hemisphere."""
    groups = GROUPS if keys else 4 * GROUPS
    ours, brute = both_ways(tmp_path, 0.005, reflectance, specular, keys, paths, groups, (3,))
    _, _, sight, walls = ours
    assert walls > 0.0
    assert (sight > 0.0) == (not keys)
    assert agree(ours, brute, catches)


LABYRINTH = 0.004  # m, width


def test_nearly_black_labyrinth_agrees_with_brute_force(tmp_path):
    """Two bends with walls of 0.05: less than 1e-6 of the lamp's power gets out, known to 2 %."""
    ours, brute = both_ways(tmp_path, LABYRINTH, 0.05, 0.0, RABBET, 3_000_000, GROUPS, (3, 4))
    mean, error, _, _ = ours
    assert agree(ours, brute, 0.15, 2 * GROUPS)
    assert error < 0.02 * mean
    # Power through the outer opening, taken for one of even radiance: E / F times its area.
    leaked = mean / point_to_rectangle(LABYRINTH, LENGTH, DISTANCE) * LABYRINTH * LENGTH
    assert leaked < 1e-6 * 5.0


@pytest.mark.slow
def test_nearly_black_labyrinth_to_eight_percent(tmp_path):
    seeds = (3, 4, 5, 6)
    ours, brute = both_ways(tmp_path, LABYRINTH, 0.05, 0.0, RABBET, 12_000_000, GROUPS, seeds)
    assert agree(ours, brute, 0.08, len(seeds) * GROUPS)


def test_black_labyrinth_is_dark(tmp_path):
    lamp = lamp_table(5.0, 26.0, 180.0)
    gap = {"width": 3, "depth": 18, "distance": 300, "kind": "rabbet", "step": 9}
    scene = scene_with_gap(tmp_path, "foil", lamp, reflectance=0.0, **gap)
    (found,) = study(scene, options=RunOptions(threads=2)).leaks
    assert found.irradiance == 0.0
    assert found.times[0] == 86_400.0
    assert found.inside > 1.0  # it is bright behind it


def test_nearly_black_labyrinth_is_still_resolved(tmp_path):
    """Some 1e-6 of the light on the opening comes out; its error stays below 10 %."""
    lamp = lamp_table(5.0, 26.0, 180.0)
    gap = {"width": 3, "depth": 18, "distance": 300, "kind": "rabbet", "step": 9}
    scene = scene_with_gap(tmp_path, "foil", lamp, reflectance=0.05, **gap)
    (found,) = study(scene, options=RunOptions(threads=2)).leaks
    assert 0.0 < found.irradiance < 1e-6 * found.inside
    assert found.error < 0.1 * found.irradiance


def test_times_come_from_the_safe_side_and_are_divided(tmp_path):
    lamp = lamp_table(5.0, 26.0, 180.0)
    scene = scene_with_gap(tmp_path, "foil", lamp, width=3, depth=18, distance=300)
    with batches_of(SMALL_BATCH):
        (found,) = study(scene, options=RunOptions(threads=2)).leaks
    safe = found.irradiance + 2.0 * found.error
    assert found.times[0] == pytest.approx(permissible_time(safe) / 1.2)
    assert found.times[1] == pytest.approx(10.0 / 6.0 * found.times[0])
    assert found.times[0] < 86_400.0


TUBE = {"name": "lamp", "diameter": 16, "uvc": "3.4 W", "reflectance": 0.0}
SEAM = {"wall": "front", "distance": 500, "reflectance": 0.0}
UPRIGHT = SEAM | {"from": [300, 0, 100], "to": [300, 0, 500]}
# Light at the brightest eye, uW/cm2, by tests/physics/brute_eyes.py, and the most that a search
# by a grid of eyes had found: 0, as the picture of the tube lies between two of its places.
NARROW = {
    "plain": (UPRIGHT | {"width": 5, "depth": 18}, (274.3, 120), (274.3, 480), 16.5),
    "rabbet": (
        UPRIGHT | {"width": 4, "depth": 20, "kind": "rabbet", "step": 4},
        (215, 120),
        (215, 480),
        2.44,
    ),
    "short": (
        SEAM | {"from": [300, 0, 290], "to": [300, 0, 310], "width": 5, "depth": 18},
        (100, 222),
        (500, 222),
        0.757,
    ),
}


def narrow_scene(folder, name):
    gap, start, end, truth = NARROW[name]
    ends = {"from": [start[0], 560, start[1]], "to": [end[0], 560, end[1]]}
    data = {
        "title": "leak",
        "chamber": {"inside": [600, 620, 600], "lining": {"reflectance": 0.0}},
        "lamp": [TUBE | ends],
        "object": [
            {"name": "plate", "mesh": "plate.ply", "surface": {"reflectance": 0.0}}
            | {"at": [20, 610, 20], "judged": True}
        ],
        "gap": [gap],
    }
    return load_scene(write_scene(folder, data)), truth


# "plain" is "short" with a longer tube, and is used below.
@pytest.mark.parametrize("name", ["rabbet", "short", pytest.param("plain", marks=pytest.mark.slow)])
def test_a_picture_narrower_than_a_grid_of_eyes_is_found(tmp_path, name):
    scene, truth = narrow_scene(tmp_path, name)
    (found,) = study(scene, options=RunOptions(threads=2)).leaks
    assert 100.0 * found.irradiance == pytest.approx(truth, rel=0.02)
    assert found.error < 0.01 * found.irradiance
    assert found.times[0] < 6000.0 / (97.0 * truth) * 100.0


def test_threads_change_no_bit(tmp_path):
    scene, _ = narrow_scene(tmp_path, "plain")
    with batches_of(SMALL_BATCH):
        one, two = (study(scene, options=RunOptions(threads=n)).leaks[0] for n in (1, 2))
    assert one.irradiance == two.irradiance
    assert (one.eye == two.eye).all()
    assert one.times == two.times


@pytest.mark.parametrize("seeds", [range(1, 13)])
def test_the_standard_error_is_honest(tmp_path, seeds):
    """At one eye, many runs with other random numbers scatter as each of them says."""
    scene, _ = narrow_scene(tmp_path, "plain")
    slit = slit_of(scene, scene.written.gap[0], "gap 1")
    at = np.array([0.3202, -0.518, 0.2949])
    means, errors = [], []
    for seed in seeds:
        run = LeakRun(scene, RunOptions(seed, 2))
        sight, walls = run.at_eye(slit, at, run.opening(slit), GROUPS, LINES)
        means.append((sight + walls).mean())
        errors.append((sight + walls).std(ddof=1) / np.sqrt(GROUPS))
    ratio = np.var(means, ddof=1) / np.mean(np.square(errors))
    assert 0.2 < ratio < 2.8  # chi-square of 11, F about 1e-3 to either side
