"""Gaps that follow the wall over its facets: against an integral, and against brute force."""

import numpy as np
import pytest
import trimesh
from agreement import agrees
from brute_ring import regular_rings, smooth_ring, through_rings
from built_scenes import Lamp, Piece, scene_of, surface
from measuring import adjoint_blocks, mean_and_error, point
from small_scenes import write_scene

from raysim.dose.simulate import load_scene
from raysim.studies.leak.run import GROUPS, LINES, LeakRun, study
from raysim.studies.leak.slit import slit_of
from raysim.transport.options import RunOptions

RADIUS, HIGH = 0.285, 0.85
DEPTH, WIDTH, DISTANCE, LEVEL = 0.018, 0.002, 0.5, 0.425
TUBE = np.array([0.014, -0.35, 0.35])  # radius, ends about the level of the slit
EXITANCE = 10.0 / (2.0 * np.pi * TUBE[0] * (TUBE[2] - TUBE[1]))
FAR = RADIUS + DEPTH + DISTANCE
SIZES = {"width": 1000.0 * WIDTH, "depth": 1000.0 * DEPTH, "distance": 1000.0 * DISTANCE}
RING = {"around": {"z": 1000.0 * LEVEL}}
SLOW = pytest.mark.slow


def drum(count, turn=0.0, top=RADIUS):
    """A drum of facets, mm, an edge or a facet towards x; `top` is its radius there, m."""
    rings = regular_rings(count, [RADIUS, top], [0.0, HIGH], turn).reshape(-1, 3)
    corners = 1000.0 * np.vstack([rings, [[0.0, 0.0, 0.0], [0.0, 0.0, HIGH]]])
    k = np.arange(count)
    after, up = (k + 1) % count, k + count
    sides = [(k, after, up), (after, (k + 1) % count + count, up)]
    caps = [(after, k, 0 * k + 2 * count), (up, after + count, 0 * k + 2 * count + 1)]
    faces = np.concatenate([np.stack(some, axis=1) for some in sides + caps])
    return trimesh.Trimesh(corners, faces, process=False)


def drum_scene(folder, mesh, gap, reflectance=0.0, lining=0.0):
    lamp = {"name": "lamp", "from": [0, 0, 75], "to": [0, 0, 775], "diameter": 28}
    data = {
        "title": "drum",
        "chamber": {"mesh": "drum.stl", "lining": {"reflectance": lining}, "edge": 900},
        "lamp": [lamp | {"uvc": "10 W", "reflectance": 0.0}],
        "object": [
            {"name": "speck", "mesh": "plate.ply", "surface": {"reflectance": 0.0}}
            | {"at": [100, 100, 10], "judged": True}
        ],
        "gap": [SIZES | gap | {"reflectance": reflectance}],
    }
    write_scene(folder, data)
    mesh.export(folder / "drum.stl")
    return load_scene(folder / "scene.toml")


def at_eye(scene, eye, lines=4 * LINES):
    """Mean and standard error at an eye (3,), W/m2."""
    slit = slit_of(scene, scene.written.gap[0], "gap 1")
    run = LeakRun(scene, RunOptions(5, 2))
    sight, walls = run.at_eye(slit, np.asarray(eye), run.opening(slit), GROUPS, lines)
    return (sight + walls).mean(), (sight + walls).std(ddof=1) / np.sqrt(GROUPS)


def eye_at(angle, up=0.0, far=FAR):
    return far * np.cos(angle), far * np.sin(angle), LEVEL + up


@pytest.fixture(scope="module")
def ring(tmp_path_factory):
    return drum_scene(tmp_path_factory.mktemp("ring"), drum(48), RING)


@pytest.mark.parametrize(
    ("place", "up"),
    [(0.0, 0.0), (1.0, 0.0), *(pytest.param(k, 0.03, marks=SLOW) for k in (0.0, 0.7, 1.0))],
)
def test_a_ring_slit_of_48_facets_is_that_of_a_smooth_drum(ring, place, up):
    """Before the middle of a facet, beside it, and before the edge."""
    mean, error = at_eye(ring, eye_at(place * np.pi / 48, up))
    truth = smooth_ring((FAR, up), RADIUS, DEPTH, WIDTH, TUBE, EXITANCE)
    assert agrees(mean, error, truth, 0.03, GROUPS - 1)


