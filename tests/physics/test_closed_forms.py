"""The closed forms themselves, by plain quadrature: no trust in memory."""

import numpy as np
import pytest
from closed_forms import (
    coaxial_discs,
    element_to_sphere,
    fresnel,
    half_tube,
    line_irradiance,
    parallel_rectangles,
    perpendicular_rectangles,
    rectangles_at_right_angle,
    sphere_to_disc,
    tube_irradiance,
    tube_on_plate,
)

STEPS = 400


def middles(low, high, steps=STEPS):
    """Midpoints and width of equal steps."""
    width = (high - low) / steps
    return low + width * (np.arange(steps) + 0.5), width


def exchange(points, normals, weights, at, facing):
    """View factor from an element to a patchwork of elements: sum of cos cos dA / (pi r^2)."""
    way = points - at
    distance = np.linalg.norm(way, axis=-1)
    arriving = np.maximum(way @ facing, 0.0)
    leaving = np.maximum(-(way * normals).sum(axis=-1), 0.0)
    return (weights * arriving * leaving / distance**4).sum() / np.pi


def mantle(radius, length):
    """Points, normals and areas of the elements of a tube along z from 0 to `length`."""
    phi, dphi = middles(0.0, 2.0 * np.pi)
    z, dz = middles(0.0, length)
    phi, z = (a.ravel() for a in np.meshgrid(phi, z))
    normals = np.stack([np.cos(phi), np.sin(phi), np.zeros_like(z)], axis=1)
    points = normals * radius + np.stack([0 * z, 0 * z, z], axis=1)
    return points, normals, np.full(len(z), radius * dphi * dz)


def test_the_half_tube_is_the_integral_over_its_mantle():
    for distance, length in ((0.03, 0.05), (0.05, 0.36), (0.2, 0.1)):
        points, normals, weights = mantle(0.013, length)
        facing = np.array([-1.0, 0.0, 0.0])
        summed = exchange(points, normals, weights, np.array([distance, 0.0, 0.0]), facing)
        assert half_tube(distance, 0.013, length) == pytest.approx(summed, rel=2e-4)


def test_tube_on_plate_is_the_integral_over_the_mantle():
    radius, length, power = 0.013, 0.3, 4.0
    points, normals, weights = mantle(radius, length)
    exitance = power / (2.0 * np.pi * radius * length)
    for across, along, height in ((0.04, 0.1, 0.02), (0.1, -0.05, 0.05), (0.0, 0.35, 0.03)):
        at = np.array([-height, across, along])
        summed = exitance * exchange(points, normals, weights, at, np.array([1.0, 0.0, 0.0]))
        got = tube_on_plate(power, radius, length, across, along, height)
        assert got == pytest.approx(summed, rel=3e-4)


def test_a_thin_tube_is_the_line_of_keitz():
    along = np.array([-0.1, 0.05, 0.18, 0.5])
    line = line_irradiance(4.9, 0.36, 0.3, along)
    assert tube_irradiance(4.9, 1e-6, 0.36, 0.3, along) == pytest.approx(line, rel=1e-5)


def test_an_element_sees_a_sphere_that_its_horizon_cuts():
    ratio = 1.5
    theta, step = middles(0.0, np.arcsin(1.0 / ratio), 2000)  # about the line to the centre
    phi, turn = middles(0.0, 2.0 * np.pi, 2000)
    for cosine in (-0.5, -0.2, 0.0, 0.3, 0.66, 0.7, 1.0):
        sine = np.sqrt(1.0 - cosine**2)
        upward = np.cos(theta)[:, None] * cosine
        upward = upward + np.sin(theta)[:, None] * np.cos(phi)[None] * sine
        summed = (np.maximum(upward, 0.0) * np.sin(theta)[:, None]).sum() * step * turn / np.pi
        assert element_to_sphere(cosine, ratio) == pytest.approx(summed, abs=2e-6)


def test_the_cube_has_its_published_factors():
    # Opposite 0.1998, adjacent 0.2000: Incropera ch. 13, from its charts and formulas.
    opposite = parallel_rectangles((0, 1), (0, 1), (0, 1), (0, 1), 1.0)
    adjacent = perpendicular_rectangles(1.0, 1.0, 1.0)
    assert round(opposite, 4) == 0.1998
    assert round(adjacent, 4) == 0.2000
    assert opposite + 4.0 * adjacent == pytest.approx(1.0, abs=1e-12)


