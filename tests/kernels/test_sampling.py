"""Samplers: histograms against integrated densities, densities that integrate to one, inverses.

Method: chi-square of binned samples against the density (Mitsuba's practice); a distortion of 1 %
would be seen with a probability of 0.975 at a false alarm of 1e-6.
"""

import inverses
import numpy as np
import pytest
from agreement import fits
from scipy import integrate

from raysim.kernels import sampling
from raysim.kernels.compile import kernel

SAMPLES = 2_000_000


@kernel
def _directions(u, out):
    for i in range(len(u)):
        out[i, 0], out[i, 1], out[i, 2] = sampling.square_to_cosine_hemisphere(u[i, 0], u[i, 1])


@kernel
def _triangle(u, out):
    for i in range(len(u)):
        out[i, 0], out[i, 1] = sampling.square_to_triangle(u[i, 0], u[i, 1])


@kernel
def _cylinder(u, length, out):
    for i in range(len(u)):
        out[i, 0], out[i, 1] = sampling.square_to_cylinder(u[i, 0], u[i, 1], length)


@kernel
def _seen(u, axial0, distance, radius, length, out):
    for i in range(len(u)):
        axial, cosine, sine, density = sampling.square_to_seen_cylinder(
            u[i, 0], u[i, 1], axial0, distance, radius, length
        )
        out[i, 0], out[i, 1], out[i, 2] = axial, np.arctan2(sine, cosine), density
        out[i, 3] = cosine * cosine + sine * sine


def uniform_square(seed=1, count=SAMPLES):
    """Points of the unit square, (count, 2)."""
    return np.random.default_rng(seed).random((count, 2))


def binned(x, y, bins, ranges):
    """Counts in a grid; every sample must lie in it."""
    counts = np.histogram2d(x, y, bins, ranges)[0]
    assert counts.sum() == len(x)
    return counts


def test_cosine_hemisphere_follows_its_density():
    out = np.empty((SAMPLES, 3))
    _directions(uniform_square(), out)
    assert np.abs(np.linalg.norm(out, axis=1) - 1.0).max() < 1e-12
    edges = np.linspace(0.0, 1.0, 13)
    # Integral of cos / pi over a ring of cosines: difference of cos^2; the turn is even.
    rings = edges[1:] ** 2 - edges[:-1] ** 2
    turn = np.arctan2(out[:, 1], out[:, 0])
    counts = binned(out[:, 2], turn, (12, 16), ((0.0, 1.0), (-np.pi, np.pi)))
    assert fits(counts, np.outer(rings, np.full(16, 1 / 16)))


def test_triangle_follows_its_density():
    out = np.empty((SAMPLES, 2))
    _triangle(uniform_square(2), out)
    assert (out >= 0.0).all()
    assert (out.sum(axis=1) <= 1.0).all()
    # Cells of the barycentric grid: whole squares of it hold 2 / n^2, halved ones 1 / n^2.
    n = 12
    counts = binned(out[:, 0], out[:, 1], (n, n), ((0.0, 1.0), (0.0, 1.0)))
    i, j = np.indices((n, n))
    share = np.where(i + j < n - 1, 2.0, np.where(i + j == n - 1, 1.0, 0.0)) / n**2
    inside = share > 0.0
    assert (counts[~inside] == 0).all()
    assert fits(counts[inside], share[inside])


def test_cylinder_follows_its_density():
    out = np.empty((SAMPLES, 2))
    _cylinder(uniform_square(3), 0.7, out)
    counts = binned(out[:, 0], out[:, 1], (10, 16), ((0.0, 0.7), (0.0, 2.0 * np.pi)))
    assert fits(counts, np.full(160, 1 / 160))


# Viewer's axial coordinate, distance, radius, length: beside the middle, close to the glass,
# beyond an end, far away.
VIEWS = [
    (0.15, 0.10, 0.013, 0.36),
    (0.30, 0.0135, 0.013, 0.36),
    (-0.20, 0.05, 0.02, 0.36),
    (0.10, 3.0, 0.008, 0.20),
]


def seen_density(axial, angle, view):
    """Density of `square_to_seen_cylinder` per m2: cube of the cosine along, cosine across."""
    axial0, distance, radius, length = view
    across2 = distance**2 + radius**2 - 2.0 * distance * radius * np.cos(angle)
    across = np.sqrt(across2)
    spread = np.sin(np.arctan((length - axial0) / across)) + np.sin(np.arctan(axial0 / across))
    along = np.cos(np.arctan((axial - axial0) / across)) ** 3 / (across * spread)
    return along * np.cos(angle) / (2.0 * np.sin(np.arccos(radius / distance)) * radius)


