"""Slits and labyrinths in cross-section, against closed forms and photons followed one by one."""

import math

import numpy as np
import pytest
from agreement import agrees

from raysim.scene.rabbet import closing_step
from raysim.studies.leak.passage import (
    cut,
    lines_through,
    straight,
    two_bends,
    view_factors,
    wall_radiosity,
)

WIDTH, DEPTH, STEP = 0.003, 0.018, 0.009


def transmitted_share(strips, reflectance):
    """Share of the light through the inner opening that comes out at the outer one.

    By reciprocity of view factors; openings are as wide as one another.
    """
    radiosity = wall_radiosity(strips, reflectance)
    outer = slice(*strips.first[strips.passage.outer :][:2])
    return float((view_factors(strips)[outer] @ radiosity).mean())


def test_rows_of_view_factors_add_up_and_are_reciprocal():
    for passage in (straight(WIDTH, DEPTH), two_bends(WIDTH, DEPTH, STEP)):
        strips = cut(passage)
        f = view_factors(strips)
        assert f.sum(axis=1) == pytest.approx(np.ones(len(f)), abs=1e-12)
        lengths = np.linalg.norm(passage.ends - passage.corners, axis=1)
        size = np.repeat(lengths / np.diff(strips.first), np.diff(strips.first))
        flow = size[:, None] * f
        assert np.abs(flow - flow.T).max() < 2e-3 * flow.max()


def test_a_passage_turned_half_round_is_the_same():
    """So that view factors from one half of the edges are those from the other."""
    for passage in (straight(WIDTH, DEPTH), two_bends(WIDTH, DEPTH, STEP)):
        corners, half = passage.corners, len(passage.corners) // 2
        turned = corners.min(axis=0) + corners.max(axis=0) - corners
        assert turned == pytest.approx(np.roll(corners, half, axis=0), abs=1e-12)
        assert passage.inner == (passage.outer + half) % (2 * half)


@pytest.mark.parametrize("ratio", [0.5, 2.0, 6.0, 20.0])
def test_black_slit_is_the_view_factor_of_two_facing_strips(ratio):
    """F = sqrt(1 + (D/w)^2) - D/w (Hottel's crossed strings; Howell catalogue C-1)."""
    expected = math.hypot(1.0, ratio) - ratio
    found = transmitted_share(cut(straight(WIDTH, ratio * WIDTH)), 0.0)
    assert found == pytest.approx(expected, rel=0.01)


def test_white_slit_lets_everything_out_one_way_or_the_other():
    """Walls that lose nothing: all radiosities lie between the openings', mirrored about 1/2."""
    strips = cut(straight(WIDTH, 6 * WIDTH))
    wall = wall_radiosity(strips, 1.0)[strips.first[0] : strips.first[1]]
    assert np.all(np.diff(wall) < 0.0)
    assert wall + wall[::-1] == pytest.approx(np.ones(len(wall)), abs=2e-3)


def test_black_labyrinth_lets_nothing_through():
    assert transmitted_share(cut(two_bends(WIDTH, DEPTH, STEP)), 0.0) == 0.0


# A photon on the first bend (edge 1), and one on the second (edges 4 and 5) right after it,
# becomes so many, each with its share of the weight.
SPLIT = ({1: 4}, {4: 8, 5: 8})


def edge_met(ends, at, place, d):
    """Edge that each photon at `place` on edge `at` meets in direction `d`, and how far off."""
    nearest, hit = np.full(len(at), np.inf), np.full(len(at), -1)
    for k, (p, q) in enumerate(ends):
        normal = np.array([-(q - p)[1], (q - p)[0]])
        with np.errstate(divide="ignore", invalid="ignore"):
            s = ((p - place) @ normal) / (d @ normal)
        within = ((place + s[:, None] * d - p) @ (q - p)) / ((q - p) @ (q - p))
        ok = (at != k) & (s > 0) & (s < nearest) & (within >= 0) & (within <= 1)
        nearest[ok], hit[ok] = s[ok], k
    return hit, nearest


def shares_out(ends, outer, at, place, rng):
    """Chance that light leaving each place after Lambert's law goes straight out, by one ray each.

    A point of the outer opening is looked at: cos cos' w / (2 r), 0 where a wall is in the way.
    """
    p, q = ends[outer]
    to = p + rng.random(len(at))[:, None] * (q - p) - place
    r = np.linalg.norm(to, axis=1)
    d = to / r[:, None]
    t = np.array([(b - a) / np.linalg.norm(b - a) for a, b in ends])
    n = np.stack([-t[:, 1], t[:, 0]], axis=1)
    cosines = (d * n[at]).sum(axis=1).clip(0.0) * (-(d @ n[outer])).clip(0.0)
    hit, _ = edge_met(ends, at, place, d)
    return np.where(hit == outer, cosines * np.linalg.norm(q - p) / (2.0 * r), 0.0)


