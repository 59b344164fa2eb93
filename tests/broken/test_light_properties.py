"""Surfaces and shapes at random: none sends back more than arrives, and no photon is lost."""

import numpy as np
import pytest
from built_scenes import Lamp, Piece, box, icosphere, rectangle, scene_of, smooth, surface
from hypothesis import assume, given
from hypothesis import strategies as st
from profiles import MANY, examples
from pydantic import ValidationError

from raysim.kernels.fresnel import fresnel_reflectance
from raysim.kernels.hierarchy import build_tree
from raysim.kernels.probe import first_hits
from raysim.kernels.records import ESCAPED, LOST, NOT_FINITE
from raysim.kernels.surfaces import ABSORBED, REFLECTED, TRANSMITTED, case_fate
from raysim.scene.file.written import SurfaceTable
from raysim.scene.mesh.enclosure import signed_volume, wall_astray, winding_numbers
from raysim.scene.place import turning
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.photons import PhotonRun

SHARES = st.floats(0.0, 1.0)
ANGLES = st.tuples(*[st.floats(-180.0, 180.0)] * 3)
NO_TUBES = np.zeros((0, 8))


@given(cosine=SHARES, index=st.floats(1e-6, 10.0), extinction=st.floats(0.0, 20.0))
@examples(150)
def test_fresnel_sends_back_no_more_than_arrives(cosine, index, extinction):
    found = fresnel_reflectance(cosine, index, extinction)
    assert -1e-12 <= found <= 1.0 + 1e-12


@given(keys=st.fixed_dictionaries({}, optional={
    "reflectance": SHARES, "reflectance_low": SHARES, "reflectance_high": SHARES,
    "specular": SHARES, "transmittance": SHARES,
    "refractive_index": st.floats(1e-3, 10.0), "extinction": st.floats(0.0, 20.0),
}))  # fmt: skip
@examples(150)
def test_a_surface_table_is_refused_or_sends_back_no_more_than_arrives(keys):
    try:
        found = SurfaceTable.model_validate(keys).surface()
    except ValidationError:
        return
    assert 0.0 <= found.reflectance_low <= found.reflectance <= found.reflectance_high <= 1.0
    assert found.reflectance_high + found.transmittance_high <= 1.0
    assert 0.0 <= found.specular <= 1.0


@given(reflectance=SHARES, share=SHARES, u=st.floats(0.0, 1.0, exclude_max=True))
@examples(150)
def test_light_is_absorbed_reflected_or_let_through_in_these_shares(reflectance, share, u):
    """The unit interval falls into three pieces, whose lengths are the shares (definition)."""
    transmittance = share * (1.0 - reflectance)
    fate = case_fate(reflectance, transmittance, u)
    expected = ABSORBED
    if u < reflectance:
        expected = REFLECTED
    elif u > 1.0 - transmittance:
        expected = TRANSMITTED
    assert fate == expected


@st.composite
def surfaces(draw):
    """A surface of the tests: a constant with its three cases, or a smooth face."""
    if draw(st.booleans()):
        low, expected, high = sorted(draw(SHARES) for _ in range(3))
        return surface(low, expected, high, specular=draw(SHARES))
    return smooth(draw(st.floats(0.05, 5.0)), draw(st.floats(0.0, 10.0)))


@st.composite
def rooms(draw):
    """A closed room of any size, turned and moved, with a ball, a sheet and a tube in it."""
    size = np.array(draw(st.tuples(*[st.floats(0.1, 3.0)] * 3)))
    turn, shift = turning(draw(ANGLES)), np.array(draw(st.tuples(*[st.floats(-50.0, 50.0)] * 3)))
    detail = draw(st.integers(1, 3))

    def moved(corners):
        return np.ascontiguousarray(corners * size @ turn.T + shift)

    ball, _ = icosphere(0.12, 1, (0.3, 0.3, 0.3))
    sheet = rectangle((0.55, 0.1, 0.1), (0.3, 0.1, 0.0), (0.0, 0.1, 0.5), detail)
    ends = [size * np.array(end) @ turn.T + shift for end in ((0.2, 0.8, 0.7), (0.8, 0.8, 0.8))]
    radius = 0.05 * draw(st.floats(0.01, 1.0)) * float(size.min())
    pieces = [
        Piece(moved(box(0.0, 1.0, detail)), draw(surfaces())),
        Piece(moved(ball), draw(surfaces())),
        Piece(moved(sheet), draw(surfaces()), two_sided=True),
    ]
    return scene_of(pieces, [Lamp(((*ends, radius),), 5.0, draw(surfaces()))])


