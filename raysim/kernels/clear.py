"""Lamps that are sources alone: they emit, and light goes through them.

A path that crosses the mantle of such a tube from outside sees its exitance there, as it would see
that of a lamp it meets, and goes on. So one path serves any number of places for lamps at once.

Source: light is linear in its sources, and the radiance of a Lambertian mantle is M / pi in all
directions (definition).
"""

from raysim.kernels.compile import kernel
from raysim.kernels.emission import tube_normal
from raysim.kernels.intersect import passes_tube, ray_tube_distance


@kernel
def is_clear(geometry):
    """Whether the lamps are sources alone (definition)."""
    return geometry.tubes.shape[0] > geometry.solid.shape[0]


@kernel
def looks_at_lamps(geometry, bounce, sharp):
    """Whether a path sends rays to lamps from where it is: not after a bounce the sharp way.

    To lamps that are sources alone only from its start: later it counts those that it crosses.
    """
    return not sharp and (bounce == 0 or not is_clear(geometry))


@kernel
def crossed_light(geometry, bounce, x, y, z, dx, dy, dz, farthest, weight, scores):
    """Add the exitance of every tube whose mantle is entered before `farthest` (m) to `scores`.

    Nothing on the first way of a path (`bounce` 0), or where lamps have bodies.

    Parameters
    ----------
    x, y, z, dx, dy, dz : float
        Origin (m), outside all tubes, and unit direction.
    weight : (cases,) float64
    scores : (lamps, cases) float64, W/m2
    """
    if bounce == 0 or not is_clear(geometry):
        return
    tubes = geometry.tubes
    for i in range(tubes.shape[0]):
        if passes_tube(tubes, i, x, y, z, dx, dy, dz):
            continue
        distance = ray_tube_distance(tubes, i, x, y, z, dx, dy, dz)
        if distance >= farthest:
            continue
        _, _, _, on_mantle = tube_normal(
            tubes, i, x + distance * dx, y + distance * dy, z + distance * dz
        )
        if on_mantle:
            lamp = geometry.tube_lamp[i]
            for case in range(weight.shape[0]):
                scores[lamp, case] += geometry.tube_exitance[i] * weight[case]
