"""Closed forms of radiative transfer that the tracer is held against, each with its source.

They share no code with the package. `test_closed_forms.py` checks each by plain quadrature.
"""

import numpy as np


def parallel_rectangles(x, y, xi, eta, z):
    """View factor from a rectangle to a parallel one, of any sizes and places.

    Corners x = (x1, x2), y = (y1, y2) of the first, xi, eta of the second; z apart.

    Source: Howell, A Catalog of Radiation Heat Transfer Configuration Factors, C-13 (from memory).
    """
    total = 0.0
    for i in range(2):
        for j in range(2):
            for k in range(2):
                for m in range(2):
                    a, b = x[i] - xi[k], y[j] - eta[m]
                    p, q = np.hypot(a, z), np.hypot(b, z)
                    g = b * p * np.arctan(b / p) + a * q * np.arctan(a / q)
                    g -= 0.5 * z * z * np.log(a * a + b * b + z * z)
                    total += (-1) ** (i + j + k + m) * g / (2.0 * np.pi)
    return total / ((x[1] - x[0]) * (y[1] - y[0]))


def perpendicular_rectangles(width, height, common):
    """View factor from a rectangle (width x common) to one (height x common) at a right angle.

    Source: Incropera, Fundamentals of Heat and Mass Transfer, table 13.2; Howell C-14 (from
    memory).
    """
    w, h = width / common, height / common
    d = w * w + h * h
    log = np.log((1 + w * w) * (1 + h * h) / (1 + d))
    log += w * w * np.log(w * w * (1 + d) / ((1 + w * w) * d))
    log += h * h * np.log(h * h * (1 + d) / ((1 + h * h) * d))
    arcs = w * np.arctan(1 / w) + h * np.arctan(1 / h) - np.sqrt(d) * np.arctan(1 / np.sqrt(d))
    return (arcs + 0.25 * log) / (np.pi * w)


def rectangles_at_right_angle(x, y, eta, xi):
    """View factor from a level rectangle to an upright one in the plane x = 0, of any places.

    First x = (x1, x2), y = (y1, y2) at z = 0, with 0 <= x1; second eta = (y1, y2), xi = (z1, z2).

    Source: Howell, A Catalog of Radiation Heat Transfer Configuration Factors, C-15 (from memory).
    """
    total = 0.0
    for i in range(2):
        for j in range(2):
            for k in range(2):
                for m in range(2):
                    r2, b = x[i] ** 2 + xi[m] ** 2, y[j] - eta[k]
                    r = np.sqrt(np.maximum(r2, 1e-60))  # limits at r = 0 and r = b = 0 are finite
                    g = b * r * np.arctan(b / r)
                    g = g - 0.25 * (r2 - b * b) * np.log(np.maximum(r2 + b * b, 1e-60))
                    total += (-1) ** (i + j + k + m) * g / (2.0 * np.pi)
    return total / ((x[1] - x[0]) * (y[1] - y[0]))


def coaxial_discs(radius1, radius2, distance):
    """View factor from a disc to a parallel coaxial one.

    Source: Incropera, table 13.2; Howell C-41 (from memory).
    """
    r1, r2 = radius1 / distance, radius2 / distance
    s = 1.0 + (1.0 + r2 * r2) / (r1 * r1)
    return 0.5 * (s - np.sqrt(s * s - 4.0 * (r2 / r1) ** 2))


def sphere_to_disc(radius, distance):
    """View factor from a sphere to a coaxial disc whose centre is `distance` from the sphere's.

    Source: Howell, sphere to coaxial disc (from memory); also half the solid angle over 2 pi.
    """
    return 0.5 * (1.0 - 1.0 / np.sqrt(1.0 + (radius / distance) ** 2))


def element_to_sphere(cosine, ratio):
    """View factor from a plane element to a sphere, also where its horizon cuts the sphere.

    `cosine` between normal and the line to the centre, `ratio` = centre's distance / radius.

    Source: Howell, plane element to sphere (from memory).
    """
    h2 = ratio * ratio
    sine = np.sqrt(np.maximum(1.0 - cosine * cosine, 1e-30))
    root = np.sqrt(h2 - 1.0)
    cut = np.abs(cosine) * ratio < 1.0
    inside = np.where(cut, 1.0 - h2 * cosine**2, 0.0)
    part = 0.5 - np.arcsin(np.where(cut, root / (ratio * sine), 0.0)) / np.pi
    tilt = np.clip(-root * cosine / np.where(cut, sine, 1.0), -1.0, 1.0)
    part += (cosine * np.arccos(tilt) - root * np.sqrt(inside)) / (np.pi * h2)
    return np.where(cut, part, np.maximum(cosine, 0.0) / h2)


def half_tube(distance, radius, length):
    """View factor from an element to a cylinder that ends in the plane through the element.

    The element is `distance` from the axis and its normal meets the axis at a right angle.

    Source: Howell, plane element to cylinder, normal through one end (from memory).
    """
    h, n = distance / radius, length / radius
    x, y = (1 + h) ** 2 + n * n, (1 - h) ** 2 + n * n
    inner = np.arctan(n / np.sqrt(h * h - 1)) / n
    inner += (x - 2 * h) / np.sqrt(x * y) * np.arctan(np.sqrt(x * (h - 1) / (y * (h + 1))))
    inner -= np.arctan(np.sqrt((h - 1) / (h + 1)))
    return n / (np.pi * h) * inner


def tube_irradiance(power, radius, length, distance, along):
    """Irradiance (W/m2) that a Lambertian tube gives a receiver facing its axis.

    `along` (m) is measured from the first end; between, at or beyond the ends.
    """
    exitance = power / (2.0 * np.pi * radius * length)

    def signed(part):
        size = np.maximum(np.abs(part), 1e-12)
        return np.sign(part) * half_tube(distance, radius, size)

    along = np.asarray(along, float)
    return exitance * (signed(along) + signed(length - along))


def tube_on_plate(power, radius, length, across, along, height):
    """Irradiance (W/m2) at points of a plane parallel to a tube, `height` (m) from its axis.

    `across` (m) is the distance from the line on the plane nearest to the axis, `along` as in
    `tube_irradiance`. As the plane does not cut the tube, irradiance is the projection of the
    same vector for any receiver, whose part across the axis points to the axis.
    """
    distance = np.hypot(across, height)
    return tube_irradiance(power, radius, length, distance, along) * height / distance


def line_irradiance(power, length, distance, along):
    """Irradiance (W/m2) of a Lambertian line on a receiver facing it; `along` as above.

    Source: Keitz, Light Calculations and Measurements, 2nd ed. (1971), general position (from
    memory): the integral of the sine law.
    """
    low, high = np.arctan(-along / distance), np.arctan((length - along) / distance)
    shape = (high + 0.5 * np.sin(2 * high)) - (low + 0.5 * np.sin(2 * low))
    return power * shape / (2.0 * np.pi**2 * distance * length)


def fresnel(cosine, index, extinction=0.0):
    """Unpolarised reflectance of a smooth face, in complex arithmetic.

    Source: Fresnel's equations with Snell's law for n + ik, e.g. Hecht, Optics, section 4.6.
    """
    n = index + 1j * extinction
    inside = np.sqrt(1.0 - (1.0 - np.asarray(cosine) ** 2) / (n * n) + 0j)
    s = (cosine - n * inside) / (cosine + n * inside)
    p = (n * cosine - inside) / (n * cosine + inside)
    return 0.5 * (np.abs(s) ** 2 + np.abs(p) ** 2)