def test_the_slit_of_one_facet_alone_would_not_do(tmp_path):
    """The same comparison sees what a ring without its other legs lacks before an edge."""
    half = 1000.0 * RADIUS * np.tan(np.pi / 48) - 0.1
    ends = {"from": [285, float(-half), 425], "to": [285, float(half), 425]}
    alone = drum_scene(tmp_path, drum(48), {"wall": "chamber"} | ends)
    truth = smooth_ring((FAR, 0.0), RADIUS, DEPTH, WIDTH, TUBE, EXITANCE)
    mean, error = at_eye(alone, eye_at(0.0))
    assert agrees(mean, error, truth, 0.03, GROUPS - 1)
    mean, error = at_eye(alone, eye_at(np.pi / 48))
    assert not agrees(mean, error, truth, 0.03, GROUPS - 1)


@SLOW
def test_the_brightest_eye_of_a_ring_is_found(ring):
    (found,) = study(ring, options=RunOptions(threads=2)).leaks
    truth = smooth_ring((FAR, 0.0), RADIUS, DEPTH, WIDTH, TUBE, EXITANCE)
    assert found.irradiance == pytest.approx(truth, rel=0.02)
    assert abs(found.irradiance - truth) < 4.0 * found.error
    assert found.error < 0.01 * truth
    assert np.hypot(*found.eye[:2]) == pytest.approx(FAR, rel=0.003)  # off the wall by `distance`


def slit_rings(count, turn=0.0, lean=0.0, width=WIDTH):
    """The slit round a drum that leans in by `lean` (rise of radius by height), by hand.

    It goes through the wall at right angles, and comes to the level of the eye inside.
    """
    out, up = np.array([1.0, -lean]) / np.hypot(1.0, lean), np.array([lean, 1.0])
    up = 0.5 * width * up / np.hypot(1.0, lean)
    here = np.array([RADIUS + lean * LEVEL, LEVEL])
    places = [here - up, here + up, here + DEPTH * out - up, here + DEPTH * out + up]
    return regular_rings(count, *np.transpose(places), turn)


UPRIGHT = np.array([0.0, 0.0, 0.014, 0.075, 0.775])


@pytest.mark.parametrize(
    ("place", "up"),
    [(1.0, 0.0), pytest.param(0.0, 0.0, marks=SLOW), pytest.param(0.9, 0.03, marks=SLOW)],
)
def test_a_ring_of_few_facets_is_as_by_brute_force(tmp_path, place, up):
    scene = drum_scene(tmp_path, drum(12), RING)
    eye = np.array(eye_at(place * np.pi / 12, up))
    truth, noise = through_rings(eye, slit_rings(12), UPRIGHT, EXITANCE, (-0.1, 0.02))
    mean, error = at_eye(scene, eye)
    assert agrees(mean, np.hypot(error, noise), truth, 0.04, GROUPS - 1)


@pytest.mark.parametrize("place", [pytest.param(0.0, marks=SLOW), 1.0])
def test_a_drum_that_leans_in_is_as_by_brute_force(tmp_path, place):
    """A cone: the slit goes through the wall at right angles, so it looks down here."""
    top, lean = 0.2, (0.2 - RADIUS) / HIGH
    scene = drum_scene(tmp_path, drum(12, top=top), RING)
    far = RADIUS + lean * LEVEL + DEPTH + DISTANCE
    eye = np.array(eye_at(place * np.pi / 12, 0.05, far))
    truth, noise = through_rings(eye, slit_rings(12, 0.0, lean), UPRIGHT, EXITANCE, (-0.3, 0.1))
    mean, error = at_eye(scene, eye)
    assert agrees(mean, np.hypot(error, noise), truth, 0.04, GROUPS - 1)