def photons_through(passage, reflectance: float, count: int, seed: int) -> tuple[float, float]:
    """Share of photons that reach the outer opening, and its standard error.

    Each photon starts on the inner opening after Lambert's law,
    keeps a weight that shrinks by the reflectance, and scatters after Lambert's law in the plane;
    wherever it lies, the share of it that goes straight out is counted; on the bends it is split.
    Written apart from the strips: plane by plane, no tables.
    """
    rng = np.random.default_rng(seed)
    ends = [(p, q) for p, q in zip(passage.corners, np.roll(passage.corners, -1, 0), strict=True)]
    tangents = np.array([(b - a) / np.linalg.norm(b - a) for a, b in ends])
    normals = np.stack([-tangents[:, 1], tangents[:, 0]], axis=1)
    p, q = ends[passage.inner]
    place = p + rng.random(count)[:, None] * (q - p)
    at, weight = np.full(count, passage.inner), np.ones(count)
    ancestor, out = np.arange(count), np.zeros(count)
    least = 1e-6 * reflectance**2  # what is cut off adds up to below 1e-3 of the share
    for bounce in range(60):
        np.add.at(out, ancestor, weight * shares_out(ends, passage.outer, at, place, rng))
        sine = 2.0 * rng.random(len(at)) - 1.0
        d = sine[:, None] * tangents[at] + np.sqrt(1.0 - sine**2)[:, None] * normals[at]
        hit, nearest = edge_met(ends, at, place, d)
        on = (hit >= 0) & (hit != passage.outer) & (hit != passage.inner)
        on &= reflectance * weight > least
        copies = np.ones(len(hit), int)
        if bounce < len(SPLIT) and len(ends) > 4:
            for edge, number in SPLIT[bounce].items():
                copies[hit == edge] = number
        chosen = np.repeat(np.flatnonzero(on), copies[on])
        place = place[chosen] + nearest[chosen, None] * d[chosen]
        weight = reflectance * weight[chosen] / copies[chosen]
        at, ancestor = hit[chosen], ancestor[chosen]
        if not len(at):
            break
    return float(out.mean()), float(out.std() / math.sqrt(count))


@pytest.mark.parametrize(
    ("passage", "reflectance", "photons", "catches"),
    [
        (straight(WIDTH, DEPTH), 0.6, 200_000, 0.02),
        (two_bends(WIDTH, DEPTH, STEP), 0.6, 100_000, 0.06),
        pytest.param(two_bends(WIDTH, DEPTH, STEP), 0.05, 800_000, 0.05, marks=pytest.mark.slow),
    ],
)
def test_strips_agree_with_photons(passage, reflectance, photons, catches):
    """Also where the share is tiny: two bends with nearly black walls, 3e-6 of the light.

    tests/physics/test_leak.py has such a labyrinth as a mesh.
    """
    mean, error = photons_through(passage, reflectance, photons, 5)
    found = transmitted_share(cut(passage), reflectance)
    assert agrees(mean, error, found, catches)


def test_narrow_step_is_refused():
    with pytest.raises(ValueError, match="open from front to back"):
        two_bends(WIDTH, DEPTH, 0.5 * WIDTH)


def area(corners):
    x, y = corners.T
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))


@pytest.mark.parametrize("step", [None, 0.004, 0.005, 0.0059])
def test_lines_through_are_those_that_meet_no_wall(step):
    """By many lines drawn from opening to opening, against the area of the polygon."""
    width, depth = 0.004, 0.020
    passage = straight(width, depth) if step is None else two_bends(width, depth, step)
    rng = np.random.default_rng(1)
    inner, outer = width * (rng.random((2, 40_000)) - 0.5)
    outer += step or 0.0
    b = inner + np.linspace(0.0, 1.0, 401)[:, None] * (outer - inner)
    a = np.linspace(0.0, depth, 401)[:, None]
    h = 0.5 * width
    low = np.where(a < 0.5 * depth + h, -h, (step or 0.0) - h)
    high = np.where(a > 0.5 * depth - h, (step or 0.0) + h, h)
    share = ((b >= low) & (b <= high)).all(axis=0).mean()
    error = np.sqrt(share * (1.0 - share) / 40_000)
    found = area(lines_through(passage)) / width**2
    assert abs(found - share) <= 4.0 * error + 0.02 * share


def test_from_the_closing_step_on_no_line_leads_through():
    closed = closing_step(0.004, 0.020)
    assert len(lines_through(two_bends(0.004, 0.020, 0.999 * closed)))
    assert not len(lines_through(two_bends(0.004, 0.020, 1.001 * closed)))
