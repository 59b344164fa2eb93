"""A closed sphere: the reflected light is even, wherever the lamp is.

Between points of a sphere with Lambertian walls the exchange factor is dA / A whatever the points
(integrating-sphere theory, e.g. Jacquez and Kuppenheim, J. Opt. Soc. Am. 45 (1955)). Hence
E = E_direct + rho P / (A (1 - rho)) at every point, and the mean of E is P / (A (1 - rho)) in a
closed room of any shape, because (1 - rho) A mean(E) = P.

The lamp here absorbs nothing (its own reflectance is 1) and is so small, 6e-5 of the wall's area,
that what it scatters changes the evenness by less than 1e-3 over the bounces of rho = 0.75.
"""

import numpy as np
import pytest
from agreement import agrees, all_agree
from built_scenes import LOSSLESS, Lamp, Piece, box, flipped, icosphere, scene_of, surface
from measuring import DEGREES, adjoint_blocks, forward_blocks, mean_and_error

from raysim.transport.starts import Start

POWER, RADIUS = 5.0, 0.3
OFF_CENTRE = Lamp((((0.1, 0.05, -0.15), (0.1, 0.07, -0.15), 5e-4),), POWER, LOSSLESS)


def sphere(specular, subdivisions=4, lining=(0.0, 0.5, 0.75)):
    """Closed sphere whose walls reflect `lining` in the three cases."""
    corners, _ = icosphere(RADIUS, subdivisions)
    piece = Piece(flipped(corners), surface(*lining, specular=specular))
    return scene_of([piece], [OFF_CENTRE])


@pytest.mark.parametrize("specular", [0.0, 0.5])
def test_mean_irradiance_is_power_over_absorbing_area(specular):
    rho = np.array([0.05, 0.5, 0.8])
    scene = sphere(specular, 3, rho)
    blocks = forward_blocks(scene, 650_000, 1, np.zeros(len(scene.areas), int))[:, :, 0, 0, 0]
    mean, error = mean_and_error(blocks / scene.areas.sum())
    assert all_agree(mean, error, POWER / (scene.areas.sum() * (1.0 - rho)), degrees=DEGREES)


def test_mean_irradiance_in_a_box_is_that_of_any_closed_room():
    rho = np.array([0.25, 0.75, 0.9])
    piece = Piece(box((0.0, 0.0, 0.0), (0.3, 0.4, 0.7)), surface(*rho, specular=0.3))
    lamp = Lamp((((0.05, 0.1, 0.1), (0.05, 0.1, 0.5), 0.02),), POWER, LOSSLESS)
    scene = scene_of([piece], [lamp])
    blocks = forward_blocks(scene, 650_000, 1, np.zeros(12, int))[:, :, 0, 0, 0]
    mean, error = mean_and_error(blocks / scene.areas.sum())
    assert all_agree(mean, error, POWER / (scene.areas.sum() * (1.0 - rho)), degrees=DEGREES)


def test_reflected_light_is_even():
    scene = sphere(0.0)
    quarters = (scene.centroids[:, [0, 2]] > 0.0) @ np.array([1, 2])
    areas = np.bincount(quarters, scene.areas)
    blocks = forward_blocks(scene, 2_100_000, 2, quarters)[:, :, 0, :, 0] / areas
    direct = blocks[:, 0].mean(axis=0)
    assert direct.max() > 4.0 * direct.min()  # the lamp is well off centre
    for case, rho, catches in ((1, 0.5, 0.015), (2, 0.75, 0.01)):
        mean, error = mean_and_error(blocks[:, case] - blocks[:, 0])
        truth = rho * POWER / (areas.sum() * (1.0 - rho))
        assert all_agree(mean, error, truth, catches, DEGREES)


def test_reflected_light_is_even_backwards():
    scene = sphere(0.0)
    targets = [Start(face, (face,), (0,)) for face in range(0, 5120, 640)]
    blocks = adjoint_blocks(scene, targets, 120_000, 3)[:, [0, 2], 0]
    reflected = blocks[:, 1] - blocks[:, 0]
    truth = 0.75 * POWER / (scene.areas.sum() * 0.25)
    assert all_agree(*mean_and_error(reflected), truth, catches=0.05, degrees=DEGREES)
    assert agrees(*mean_and_error(reflected.mean(axis=1)), truth, degrees=DEGREES)