def test_a_box_sends_everything_somewhere():
    a, b, c = 0.3, 0.7, 1.1
    floor = parallel_rectangles((0, a), (0, b), (0, a), (0, b), c)
    floor += 2.0 * perpendicular_rectangles(b, c, a) + 2.0 * perpendicular_rectangles(a, c, b)
    assert floor == pytest.approx(1.0, abs=1e-12)


def test_unequal_parallel_rectangles_by_quadrature():
    x, dx = middles(0.0, 1.0, 60)
    y, dy = middles(0.0, 0.5, 60)
    u, du = middles(0.2, 0.9, 60)
    v, dv = middles(-0.3, 0.1, 60)
    x, y, u, v = np.meshgrid(x, y, u, v, indexing="ij", sparse=True)
    summed = (0.16 / (np.pi * ((x - u) ** 2 + (y - v) ** 2 + 0.16) ** 2)).sum()
    summed *= dx * dy * du * dv / 0.5
    got = parallel_rectangles((0, 1), (0, 0.5), (0.2, 0.9), (-0.3, 0.1), 0.4)
    assert got == pytest.approx(summed, rel=1e-4)


def test_rectangles_at_right_angle_anywhere_by_quadrature():
    x, dx = middles(0.1, 0.5, 60)
    y, dy = middles(0.0, 0.4, 60)
    v, dv = middles(0.2, 0.9, 60)
    z, dz = middles(0.05, 0.6, 60)
    x, y, v, z = np.meshgrid(x, y, v, z, indexing="ij", sparse=True)
    summed = (x * z / (np.pi * (x**2 + (y - v) ** 2 + z**2) ** 2)).sum()
    summed *= dx * dy * dv * dz / (0.4 * 0.4)
    got = rectangles_at_right_angle((0.1, 0.5), (0.0, 0.4), (0.2, 0.9), (0.05, 0.6))
    assert got == pytest.approx(summed, rel=3e-4)
    edge = rectangles_at_right_angle((0.0, 0.3), (0.0, 0.6), (0.0, 0.6), (0.0, 0.8))
    assert edge == pytest.approx(perpendicular_rectangles(0.3, 0.8, 0.6), rel=1e-12)


def test_discs_and_spheres_in_their_limits():
    # A small disc sees a coaxial one as an element: r^2 / (r^2 + h^2) (Howell B-12, from memory).
    assert coaxial_discs(1e-5, 0.3, 0.4) == pytest.approx(0.36, rel=1e-6)
    r, dr = middles(0.0, 0.25, 2000)
    element = 0.5 * (
        1 + (0.3**2 - r**2 - 0.4**2) / np.sqrt((0.3**2 + r**2 + 0.4**2) ** 2 - 4 * 0.3**2 * r**2)
    )
    summed = (element * 2.0 * r * dr).sum() / 0.25**2
    assert coaxial_discs(0.25, 0.3, 0.4) == pytest.approx(summed, rel=1e-6)
    # The flux of an isotropic source through a disc is its solid angle over 4 pi.
    angle = 2.0 * np.pi * (1.0 - 0.4 / 0.5)
    assert sphere_to_disc(0.3, 0.4) == pytest.approx(angle / (4.0 * np.pi), rel=1e-12)


def test_fresnel_is_the_textbook_value_at_normal_incidence():
    n, k = 1.3254, 1.3921  # silver, Johnson and Christy 1972
    expected = ((n - 1.0) ** 2 + k**2) / ((n + 1.0) ** 2 + k**2)
    assert fresnel(1.0, n, k) == pytest.approx(expected, rel=1e-12)
    # No p-polarised light comes back at Brewster's angle: half of what s gives.
    brewster = np.cos(np.arctan(1.5))
    s = ((1.5**2 - 1.0) / (1.5**2 + 1.0)) ** 2
    assert fresnel(brewster, 1.5) == pytest.approx(0.5 * s, rel=1e-9)
