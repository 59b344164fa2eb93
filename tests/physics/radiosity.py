"""Radiosity of a diffuse box: exact view factors between patches and a linear solve.

Source: Gebhart, Heat Transfer, 2nd ed. (1971); Incropera, Fundamentals of Heat and Mass Transfer,
ch. 13. Shares no code with the package.
"""

from functools import cache

import numpy as np
from closed_forms import parallel_rectangles, rectangles_at_right_angle, tube_on_plate

WALLS = [(axis, end) for axis in range(3) for end in range(2)]


def wall_patches(size, n):
    """Patches of a box, (6 n n, 2, 3) low and high corners in m, wall by wall as in `box_walls`.

    A wall is flat: low and high are alike on its axis.
    """
    patches = []
    for axis, end in WALLS:
        i, j = (axis + 1) % 3, (axis + 2) % 3
        for a in range(n):
            for b in range(n):
                low, high = np.zeros(3), np.zeros(3)
                low[axis] = high[axis] = end * size[axis]
                low[i], high[i] = np.array([a, a + 1]) * size[i] / n
                low[j], high[j] = np.array([b, b + 1]) * size[j] / n
                patches.append((low, high))
    return np.array(patches)


def patch_areas(patches):
    """Areas of flat patches, m2 (definition)."""
    sides = np.sort(patches[:, 1] - patches[:, 0], axis=1)
    return sides[:, 1] * sides[:, 2]


def wall_factors(from_patches, axis_from, to_patches, axis_to):
    """View factors from all patches of one wall to all of another, (from, to)."""
    p = np.moveaxis(from_patches[:, None], 2, 0)  # low and high, then (axis, from, to)
    q = np.moveaxis(to_patches[None], 2, 0)
    p, q = np.moveaxis(p, -1, 1), np.moveaxis(q, -1, 1)  # (2, 3, from, to)
    if axis_from == axis_to:
        i, j = (axis_from + 1) % 3, (axis_from + 2) % 3
        apart = np.abs(p[0, axis_from] - q[0, axis_from])
        return parallel_rectangles(p[:, i], p[:, j], q[:, i], q[:, j], apart)
    common = 3 - axis_from - axis_to
    across = np.sort(np.abs(p[:, axis_to] - q[0, axis_to]), axis=0)
    height = np.sort(np.abs(q[:, axis_from] - p[0, axis_from]), axis=0)
    return rectangles_at_right_angle(across, p[:, common], q[:, common], height)


@cache
def view_factors(size, n):
    """View factors between all patches of a box, (6 n n, 6 n n), rows from, columns to."""
    walls = wall_patches(size, n).reshape(6, n * n, 2, 3)
    factors = np.zeros((6, n * n, 6, n * n))
    for i, (axis, _) in enumerate(WALLS):
        for j, (other, _) in enumerate(WALLS):
            if i != j:
                factors[i, :, j] = wall_factors(walls[i], axis, walls[j], other)
    return factors.reshape(6 * n * n, 6 * n * n)


def direct_power(size, n, tube, radius, watts):
    """Power (W) that a thin tube along y sends to each patch of a box, by quadrature.

    `tube` is x, z, and y of both ends. Faces across the axis (y walls) get what is left of the
    sine law: I = P sin / pi^2 per length, cosine to the wall.
    """
    x0, z0, y0, y1 = tube
    nodes, weights = np.polynomial.legendre.leggauss(24)
    patches, power = wall_patches(size, n), []
    for patch, (axis, end) in zip(patches, np.repeat(WALLS, n * n, axis=0), strict=True):
        i, j = (axis + 1) % 3, (axis + 2) % 3
        mid, half = patch.mean(axis=0), 0.5 * (patch[1] - patch[0])
        u, v = mid[i] + half[i] * nodes[:, None], mid[j] + half[j] * nodes[None]
        if axis == 1:
            e = _end_wall(v - x0, u - z0, end * size[1], y0, y1, watts)
        elif axis == 0:  # u is y, v is z
            e = tube_on_plate(watts, radius, y1 - y0, v - z0, u - y0, abs(end * size[0] - x0))
        else:  # u is x, v is y
            e = tube_on_plate(watts, radius, y1 - y0, u - x0, v - y0, abs(end * size[2] - z0))
        power.append((e * weights[:, None] * weights).sum() * half[i] * half[j])
    return np.array(power)


def _end_wall(dx, dz, y, y0, y1, watts):
    """Irradiance (W/m2) of a Lambertian line along y on a wall across it (Keitz's sine law)."""
    nodes, weights = np.polynomial.legendre.leggauss(24)
    at = 0.5 * (y0 + y1) + 0.5 * (y1 - y0) * nodes
    across2 = dx[..., None] ** 2 + dz[..., None] ** 2
    r2 = across2 + (y - at) ** 2
    # sin / r^2 times cosine |y - at| / r, averaged over the line, times P / pi^2
    return watts / np.pi**2 * (np.sqrt(across2) * abs(y - at) / r2**2 * weights).sum(axis=-1) / 2.0


def arriving(factors, areas, reflectance, direct):
    """Power (W) that arrives on each patch: H = D + F^T rho H (linear solve)."""
    # Power leaving i towards j: rho_i H_i F_ij.
    exchange = (reflectance[:, None] * factors).T
    arrived = np.linalg.solve(np.eye(len(areas)) - exchange, direct)
    assert abs((arrived * (1.0 - reflectance)).sum() - direct.sum()) < 1e-9 * direct.sum()
    return arrived
