"""Light by way of one wall, against quadratures over the wall and over the lamp's image.

A mirror shows the image of the lamp, dimmed by Fresnel's law (image method of geometrical optics);
a Lambertian wall sends on rho E in the same radiance everywhere (Lambert's law). Indices at
253.7 nm from the data sets named.
"""

import numpy as np
import pytest
from agreement import agrees
from built_scenes import Lamp, Piece, rectangle, scene_of, smooth, surface
from closed_forms import fresnel, tube_on_plate
from measuring import DEGREES, adjoint_blocks, mean_and_error, point

RADIUS, LENGTH, POWER = 0.12, 0.3, 4.9
START = np.array([0.0, -0.1, 0.4])
AT = np.array([0.1, 0.05, 0.2])  # faces down, lamp above its horizon: sees the wall z = 0 only


def image_irradiance(reflectance):
    """Irradiance (W/m2) at AT from the image of the tube, by midpoint quadrature."""
    turn = 2.0 * np.pi * (np.arange(1500) + 0.5) / 1500
    y = START[1] + LENGTH * (np.arange(1500) + 0.5) / 1500
    turn, y = (a.ravel() for a in np.meshgrid(turn, y))
    normal = np.stack([np.cos(turn), 0.0 * turn, np.sin(turn)], axis=1)
    points = normal * RADIUS + np.stack([START[0] + 0 * y, y, START[2] + 0 * y], axis=1)
    flip = np.array([1.0, 1.0, -1.0])
    way = points * flip - AT
    distance = np.linalg.norm(way, axis=1)
    cosine = -way[:, 2] / distance
    leaving = np.maximum(-(way * normal * flip).sum(axis=1) / distance, 0.0)
    radiance = POWER / (2.0 * np.pi * RADIUS * LENGTH) / np.pi
    element = 2.0 * np.pi * RADIUS * LENGTH / len(y)
    return radiance * (reflectance(cosine) * cosine * leaving / distance**2).sum() * element


def diffuse_irradiance(reflectance):
    """Irradiance (W/m2) at AT from a Lambertian wall z = 0, 4 m wide about the origin.

    Mean of rho E over the spots that directions after Lambert's law from AT lead to.
    """
    share = (np.arange(1500) + 0.5) / 1500
    tangent = np.sqrt(share / (1.0 - share))
    turn = 2.0 * np.pi * (np.arange(720) + 0.5) / 720
    x = AT[0] + AT[2] * tangent[:, None] * np.cos(turn)
    y = AT[1] + AT[2] * tangent[:, None] * np.sin(turn)
    e = tube_on_plate(POWER, RADIUS, LENGTH, x - START[0], y - START[1], START[2])
    return reflectance * (e * (abs(x) < 2.0) * (abs(y) < 2.0)).mean()


def measured(material, paths):
    """Irradiance at AT (facing the wall) and its standard error, by backward paths."""
    lamp = Lamp(((START, START + np.array([0.0, LENGTH, 0.0]), RADIUS),), POWER)
    wall = rectangle((-2.0, -2.0, 0.0), (4.0, 0.0, 0.0), (0.0, 4.0, 0.0))
    scene = scene_of([Piece(wall, material)], [lamp], closed=False)
    blocks = adjoint_blocks(scene, [point(1, AT, (0.0, 0.0, -1.0))], paths, 31)
    return mean_and_error(blocks[:, 1, 0, 0])


# Glass: Kamptner 2024; aluminium: Rakic 1995.
@pytest.mark.parametrize(
    ("index", "extinction"),
    [pytest.param(1.5728, 0.0, marks=pytest.mark.slow), (0.1905, 2.9773)],
)
def test_smooth_wall_shows_the_image_of_the_lamp(index, extinction):
    truth = image_irradiance(lambda cosine: fresnel(cosine, index, extinction))
    assert agrees(*measured(smooth(index, extinction), 7_000_000), truth, degrees=DEGREES)


@pytest.mark.parametrize(("specular", "paths"), [(0.0, 1_000_000), (0.3, 3_000_000)])
def test_mixed_wall_is_part_mirror_part_diffuser(specular, paths):
    diffuse, image = diffuse_irradiance(0.8), image_irradiance(lambda cosine: 0.8)
    assert abs(image / diffuse - 1.0) > 0.25  # so that a wrong share shows
    truth = specular * image + (1.0 - specular) * diffuse
    material = surface(0.7, 0.8, 0.9, specular=specular)
    assert agrees(*measured(material, paths), truth, degrees=DEGREES)
