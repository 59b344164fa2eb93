"""Reading the photons' counts where a backward path arrives: final gathering.

Photons tell what arrives on every tile, a piece of surface. So a path need not go on to a lamp from
there: what the tile sends back diffusely is read off, and only the sharp way of its surface is
followed further.

Paths of a batch read the photons of the same batch alone. Batches stay independent, and the noise
of the counts is part of their spread. What is left is that the mean over a tile stands for the
irradiance at the point that is met; close by, where that could matter, nothing is read.

Source: Jensen, "Realistic Image Synthesis Using Photon Mapping" (2001), chapter 7, final gathering
(from memory).
"""

from raysim.kernels.compile import kernel
from raysim.kernels.models import sharp_direction

FAINT = 0.2  # below this share of its light a path goes on by chance only


@kernel
def may_read(known, reads, row, flown):
    """Whether the light on face-side `row` may be read, `flown` m from where the light goes to."""
    return reads and flown >= known.reach[known.tile[row]]


@kernel
def read_light(known, surfaces, surface, angular, batch, row, weight, scores):
    """Add what a face-side sends back diffusely, or lets through; leave the sharp part in `weight`.

    Parameters
    ----------
    row : int
        2 * triangle + side that was met; light through a sheet arrives on its other side.
    angular : float
        Reflectance at this angle where the surface's model has one, else negative.
    weight : (cases,) float64
    scores : (lamps, cases) float64, W/m2

    Returns the largest share of any case that goes the sharp way.
    """
    here, behind = known.tile[row], known.tile[row ^ 1]
    largest = 0.0
    for case in range(weight.shape[0]):
        if weight[case] == 0.0:
            continue
        share = angular if angular >= 0.0 else surfaces.reflectance[surface, case]
        lobe = surfaces.lobe[surface, case]
        back = weight[case] * share * (1.0 - lobe)
        through = weight[case] * surfaces.transmittance[surface, case]
        for lamp in range(scores.shape[0]):
            scores[lamp, case] += back * known.light[batch, here, lamp, case]
            if through > 0.0:
                scores[lamp, case] += through * known.light[batch, behind, lamp, case]
        weight[case] *= share * lobe
        largest = max(largest, share * lobe)
    return largest


@kernel
def goes_on(strength, first, u, weight):
    """Strength of a path that goes on, or 0 where chance (`u`) ends it; corrects its weights.

    At the `first` hit it goes on if there is any light in it: see `backward.way_on`.
    """
    if first and strength > 0.0:
        return max(strength, FAINT)
    if strength >= FAINT:
        return strength
    if strength <= 0.0 or u * FAINT >= strength:
        return 0.0
    for case in range(weight.shape[0]):
        weight[case] *= FAINT / strength
    return FAINT


@kernel
def read_and_go_on(
    known, surfaces, surface, angular, batch, row, first, strength,
    u0, u2, u3, dx, dy, dz, nx, ny, nz, weight, scores,
):  # fmt: skip
    """Read the light on a face-side, and take the sharp way of its surface.

    Returns the strength that the path is left with, 0 where it ends, and its new unit direction.
    """
    largest = read_light(known, surfaces, surface, angular, batch, row, weight, scores)
    strength = goes_on(strength * largest, first, u0, weight)
    if strength > 0.0:
        dx, dy, dz = sharp_direction(
            surfaces.kind[surface], surfaces.numbers, surface, dx, dy, dz, nx, ny, nz, u2, u3
        )
    return strength, dx, dy, dz
