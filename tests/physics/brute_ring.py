"""Light of a bare tube through a slit that runs round a box, by numbers and apart from the package.

Smooth drum: an integral over the picture of the tube. Any other line: the slit drawn by hand as
four closed lines, inner and outer, lower and upper; lines from the eye must cross the inner opening
before they meet a lower or an upper wall of the slit.

    E = M / pi  int over the seen part of the tube of  d(omega)   (as a vector)

All lengths in m, all axes of tubes upright; black walls.

Source: definition of irradiance by radiance.
"""

import numpy as np

NEAR = 0.1  # m: pieces of the slit that begin farther from the eye than the nearest are left out


def smooth_ring(eye, radius, depth, width, tube, exitance, angles=400, heights=200):
    """Irradiance (W/m2) of an eye that faces the light, before a ring slit in a smooth drum.

    `eye` (2,): from the axis, and above the middle of the slit. `tube` (3,) on the axis: radius,
    and from where to where above the middle of the slit.
    """
    far, up = eye
    limb = np.arccos(tube[0] / far)
    angle = ((np.arange(angles) + 0.5) / angles * 2.0 - 1.0) * limb
    x, y = tube[0] * np.cos(angle), tube[0] * np.sin(angle)
    flat, along = (x - far) ** 2 + y**2, far * (x - far)
    low, high = np.full(angles, tube[1]), np.full(angles, tube[2])
    for rho in (radius, radius + depth):
        share = (-along - np.sqrt(along**2 - flat * (far**2 - rho**2))) / flat
        low = np.maximum(low, up + (-0.5 * width - up) / share)
        high = np.minimum(high, up + (0.5 * width - up) / share)
    high = np.maximum(low, high)
    z = low[:, None] + (high - low)[:, None] * (np.arange(heights) + 0.5) / heights
    to = np.stack(np.broadcast_arrays((x - far)[:, None], y[:, None], z - up), axis=-1)
    long = np.linalg.norm(to, axis=-1)
    cosine = -(to[..., 0] * np.cos(angle)[:, None] + to[..., 1] * np.sin(angle)[:, None]) / long
    area = tube[0] * (2.0 * limb / angles) * ((high - low) / heights)[:, None]
    weight = exitance / np.pi * cosine.clip(0.0) / long**2 * area
    return np.linalg.norm((to / long[..., None] * weight[..., None]).sum(axis=(0, 1)))


def regular_rings(count, radii, heights, turn=0.0):
    """Closed lines of `count` corners (lines, count, 3), an edge's middle towards x.

    `radii` (lines,) to the middles of the edges, m.
    """
    angle = turn + 2.0 * np.pi * (np.arange(count) + 0.5) / count
    out = np.asarray(radii)[:, None] / np.cos(np.pi / count)
    x, y = out * np.cos(angle), out * np.sin(angle)
    return np.stack([x, y, np.broadcast_to(np.asarray(heights)[:, None], x.shape)], axis=-1)


def through_rings(eye, rings, tube, exitance, rises, side=(50, 500), sets=16):
    """Irradiance (W/m2) of an eye (3,) that faces the light, and its standard error.

    `rings` (4, corners, 3): inner lower and upper, outer lower and upper lines of the slit. `tube`
    (5,): x, y, radius, from z, to z. Lines over all of the tube's width, and rising between `rises`
    per metre, from eye to tube; even over cells, in independent sets.
    """
    cells = np.stack(np.meshgrid(*(np.arange(s) for s in side), np.arange(sets), indexing="ij"))
    u, v = (cells[:2] + np.random.default_rng(0).random((2, *cells.shape[1:]))).reshape(2, -1)
    count, (u, v) = len(u), (u / side[0], v / side[1])
    level = tube[:2] - eye[:2]
    far = np.linalg.norm(level)
    limb = np.arcsin(tube[2] / far)
    angle = np.arctan2(level[1], level[0]) + limb * (2.0 * u - 1.0)
    rise = rises[0] + (rises[1] - rises[0]) * v
    d = np.stack([np.cos(angle), np.sin(angle), rise], axis=1)
    middle = d[:, :2] @ level
    to_tube = middle - np.sqrt((tube[2] ** 2 - far**2 + middle**2).clip(0.0))
    z = eye[2] + to_tube * rise
    inner, walls = [np.full(count, np.inf) for _ in range(2)]
    away = np.linalg.norm(rings[0] - eye, axis=1)
    near = np.flatnonzero(np.minimum(away, np.roll(away, 1)) < away.min() + NEAR)
    lower_in, upper_in, lower_out, upper_out = rings
    for first, last, found in (
        (lower_in, upper_in, inner),
        (lower_in, lower_out, walls),
        (upper_in, upper_out, walls),
    ):
        for k in near:
            a, b, c, e = first[k - 1], first[k], last[k], last[k - 1]
            for corners in ((a, b, c), (a, c, e)):
                np.minimum(found, _crossed(eye, d, *corners), out=found)
    seen = (inner < np.minimum(walls, to_tube)) & (z > tube[3]) & (z < tube[4])
    size = 2.0 * limb * (rises[1] - rises[0]) / (1.0 + rise**2) ** 1.5
    light = exitance / np.pi * (seen * size)[:, None] * d / np.sqrt(1.0 + rise**2)[:, None]
    mean = light.mean(axis=0)
    facing = (light @ (mean / np.linalg.norm(mean))).reshape(-1, sets).mean(axis=0)
    return facing.mean(), facing.std(ddof=1) / np.sqrt(sets)


def _crossed(eye, d, a, b, c):
    """How far, in lengths of d, lines from the eye cross a triangle; inf where they do not.

    Source: Moeller and Trumbore 1997 (from memory).
    """
    first, second = b - a, c - a
    h = np.cross(d, second)
    det = h @ first
    with np.errstate(divide="ignore", invalid="ignore"):
        u = h @ (eye - a) / det
        q = np.cross(eye - a, first)
        v = d @ q / det
        t = second @ q / det
        met = (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (t > 0.0)
    return np.where(met, t, np.inf)
