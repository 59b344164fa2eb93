"""Light of a thin tube in a box of mirrors: the sum over its images, by quadrature.

A mirror box unfolds into a lattice of image boxes; light that arrives from the image (mx, my, mz)
was dimmed by each wall it crossed on the straight way there (image method of geometrical optics).
Shares no code with the package.
"""

import numpy as np

LEAST = 1e-5  # images dimmer than this share are left out


def crossings(m):
    """How often the low and the high wall of an axis are met on the way from image `m`."""
    m = np.asarray(m)
    half, rest = abs(m) // 2, (abs(m) + 1) // 2
    return np.where(m > 0, half, rest), np.where(m > 0, rest, half)


def image_place(m, place, size):
    """Coordinate of image `m` of a place in a box from 0 to `size` (definition)."""
    return m * size + np.where(m % 2 == 0, place, size - place)


def lattice(brightest, receiver):
    """Images (n, 3) that are bright enough for a receiver on a wall.

    `brightest` (3, 2) bounds the reflectance of each wall, `receiver` is its (axis, end).
    """
    per_axis = []
    for axis in range(3):
        m = np.arange(-400, 401)
        if axis == receiver[0]:
            m = m[m >= 0] if receiver[1] == 0 else m[m <= 0]
        low, high = crossings(m)
        share = brightest[axis][0] ** low * brightest[axis][1] ** high
        per_axis.append((m[share > LEAST], share[share > LEAST]))
    (mx, sx), (my, sy), (mz, sz) = per_axis
    share = sx[:, None, None] * sy[:, None] * sz
    i, j, k = np.nonzero(share > LEAST)
    return np.stack([mx[i], my[j], mz[k]], axis=1)


def image_power(size, reflectance, brightest, tube, watts, patch, receiver):
    """Power (W) that arrives on a patch of a wall from all images of a tube along y.

    Parameters
    ----------
    size : (3,) m
    reflectance : callable
        From axis, end and cosine of incidence to the reflectance of that wall.
    tube : x, z, y of one end, y of the other, m
        A Lambertian line: intensity per length P sin / (pi^2 L) (Keitz).
    patch : (2, 3) low and high corner, m
    receiver : (axis, end) of the patch's wall
    """
    images = lattice(brightest, receiver)
    near = abs(images).max(axis=1) <= 2
    arguments = size, reflectance, tube, watts, patch, receiver
    total = _summed(images[near], 10, 10, *arguments)
    for part in np.array_split(images[~near], max(len(images) // 20_000, 1)):
        total += _summed(part, 3, 2, *arguments)
    return total


def _summed(images, across, along, size, reflectance, tube, watts, patch, receiver):
    x0, z0, y0, y1 = tube
    nodes, weights = np.polynomial.legendre.leggauss(across)
    line, line_weights = np.polynomial.legendre.leggauss(along)
    axis = receiver[0]
    i, j = (axis + 1) % 3, (axis + 2) % 3
    mid, half = patch.mean(axis=0), 0.5 * (patch[1] - patch[0])
    at = np.tile(mid, (across, across, 1))
    at[..., i] += half[i] * nodes[:, None]
    at[..., j] += half[j] * nodes[None]
    y = 0.5 * (y0 + y1) + 0.5 * (y1 - y0) * line
    place = np.stack([np.full(along, x0), y, np.full(along, z0)])  # (3, along)
    way = [
        image_place(images[:, k, None], place[k], size[k])[..., None, None] - at[..., k]
        for k in range(3)
    ]  # (images, along, across, across)
    r2 = way[0] ** 2 + way[1] ** 2 + way[2] ** 2
    share = np.sqrt((way[0] ** 2 + way[2] ** 2) / r2)  # sine to the tube's axis
    share *= abs(way[axis]) / np.sqrt(r2) / r2
    for k in range(3):
        counts = crossings(images[:, k])
        for end in range(2):
            if counts[end].any():
                rho = reflectance(k, end, abs(way[k]) / np.sqrt(r2))
                share *= rho ** counts[end][:, None, None, None]
    summed = np.einsum("abcd,b,c,d->", share, line_weights, weights, weights)
    return watts / np.pi**2 * 0.5 * summed * half[i] * half[j]
