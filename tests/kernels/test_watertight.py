"""No ray slips out of a closed mesh: counted over more than a million aimed at edges and corners.

Source of the method: Woop, Benthin, Wald, "Watertight ray/triangle intersection", JCGT 2(1)
(2013); Embree's own verification counts misses the same way.
"""

import numpy as np
import pytest
from built_scenes import box, icosphere
from ray_casting import cast


def bumpy(seed=1, subdivisions=4):
    """Closed star-shaped mesh about the origin with random radii from 0.5 to 1.5."""
    corners, _ = icosphere(1.0, subdivisions)
    points, where = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    radii = np.random.default_rng(seed).uniform(0.5, 1.5, len(points))
    return (points * radii[:, None])[where].reshape(-1, 3, 3)


def needles():
    """Closed box whose grid lines crowd about the middle: faces 50,000 times as long as wide."""
    corners = box(-1.0, 1.0, 30)
    corners[:, :, 0] = np.sign(corners[:, :, 0]) * np.abs(corners[:, :, 0]) ** 5
    return corners


MESHES = {
    "box": box(-1.0, 1.0, 6),
    "ball": icosphere(1.0, 4)[0],
    "bumpy": bumpy(),
    "needles": needles(),
}
# Scale, and shift in units of the mesh after scaling.
PLACES = [
    (1.0, (0.0, 0.0, 0.0)),
    (1e-3, (0.3, -0.2, 0.1)),
    (1e3, (0.1, 0.4, -0.3)),
    (0.1, (1e3, -2e3, 5e2)),
]


def aimed(corners, random, count):
    """Points on corners, on edges and anywhere on the faces of a mesh, a third each."""
    faces = corners[random.integers(len(corners), size=count)]
    weights = random.dirichlet(np.ones(3), count)
    third = count // 3
    weights[:third] = np.eye(3)[random.integers(3, size=third)]
    weights[third : 2 * third, 2] = 0.0
    weights[third : 2 * third, 0] = random.choice([0.5, 0.25, 1e-9, 0.3], third)
    weights[third : 2 * third, 1] = 1.0 - weights[third : 2 * third, 0]
    return (weights[:, :, None] * faces).sum(axis=1)


def rays_missed(corners, origins, towards, normalise):
    """How many rays from origins towards points meet nothing."""
    directions = towards - origins
    if normalise:
        directions = directions / np.linalg.norm(directions, axis=1)[:, None]
    distances, hits = cast(corners, origins, directions)
    return int((hits < 0).sum() + (~np.isfinite(distances)).sum())


def escaped(mesh, place, count):
    """How many of so many rays from within a mesh, aimed at its edges and corners, escape."""
    scale, shift = place
    corners = (MESHES[mesh] + np.array(shift)) * scale
    random = np.random.default_rng(3)
    centre = scale * np.array(shift)
    origins = centre + 0.1 * scale * random.uniform(-1.0, 1.0, (count, 3))
    origins[: count // 2] = centre
    targets = aimed(corners, random, count)
    # Not made unit vectors, more of them meet edges and corners to the last bit.
    missed = rays_missed(corners, origins[::2], targets[::2], normalise=True)
    return missed + rays_missed(corners, origins[1::2], targets[1::2], normalise=False)


@pytest.mark.parametrize("mesh", MESHES)
@pytest.mark.parametrize("place", PLACES, ids=["unit", "small", "large", "far off"])
def test_no_ray_from_inside_escapes(mesh, place):
    assert escaped(mesh, place, 90_000) == 0


def test_rays_through_corners_of_a_whole_numbered_grid_meet_them_exactly():
    # Everything is a small whole number, so that edge functions are exactly zero.
    corners = box(-4.0, 4.0, 8)
    points = np.unique(corners.reshape(-1, 3), axis=0)
    inner = np.stack(np.meshgrid(*[np.arange(-3.0, 4.0)] * 3, indexing="ij"), -1).reshape(-1, 3)
    origins, targets = np.repeat(inner, len(points), axis=0), np.tile(points, (len(inner), 1))
    distances, hits = cast(corners, origins, targets - origins)
    assert len(hits) > 130_000
    assert (hits >= 0).all()
    assert np.abs(distances - 1.0).max() < 1e-12


@pytest.mark.slow
@pytest.mark.parametrize("mesh", MESHES)
def test_no_ray_of_many_millions_escapes(mesh):
    assert sum(escaped(mesh, place, 3_000_000) for place in PLACES) == 0


@pytest.mark.parametrize("mesh", ["box", "ball", "bumpy"])
@pytest.mark.parametrize("place", [PLACES[0], PLACES[3]], ids=["unit", "far off"])
def test_no_ray_that_starts_on_a_face_escapes(mesh, place):
    # As photons start: somewhere on a face, which is passed over, towards any inner point.
    scale, shift = place
    corners = (MESHES[mesh] + np.array(shift)) * scale
    random = np.random.default_rng(4)
    count = 100_000
    faces = random.integers(len(corners), size=count)
    weights = random.dirichlet(np.ones(3), count)
    origins = (weights[:, :, None] * corners[faces]).sum(axis=1)
    towards = scale * (np.array(shift) + 0.3 * random.uniform(-1.0, 1.0, (count, 3)))
    directions = towards - origins
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    _, hits = cast(corners, origins, directions, skip=faces)
    assert (hits >= 0).all()