def test_a_line_from_facet_to_facet_follows_the_wall(tmp_path):
    """From and to on the facets beside an edge: the light before it is that of the ring."""
    out = 1000.0 * np.array(regular_rings(12, [RADIUS], [LEVEL], np.pi / 12)[0])
    edge, beside = out[11], (out[10] - out[11]) / np.linalg.norm(out[10] - out[11])
    ends = [edge + 60.0 * beside, edge + 60.0 * beside * [1.0, -1.0, 1.0]]
    gap = {"wall": "chamber", "from": ends[0].tolist(), "to": ends[1].tolist()}
    scene = drum_scene(tmp_path, drum(12, np.pi / 12), gap)
    eye = np.array(eye_at(0.0))
    rings = slit_rings(12, np.pi / 12)
    truth, noise = through_rings(eye, rings, UPRIGHT, EXITANCE, (-0.1, 0.02))
    mean, error = at_eye(scene, eye)
    assert agrees(mean, np.hypot(error, noise), truth, 0.04, GROUPS - 1)


L_OUTLINE = np.array([(0, 0), (0.3, 0), (0.3, 0.14), (0.18, 0.14), (0.18, 0.25), (0, 0.25)], float)
L_OUTSIDE = L_OUTLINE + DEPTH * np.array([(-1, -1), (1, -1), (1, 1), (1, 1), (1, 1), (-1, 1)])


@pytest.mark.parametrize(
    ("lamp", "eye"),
    [
        pytest.param((0.24, 0.08), (0.5, 0.34), marks=SLOW),
        ((0.1, 0.06), (0.33, 0.29)),
    ],
)
def test_a_room_with_corners_both_ways_is_as_by_brute_force(tmp_path, lamp, eye):
    """Through a corner that stands out, and through the one that goes in."""
    corners = [(*corner, z) for z in (0.0, 0.35) for corner in L_OUTLINE]
    caps = [(0, 1, 2), (0, 2, 3), (0, 3, 4), (0, 4, 5)]
    faces = [cap[::-1] for cap in caps] + [tuple(6 + c for c in cap) for cap in caps]
    for k in range(6):
        after = (k + 1) % 6
        faces += [(k, after, after + 6), (k, after + 6, k + 6)]
    room = trimesh.Trimesh(1000.0 * np.array(corners), faces, process=False)
    x, y = (1000.0 * np.array(lamp)).tolist()
    tube = {"name": "lamp", "from": [x, y, 50], "to": [x, y, 300], "diameter": 28}
    data = {
        "title": "L",
        "chamber": {"mesh": "room.ply", "lining": {"reflectance": 0.0}},
        "lamp": [tube | {"uvc": "10 W", "reflectance": 0.0}],
        "object": [
            {"name": "plate", "mesh": "plate.ply", "surface": {"reflectance": 0.0}}
            | {"at": [20, 200, 20], "judged": True}
        ],
        "gap": [SIZES | {"around": {"z": 150}, "reflectance": 0.0}],
    }
    scene = load_scene(write_scene(tmp_path, data, room=room))
    rings = [
        np.column_stack([line, np.full(6, 0.15 + side)])
        for line in (L_OUTLINE, L_OUTSIDE)
        for side in (-0.5 * WIDTH, 0.5 * WIDTH)
    ]
    exitance = 10.0 / (np.pi * 0.028 * 0.25)
    at = np.array([*eye, 0.15])
    tube = np.array([*lamp, 0.014, 0.05, 0.3])
    truth, noise = through_rings(at, rings, tube, exitance, (-0.03, 0.03))
    mean, error = at_eye(scene, at)
    assert agrees(mean, np.hypot(error, noise), truth, 0.06, GROUPS - 1)


