"""Recorded photon paths: the run's own corners, the laws of reflection, and no power made."""

from collections import Counter

import numpy as np
import pytest
from agreement import agrees
from built_scenes import LINING, SHEET, TUBE_SURFACE, busy_scene, room, surface

from raysim.base.cases import CASES
from raysim.kernels.history import follow_photon
from raysim.kernels.random_numbers import split_word
from raysim.kernels.records import FATES
from raysim.kernels.traverse import new_scratch
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.photons import PhotonRun
from raysim.transport.tallies import MAX_BOUNCES
from raysim.transport.trails import FAINTEST, MOST_CORNERS, photon_trails

SEED = 5


@pytest.fixture(scope="module")
def busy():
    """Scene with every kind of surface, two lamps (one of two tubes), its arrays and trails."""
    scene = busy_scene(LINING, TUBE_SURFACE, SHEET)
    arrays = kernel_scene(scene)
    return scene, arrays, [photon_trails(arrays, lamp, 300, seed=SEED, case=1) for lamp in (0, 1)]


def counted(arrays, lamp, photon, case):
    """Arrivals of one photon of the run, by (face, side), until this case has ended."""
    cases, triangles = len(CASES), len(arrays.order)
    arrivals = np.zeros((2 * triangles, cases), np.int32)
    bodies = np.zeros((arrays.bodies, cases), np.int64)
    fates = np.zeros((FATES, cases), np.int64)
    tubes = arrays.lamp_tubes
    follow_photon(
        arrays.geometry, arrays.surfaces,
        tubes.first[lamp] + photon % tubes.number[lamp], lamp, np.uint64(photon), (1 << cases) - 1,
        *split_word(SEED), MAX_BOUNCES, arrivals, bodies, fates, new_scratch(),
    )  # fmt: skip
    rows = np.flatnonzero(arrivals[:, case])
    return Counter({(int(arrays.order[r // 2]), int(r % 2)): int(arrivals[r, case]) for r in rows})


def test_a_trail_takes_the_corners_of_the_run(busy):
    _, arrays, trails = busy
    compared = 0
    for lamp in (0, 1):
        for photon, trail in enumerate(trails[lamp]):
            wanted = counted(arrays, lamp, photon, case=1)
            way = [(f, s) for f, s in zip(trail.faces, trail.sides, strict=True) if f >= 0]
            hits = sum(wanted.values())
            if hits <= len(way):  # else the run lived on where the trail had become too faint
                assert Counter(way[:hits]) == wanted
                compared += hits
    assert compared > 800


def test_the_first_trails_are_those_asked_for(busy):
    _, arrays, trails = busy
    again = photon_trails(arrays, 1, 3, seed=SEED, case=1, first=5)
    for one, other in zip(again, trails[1][5:8], strict=True):
        assert np.array_equal(one.points, other.points)
    other_seed = photon_trails(arrays, 1, 3, seed=SEED + 1, case=1)
    assert not np.array_equal(other_seed[0].points[0], trails[1][0].points[0])


def test_trails_start_on_the_tubes_of_their_lamp_by_turns(busy):
    scene, _, trails = busy
    for lamp in (0, 1):
        tubes = [tube for tube in scene.tubes if tube.lamp == lamp]
        for photon, trail in enumerate(trails[lamp][:20]):
            tube = tubes[photon % len(tubes)]
            axis = (tube.end - tube.start) / np.linalg.norm(tube.end - tube.start)
            from_start = trail.points[0] - tube.start
            off = np.linalg.norm(from_start - (from_start @ axis) * axis)
            assert off == pytest.approx(tube.radius, rel=1e-9)


def test_corners_lie_on_their_faces_and_on_the_side_that_was_hit(busy):
    scene, _, trails = busy
    for trail in trails[0] + trails[1]:
        ways = np.diff(trail.points, axis=0)
        met = trail.faces >= 0
        normals, corners = scene.normals[trail.faces[met]], scene.corners[trail.faces[met], 0]
        off = np.einsum("ij,ij->i", trail.points[1:][met] - corners, normals)
        assert np.abs(off).max() < 1e-12
        towards = np.einsum("ij,ij->i", ways[met], normals)
        assert np.array_equal(towards > 0.0, trail.sides[met] == 1)


def test_power_falls_by_what_surfaces_send_back(busy):
    """Constant surfaces take their own share; no hit ever gives power back."""
    scene, _, trails = busy
    known = {}
    for k, part in enumerate(scene.parts):
        if not scene.surfaces[part.surface].is_fresnel:
            table = scene.surfaces[part.surface]
            known[k] = table.reflectance + table.transmittance
    checked = 0
    for trail in trails[0] + trails[1]:
        after = np.append(trail.power[1:], trail.left)
        assert trail.power[0] == 1.0
        assert np.all(after <= trail.power)
        assert np.all(trail.power >= FAINTEST)
        assert trail.left < FAINTEST or len(trail.power) == MOST_CORNERS
        for face, before, behind in zip(trail.faces, trail.power, after, strict=True):
            share = known.get(scene.face_part[face]) if face >= 0 else TUBE_SURFACE.reflectance
            if share is not None:
                assert behind / before == pytest.approx(share, rel=1e-12)
                checked += 1
    assert checked > 1000


def turned(trail, normals):
    """Directions before and after each hit on a face, and the normals towards what arrives."""
    ways = np.diff(trail.points, axis=0)
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    inner = np.flatnonzero(trail.faces[:-1] >= 0)
    n = normals[trail.faces[inner]] * np.where(trail.sides[inner] == 1, -1.0, 1.0)[:, None]
    return ways[inner], ways[inner + 1], n


def test_mirrors_reflect_by_the_law():
    scene = room(surface(0.9, specular=1.0), tube_surface=surface(0.0))
    hits = 0
    for trail in photon_trails(kernel_scene(scene), 0, 200, seed=SEED):
        before, after, n = turned(trail, scene.normals)
        wanted = before - 2.0 * np.einsum("ij,ij->i", before, n)[:, None] * n
        assert np.abs(after - wanted).max(initial=0.0) < 1e-12
        hits += len(n)
    assert hits > 1000


def cosines(scene, count):
    """Cosine of every way that leaves a face, to the normal on the side that was hit."""
    trails = photon_trails(kernel_scene(scene), 0, count, seed=SEED)
    return np.concatenate(
        [np.einsum("ij,ij->i", a, n) for _, a, n in (turned(t, scene.normals) for t in trails)]
    )


def test_diffusers_follow_lambert():
    """Mean cosine 2/3, and cosine squared evenly spread (Lambert's law)."""
    leaving = cosines(room(surface(0.85), tube_surface=surface(0.0)), 4000)
    assert leaving.min() > 0.0
    error = leaving.std() / np.sqrt(len(leaving))
    assert agrees(leaving.mean(), error, 2.0 / 3.0, catches=0.02)
    square = leaving**2
    assert agrees(square.mean(), square.std() / np.sqrt(len(square)), 0.5, catches=0.03)


def test_a_sheet_sends_light_both_ways_in_its_shares():
    """Also where the run would have absorbed the photon: 0.3 back and 0.2 through is 3 to 2."""
    sheet = surface(0.3, transmittance=(0.2, 0.2, 0.2))
    scene = busy_scene([surface(0.9)] * 5, surface(0.0), sheet)
    of_sheet = {k for k, part in enumerate(scene.parts) if part.two_sided}
    back = through = 0
    for trail in photon_trails(kernel_scene(scene), 0, 6000, seed=SEED):
        inner = [k for k in range(len(trail.faces) - 1) if trail.faces[k] >= 0]
        chosen = [k for k in inner if scene.face_part[trail.faces[k]] in of_sheet]
        for k in chosen:
            way = trail.points[k + 2] - trail.points[k + 1]
            side = scene.normals[trail.faces[k]] @ way > 0.0
            same = side == (trail.sides[k] == 0)
            back, through = back + same, through + (not same)
    share = back / (back + through)
    error = np.sqrt(share * (1.0 - share) / (back + through))
    assert agrees(share, error, 0.6, catches=0.06)


def test_power_ends_where_the_run_absorbs_it():
    """Absorbed shares of walls, ball, sheets and tubes, from weights here and from counts there."""
    scene = busy_scene(LINING, TUBE_SURFACE, SHEET)
    arrays, case, count = kernel_scene(scene), 1, 6000
    trails = photon_trails(arrays, 0, count, seed=SEED + 1, case=case)
    taken = np.zeros((count, len(scene.bodies)))
    for row, trail in zip(taken, trails, strict=True):
        lost = trail.power - np.append(trail.power[1:], trail.left)
        other = np.array(
            [scene.lamps[scene.tubes[-1 - f].lamp].body if f < 0 else 0 for f in trail.faces]
        )
        body = np.where(trail.faces >= 0, scene.face_body[trail.faces], other)
        np.add.at(row, body, lost)
        assert lost.sum() + trail.left == pytest.approx(1.0, abs=1e-12)
    run = PhotonRun(arrays, SEED + 2, threads=2)
    run.add_batches(60)
    wanted = run.bodies()[case, 0] / run.photons[0]
    left = np.mean([trail.left for trail in trails])
    assert left < FAINTEST
    for body in np.argsort(-wanted)[:5]:  # what is left at the end goes the same ways
        error = np.hypot(
            taken[:, body].std() / np.sqrt(count), np.sqrt(wanted[body] / run.photons[0])
        )
        assert agrees(
            taken[:, body].mean() + left * wanted[body], error, wanted[body], catches=0.15
        )