@pytest.mark.parametrize("view", VIEWS)
def test_seen_cylinder_follows_its_density(view):
    axial0, distance, radius, length = view
    out = np.empty((SAMPLES, 4))
    _seen(uniform_square(4), *view, out)
    assert np.abs(out[:, 3] - 1.0).max() < 1e-12
    half = np.arccos(radius / distance)
    assert ((out[:, 0] >= -1e-12) & (out[:, 0] <= length * (1.0 + 1e-12))).all()
    # Everything chosen faces the viewer, and the density returned is the density.
    assert (distance * np.cos(out[:, 1]) >= radius * (1.0 - 1e-12)).all()
    density = seen_density(out[:, 0], out[:, 1], view)
    assert np.abs(out[:, 2] / density - 1.0).max() < 1e-9
    middle = np.clip(axial0, 0.1 * length, 0.9 * length)
    width = np.clip(distance, 0.02 * length, 0.2 * length)
    z = np.unique(
        np.clip(middle + width * np.array([-99, -2, -1, -0.5, 0, 0.5, 1, 2, 99]), 0, length)
    )
    a = np.linspace(-half, half, 9)
    nodes, weights = np.polynomial.legendre.leggauss(40)
    zz = 0.5 * (z[:-1, None] + z[1:, None]) + 0.5 * np.diff(z)[:, None] * nodes
    aa = 0.5 * (a[:-1, None] + a[1:, None]) + 0.5 * np.diff(a)[:, None] * nodes
    values = seen_density(zz[:, None, :, None], aa[None, :, None, :], view)
    cell = np.einsum("ijkl,k,l->ij", values, weights, weights)
    cell *= 0.25 * np.outer(np.diff(z), np.diff(a)) * radius
    assert cell.sum() == pytest.approx(1.0, abs=1e-9)
    counts = np.histogram2d(np.clip(out[:, 0], 0, length), out[:, 1], (z, a))[0]
    assert counts.sum() == SAMPLES
    enough = cell.ravel() > 1e-4
    rest = ~enough
    grouped = [*counts.ravel()[enough]], [*cell.ravel()[enough]]
    if rest.any():
        grouped[0].append(counts.ravel()[rest].sum())
        grouped[1].append(cell.ravel()[rest].sum())
    assert fits(*grouped)


def test_densities_integrate_to_one():
    def lobe(angle):
        return inverses.cosine_hemisphere_density(0.0, 0.0, np.cos(angle)) * np.sin(angle)

    assert 2.0 * np.pi * integrate.quad(lobe, 0.0, np.pi)[0] == pytest.approx(1.0, abs=1e-9)
    assert inverses.triangle_density(0.04) * 0.04 == pytest.approx(1.0, rel=1e-15)
    side = 2.0 * np.pi * 0.013 * 0.36
    assert inverses.cylinder_density(0.36, 0.013) * side == pytest.approx(1.0, rel=1e-15)


def test_inverses_lead_back():
    for u, v in uniform_square(5, 2_000):
        direction = sampling.square_to_cosine_hemisphere(u, v)
        assert inverses.cosine_hemisphere_to_square(*direction) == pytest.approx((u, v), abs=1e-9)
        weights = sampling.square_to_triangle(u, v)
        assert inverses.triangle_to_square(*weights) == pytest.approx((u, v), abs=1e-12)
        place = sampling.square_to_cylinder(u, v, 0.7)
        assert inverses.cylinder_to_square(*place, 0.7) == pytest.approx((u, v), abs=1e-12)


def test_extreme_numbers_give_finite_directions_above_the_surface():
    for u in (2.0**-33, 0.5, 1.0 - 2.0**-33):
        for v in (2.0**-33, 0.25, 0.5, 1.0 - 2.0**-33):
            x, y, z = sampling.square_to_cosine_hemisphere(u, v)
            assert z > 0.0
            assert np.hypot(np.hypot(x, y), z) == pytest.approx(1.0, abs=1e-12)
            for view in VIEWS:
                assert np.isfinite(sampling.square_to_seen_cylinder(u, v, *view)).all()