def _energy(scene, seed: int) -> None:
    run = PhotonRun(kernel_scene(scene), seed, 2, batch_photons=1024, max_bounces=2_000)
    run.add_batches(2)
    account = run.bodies().sum(axis=2) + run.fates().sum(axis=2)
    assert (account == run.photons).all()
    assert (run.fates()[:, :, [ESCAPED, NOT_FINITE]] == 0).all()
    # Only what a nearly lossless room keeps for two thousand bounces may be left over.
    brightest = max(s.reflectance_high for s in scene.surfaces)
    if brightest < 0.99 and not any(s.is_fresnel for s in scene.surfaces):
        assert (run.fates()[:, :, LOST] == 0).all()


@given(scene=rooms(), seed=st.integers(0, 2**64 - 1))
@examples(15)
def test_every_photon_of_a_random_room_is_accounted_for(scene, seed):
    _energy(scene, seed)


@pytest.mark.slow
@given(scene=rooms(), seed=st.integers(0, 2**64 - 1))
@examples(30 * MANY)
def test_every_photon_of_many_random_rooms_is_accounted_for(scene, seed):
    _energy(scene, seed)


def nearest_by_hand(corners, origin, direction) -> float:
    """Distance to the first of some triangles, by plain linear algebra; inf for none."""
    a, b, c = np.moveaxis(corners, 1, 0)
    matrix = np.stack([np.broadcast_to(-direction, a.shape), b - a, c - a], axis=2)
    solvable = np.abs(np.linalg.det(matrix)) > 1e-12
    t, u, v = np.linalg.solve(matrix[solvable], (origin - a[solvable])[..., None])[..., 0].T
    hit = (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (t > 0.0)
    return float(t[hit].min()) if hit.any() else np.inf


@given(seed=st.integers(0, 2**32 - 1), count=st.integers(1, 60), scale=st.floats(1e-3, 1e3))
@examples(25)
def test_first_hits_are_those_of_plain_algebra(seed, count, scale):
    rng = np.random.default_rng(seed)
    corners = scale * rng.random((count, 3, 3))
    nodes, blocks, _ = build_tree(corners)
    origins = scale * rng.random((20, 3))
    directions = rng.normal(size=(20, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    found, hits = first_hits(
        nodes, blocks, NO_TUBES, count, origins, directions, np.full(20, np.inf)
    )
    found = np.where(hits >= 0, found, np.inf) / scale
    expected = [
        nearest_by_hand(corners / scale, o / scale, d)
        for o, d in zip(origins, directions, strict=True)
    ]
    assert found == pytest.approx(np.array(expected), rel=1e-9, abs=1e-9)


@given(
    turn=ANGLES,
    size=st.tuples(*[st.floats(0.01, 10.0)] * 3),
    point=st.tuples(*[st.floats(-1.0, 2.0)] * 3),
)
@examples(40)
def test_a_closed_box_goes_once_round_what_is_in_it(turn, size, point):
    assume(all(min(abs(x), abs(x - 1.0)) > 1e-3 for x in point))
    corners = box(0.0, 1.0) * np.array(size) @ turning(turn).T
    at = np.array(point) * np.array(size) @ turning(turn).T
    inside = all(0.0 < x < 1.0 for x in point)
    assert -winding_numbers(at[None], corners)[0] == pytest.approx(float(inside), abs=1e-9)
    assert signed_volume(corners) == pytest.approx(-np.prod(size), rel=1e-9)
    assert wall_astray(corners) is None
    assert wall_astray(corners[:, ::-1]) is not None


@given(turn=ANGLES, shift=st.tuples(*[st.floats(0.1, 0.7)] * 3))
@examples(6)
def test_two_boxes_that_cut_each_other_are_astray(turn, shift):
    one = box(0.0, 1.0, 2) @ turning(turn).T
    assert wall_astray(np.concatenate([one, one + np.array(shift) @ turning(turn).T])) is not None
