"""Light of bare lamp tubes at eyes that look at them through a window of their picture.

See `raysim.picture` for picture and window. A tube is the convex hull of the corners around its two
ends; how much of it stands in the window is cut into slices, each by closed form.
"""

import math

import numpy as np

from raysim.kernels.compile import kernel

SLICES = 8  # of a shape, across the gap


@kernel
def cut(picture, edges, first, last, m):
    """Lowest and highest n of a convex shape where it is cut at m; inf and -inf for none.

    `picture` (corners, 2) are places (m, n) of corners; the shape has the `edges` (edges, 2) from
    `first` up to `last`.
    """
    bottom, top = math.inf, -math.inf
    for edge in range(first, last):
        p, q = edges[edge, 0], edges[edge, 1]
        before, after = picture[p, 0], picture[q, 0]
        if (before < m) != (after < m):
            share = (m - before) / (after - before)
            n = picture[p, 1] + share * (picture[q, 1] - picture[p, 1])
            bottom, top = min(bottom, n), max(top, n)
    return bottom, top


@kernel
def add_shape(picture, edges, first, last, window, sign, light):
    """Add to `light` (3,) the vector of a convex shape within a window, times `sign`.

    `window` (4,): from and to m, from and to n; the others as in `cut`.

    Source: int (-1, -m, -n) / (1 + m^2 + n^2)^2 dm dn, by closed form along n.
    """
    low, high = math.inf, -math.inf
    for edge in range(first, last):
        low = min(low, picture[edges[edge, 0], 0], picture[edges[edge, 1], 0])
        high = max(high, picture[edges[edge, 0], 0], picture[edges[edge, 1], 0])
    low, high = max(low, window[0]), min(high, window[1])
    width = (high - low) / SLICES
    if not width > 0.0:
        return
    for k in range(SLICES):
        m = low + (k + 0.5) * width
        bottom, top = cut(picture, edges, first, last, m)
        bottom, top = max(bottom, window[2]), min(top, window[3])
        if bottom < top:
            q2 = 1.0 + m * m
            q = math.sqrt(q2)
            even = top / (q2 + top * top) - bottom / (q2 + bottom * bottom)
            even += (math.atan(top / q) - math.atan(bottom / q)) / q
            even *= 0.5 / q2
            light[0] -= sign * width * even
            light[1] -= sign * width * m * even
            light[2] += sign * width * (0.5 / (q2 + top * top) - 0.5 / (q2 + bottom * bottom))


@kernel
def draw(eyes, i, corners, tube, picture):
    """Fill `picture` (corners, 2) with the places of a tube's corners as an eye sees them."""
    for corner in range(corners.shape[1]):
        away = eyes[i, 0] - corners[tube, corner, 0]
        picture[corner, 0] = (eyes[i, 1] - corners[tube, corner, 1]) / away
        picture[corner, 1] = (eyes[i, 2] - corners[tube, corner, 2]) / away


@kernel
def end_faces(eyes, i, middles, tube, end):
    """Whether an end of a tube, a dark disc, is turned towards an eye."""
    facing = 0.0
    for axis in range(3):
        outwards = middles[tube, end, axis] - middles[tube, 1 - end, axis]
        facing += (eyes[i, axis] - middles[tube, end, axis]) * outwards
    return facing > 0.0


@kernel
def add_tube(eyes, i, windows, corners, tube, middles, edges, picture, light):
    """Add to `light` (3,) that of the mantle of one tube at one eye, for pi L = pi.

    `picture` (corners, 2) is scratch.
    """
    draw(eyes, i, corners, tube, picture)
    rim = corners.shape[1] // 2
    add_shape(picture, edges, 0, 3 * rim, windows[i], 1.0, light)
    for end in range(2):
        if end_faces(eyes, i, middles, tube, end):
            add_shape(picture, edges, end * rim, (end + 1) * rim, windows[i], -1.0, light)


@kernel
def may_stand_in(eyes, i, windows, middles, balls, tube):
    """Whether a tube may stand in the window of an eye, by balls around its ends."""
    for axis in range(1, 3):
        low, high = math.inf, -math.inf
        for end in range(2):
            away, radius = eyes[i, 0] - middles[tube, end, 0], balls[tube, end]
            nearest = max(away - radius, eyes[i, 0])  # no corner is before the wall
            place = eyes[i, axis] - middles[tube, end, axis]
            low = min(low, (place - radius) / nearest, (place - radius) / (away + radius))
            high = max(high, (place + radius) / nearest, (place + radius) / (away + radius))
        if low >= windows[i, 2 * axis - 1] or high <= windows[i, 2 * axis - 2]:
            return False
    return True


@kernel(allocates=True)
def light_of_pairs(eyes, windows, corners, middles, tubes, edges):
    """Light of one tube at each eye for an exitance of pi, vectors (eyes, 3).

    Parameters
    ----------
    eyes, windows : (eyes, 3) and (eyes, 4) float64
    corners, middles : (tubes, 2 * rim, 3) and (tubes, 2, 3) float64
        Around and in the middle of both ends.
    tubes : (eyes,) int64
    edges : (3 * rim, 2) int64
        Of the first end, of the last end, from one to the other.
    """
    light = np.zeros((len(eyes), 3))
    picture = np.zeros((corners.shape[1], 2))
    for i in range(len(eyes)):
        add_tube(eyes, i, windows, corners, tubes[i], middles, edges, picture, light[i])
    return light


@kernel(allocates=True)
def cuts_of_pairs(eyes, corners, tubes, edges, m):
    """Lowest and highest n, both (eyes, cuts), of one tube as each eye sees it, cut at m.

    `m` (eyes, cuts); the others as in `light_of_pairs`.
    """
    low, high = np.zeros(m.shape), np.zeros(m.shape)
    picture = np.zeros((corners.shape[1], 2))
    for i in range(len(eyes)):
        draw(eyes, i, corners, tubes[i], picture)
        for k in range(m.shape[1]):
            low[i, k], high[i, k] = cut(picture, edges, 0, len(edges), m[i, k])
    return low, high


@kernel(allocates=True)
def light_of_all(eyes, windows, corners, middles, balls, exitance, edges):
    """Light of all tubes at each eye, W/m2 times pi, vectors (eyes, 3).

    As in `light_of_pairs`; `balls` (tubes, 2) are radii about the ends, `exitance` (tubes,) W/m2.
    """
    light = np.zeros((len(eyes), 3))
    picture, one = np.zeros((corners.shape[1], 2)), np.zeros(3)
    for i in range(len(eyes)):
        for tube in range(len(corners)):
            if may_stand_in(eyes, i, windows, middles, balls, tube):
                one[:] = 0.0
                add_tube(eyes, i, windows, corners, tube, middles, edges, picture, one)
                for axis in range(3):
                    light[i, axis] += exitance[tube] * one[axis]
    return light


@kernel(allocates=True)
def pairs_in_windows(eyes, windows, middles, balls):
    """Eye and tube of each pair where the tube may stand in the window, (pairs, 2) int64."""
    count = 0
    for i in range(len(eyes)):
        for tube in range(len(middles)):
            count += may_stand_in(eyes, i, windows, middles, balls, tube)
    pairs = np.zeros((count, 2), np.int64)
    count = 0
    for i in range(len(eyes)):
        for tube in range(len(middles)):
            if may_stand_in(eyes, i, windows, middles, balls, tube):
                pairs[count, 0], pairs[count, 1] = i, tube
                count += 1
    return pairs