@pytest.mark.parametrize("up", [0.0, pytest.param(0.03, marks=SLOW)])
def test_the_seam_of_a_hatch_is_as_by_brute_force(tmp_path, up):
    """A closed line in a flat wall, from an eye that looks through its corner, or through one leg."""
    corners = [(100, 0, 100), (200, 0, 100), (200, 0, 250), (100, 0, 250), (100, 0, 100)]
    lamp = {"name": "lamp", "from": [110, 150, 50], "to": [110, 150, 300], "diameter": 28}
    data = {
        "title": "hatch",
        "chamber": {"inside": [300, 250, 350], "lining": {"reflectance": 0.0}},
        "lamp": [lamp | {"uvc": "10 W", "reflectance": 0.0}],
        "object": [
            {"name": "plate", "mesh": "plate.ply", "surface": {"reflectance": 0.0}}
            | {"at": [20, 200, 20], "judged": True}
        ],
        "gap": [
            {"wall": "front", "points": [list(corner) for corner in corners], "reflectance": 0.0}
            | {"width": 4, "depth": 18, "distance": 300}
        ],
    }
    scene = load_scene(write_scene(tmp_path, data))
    line = 0.001 * np.array(corners[:4], float)
    beside = 0.002 * np.array([(-1, 0, -1), (1, 0, -1), (1, 0, 1), (-1, 0, 1)])
    rings = [
        line + side * beside + [0.0, -deep, 0.0] for deep in (0.0, DEPTH) for side in (-1.0, 1.0)
    ]
    eye = np.array([0.0805, -0.318, 0.1 + up])
    tube = np.array([0.11, 0.15, 0.014, 0.05, 0.3])
    exitance = 10.0 / (np.pi * 0.028 * 0.25)
    truth, noise = through_rings(eye, rings, tube, exitance, (-0.1, 0.5), side=(100, 500))
    mean, error = at_eye(scene, eye)
    assert agrees(mean, np.hypot(error, noise), truth, 0.04, GROUPS - 1)


def between(low, high):
    """Triangles (n, 3, 3) between two closed lines (corners, 3), facing inwards where `high` is up."""
    after_low, after_high = np.roll(low, -1, axis=0), np.roll(high, -1, axis=0)
    pairs = [(low, high, after_high), (low, after_high, after_low)]
    found = np.concatenate([np.stack(corners, axis=1) for corners in pairs])
    across = np.cross(found[:, 1] - found[:, 0], found[:, 2] - found[:, 0])
    return found[np.linalg.norm(across, axis=1) > 1e-12]  # a middle is a line of one point


@pytest.mark.parametrize("place", [pytest.param(0.0, marks=SLOW), 1.0])
def test_walls_of_a_ring_shine_a_little_more_than_by_brute_force(tmp_path, place):
    """White walls, close before the gap: the ring drawn as a mesh, by plain backward paths."""
    width, near = 0.004, 0.02
    keys = {"width": 1000.0 * width, "distance": 1000.0 * near}
    scene = drum_scene(tmp_path, drum(12), RING | keys, 0.7, 0.6)
    eye = np.array(eye_at(place * np.pi / 12, 0.0, RADIUS + DEPTH + near))
    eye[:2] /= np.cos(place * np.pi / 12)
    mean, error = at_eye(scene, eye)

    lower_in, upper_in, lower_out, upper_out = slit_rings(12, width=width)
    floor, ceiling = regular_rings(12, [RADIUS, RADIUS], [0.0, HIGH])
    lining, own = surface(0.6), surface(0.7)
    pieces = [Piece(between(a, b), lining) for a, b in ((floor, lower_in), (upper_in, ceiling))]
    middle = [np.tile(line.mean(axis=0), (12, 1)) for line in (floor, ceiling)]
    pieces += [Piece(between(a, b), lining) for a, b in ((middle[0], floor), (ceiling, middle[1]))]
    pieces += [
        Piece(between(a, b), own, two_sided=True)
        for a, b in ((lower_in, lower_out), (upper_in, upper_out))
    ]
    tube = Lamp((((0.0, 0.0, 0.075), (0.0, 0.0, 0.775), 0.014),), 10.0, surface(0.0))
    facing = np.array([-np.cos(place * np.pi / 12), -np.sin(place * np.pi / 12), 0.0])
    drawn = scene_of(pieces, [tube], closed=False)
    blocks = adjoint_blocks(drawn, [point(5, eye, facing)], 400_000, 9)
    truth, noise = mean_and_error(blocks[:, 0].sum(axis=(1, 2)))
    unsure = 5.0 * np.hypot(error, noise)
    assert unsure < 0.02 * truth
    # Taken as straight the slit does not spread the light over the longer way round outside.
    assert truth - unsure < mean < truth * (1.0 + DEPTH / RADIUS) + unsure
