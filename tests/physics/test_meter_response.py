"""Heads of meters that are not cosine-corrected, against closed forms."""

from dataclasses import replace

import numpy as np
import pytest
from agreement import agrees
from built_scenes import BLACK, LOSSLESS, Lamp, Piece, box, flipped, icosphere, scene_of, surface
from measuring import DEGREES, THREADS

from raysim.estimate.meter import DIRECT_ONLY, first_cosines, meter_batches
from raysim.kernels.fresnel import fresnel_reflectance
from raysim.library.meter_heads import CORRECTED, known_responses, table_response
from raysim.scene.triangles import MeterPoint
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.options import RunOptions
from raysim.transport.tallies import MAX_BOUNCES

ROWS = [[0, 1.0], [15, 0.9], [30, 0.6], [45, 0.35], [60, 0.2], [75, 0.08], [90, 0.0]]
OWN = table_response(ROWS)
DOME = table_response([[0, 1.0], [30, 1.0], [60, 1.0], [89.9, 1.0], [90, 0.0]])
POWER = 5.0


def shown(scene, at, facing, response, seed=1, paths=512, max_bounces=MAX_BOUNCES):
    """Mean of what a head shows and its standard error, expected case, W/m2."""
    facing = np.array(facing, float)
    meter = MeterPoint("p", np.array(at, float), facing / np.linalg.norm(facing), None, response)
    scene = replace(scene, meters=(meter,))
    batches = meter_batches(
        scene,
        kernel_scene(scene),
        RunOptions(seed, THREADS),
        cases=slice(1, 2),
        paths=paths,
        max_bounces=max_bounces,
    )
    total = batches[0, :, :, 0].sum(axis=1)
    return total.mean(), total.std(ddof=1) / np.sqrt(len(total))


def lamp_in_the_dark(distance):
    """A black box with a short tube across the x axis at a distance (m) from the point (0, 0, 0)."""
    tube = ((distance, 0.0, -0.004), (distance, 0.0, 0.004), 0.001)
    return scene_of([Piece(box(-1.5, 1.5), BLACK)], [Lamp((tube,), POWER)])


KINDS = [OWN, *list(known_responses().values())[1:]]
COSINE_ROWS = table_response([[d, np.cos(np.radians(d))] for d in range(0, 90, 5)] + [[90, 0.0]])


def facing(degrees):
    """A way to face that has the lamp in the dark at so many degrees from straight on."""
    return np.cos(np.radians(degrees)), np.sin(np.radians(degrees)), 0.0


@pytest.mark.parametrize("response", [CORRECTED, *KINDS], ids=lambda kind: kind.name)
def test_one_lamp_in_a_black_box_is_the_response_at_its_angle(response):
    """E = P / (pi^2 d^2) R(30 degrees): a Lambertian tube seen broadside (Keitz, far off).

    Its length, 8 mm at 1 m, changes this by 2e-5, and its radius by 1e-3 (the near side is seen).
    """
    mean, error = shown(lamp_in_the_dark(1.0), (0.0, 0.0, 0.0), facing(30.0), response)
    cosine = np.cos(np.radians(30.0))
    truth = POWER / np.pi**2 * float(response.over_cosine(np.array(cosine))) * cosine
    assert agrees(mean, np.hypot(error, 1e-3 * truth), truth, 0.03, DEGREES)


@pytest.mark.parametrize("response", KINDS, ids=lambda kind: kind.name)
@pytest.mark.parametrize("degrees", [0.0, 20.0, 37.0, 45.0, 60.0, 80.0])
def test_share_of_the_cosine_is_that_of_the_table_at_every_angle(response, degrees):
    """The same paths under two heads: their noise cancels but for the width of the lamp."""
    at = (lamp_in_the_dark(1.0), (0.0, 0.0, 0.0), facing(degrees))
    cosine, _ = shown(*at, COSINE_ROWS, paths=16)
    mean, _ = shown(*at, response, paths=16)
    truth = response.over_cosine(np.array(np.cos(np.radians(degrees))))
    assert mean / cosine == pytest.approx(float(truth), rel=5e-3)


def test_rows_of_the_table_are_what_is_shown():
    """At the rows themselves no interpolation comes in: 0.6 at 30 degrees, 0.2 at 60."""
    for degrees, value in ((30.0, 0.6), (60.0, 0.2)):
        ratio = float(OWN.over_cosine(np.array(np.cos(np.radians(degrees)))))
        assert ratio * np.cos(np.radians(degrees)) == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize("response", [CORRECTED, OWN], ids=["cosine", "own"])
def test_direct_light_is_that_of_the_same_box_in_black(response):
    """And none where the head turns its back to the lamp, however bright the walls are."""
    lamp = [Lamp((((0.2, 0.0, -0.01), (0.2, 0.0, 0.01), 5e-4),), POWER)]
    black, white = (scene_of([Piece(box(-0.5, 0.5), s)], lamp) for s in (BLACK, surface(0.75)))
    head = ((0.0, 0.0, 0.0), facing(30.0), response)
    (all_black, _), (all_white, _) = (shown(scene, *head) for scene in (black, white))
    direct, _ = shown(white, *head, max_bounces=DIRECT_ONLY)
    assert direct == pytest.approx(all_black, rel=1e-12)
    assert all_white > 1.2 * direct
    behind = ((0.0, 0.0, 0.0), (-1.0, 0.0, 0.0), response)
    assert shown(white, *behind, max_bounces=DIRECT_ONLY)[0] == 0.0
    assert shown(white, *behind)[0] > 0.0


RADIUS = 0.3
LAMP = Lamp((((0.2, 0.0, -0.01), (0.2, 0.0, 0.01), 5e-4),), POWER, LOSSLESS)


@pytest.mark.parametrize("response", [DOME, *KINDS], ids=["dome", *(k.name for k in KINDS)])
def test_light_from_all_sides_is_the_integral_of_the_response(response):
    """Head in the middle of a white sphere, its back to the lamp.

    What the wall sends on after it was lit by the wall is even, rho E / pi with
    E = rho P / (A (1 - rho)) (theory of the integrating sphere), so that it shows
    rho E 2 int R sin d(theta); what the wall sends on straight from the lamp is added by quadrature.
    """
    rho = 0.75
    corners, _ = icosphere(RADIUS, 4)
    scene = scene_of([Piece(flipped(corners), surface(rho))], [LAMP])
    mean, error = shown(scene, (0.0, 0.0, 0.0), (-1.0, 0.0, 0.0), response, paths=2048)
    theta = (np.arange(40_000) + 0.5) / 40_000 * 0.5 * np.pi
    weight = response.over_cosine(np.cos(theta)) * np.cos(theta) * np.sin(theta)
    even = rho * POWER / (scene.areas.sum() * (1.0 - rho))
    truth = 2.0 * rho * even * weight.sum() * 2.0 * theta[0]
    truth += first_reflection(rho, response)
    assert agrees(mean, error, truth, 0.08, DEGREES)


def first_reflection(rho, response, steps=400):
    """What the head shows of light that the wall sends on straight from the lamp, W/m2.

    The lamp is taken for a short line of intensity P / pi^2 sin(angle from its axis).
    """
    z = (np.arange(steps) + 0.5) / steps  # cosine from the way the head faces
    turn = (np.arange(steps) + 0.5) / steps * 2.0 * np.pi
    z, turn = np.meshgrid(z, turn)
    s = np.sqrt(1.0 - z**2)
    wall = np.stack([-z, s * np.cos(turn), s * np.sin(turn)], axis=-1)
    to = wall * RADIUS - np.array([0.2, 0.0, 0.0])
    r = np.linalg.norm(to, axis=-1)
    across = np.sqrt(1.0 - (to[..., 2] / r) ** 2)
    lit = POWER / np.pi**2 * across * (to * wall).sum(axis=-1) / r**3
    return rho / np.pi * (lit * response.over_cosine(z) * z).mean() * 2.0 * np.pi


def test_weights_of_the_cosine_change_nothing():
    """A table of the cosine goes through the weights; it shows what a cosine-corrected head does."""
    table = table_response([[d, np.cos(np.radians(d))] for d in range(0, 90, 10)] + [[90, 0.0]])
    scene = scene_of([Piece(box(-0.2, 0.2), surface(0.7, specular=0.6))], [LAMP_IN_BOX])
    plain, plain_error = shown(scene, (0.0, 0.0, 0.0), (0.3, 1.0, 0.2), CORRECTED, paths=2048)
    mean, error = shown(scene, (0.0, 0.0, 0.0), (0.3, 1.0, 0.2), table, paths=2048)
    assert agrees(mean, np.hypot(error, plain_error), plain, 0.06, DEGREES)
    angles = np.cos(np.radians(np.linspace(0.0, 85.0, 60)))
    assert table.over_cosine(angles) == pytest.approx(np.ones(60), rel=4e-3)


LAMP_IN_BOX = Lamp((((-0.1, 0.12, 0.1), (0.1, 0.12, 0.1), 0.013),), POWER, surface(0.5))


def test_first_directions_follow_the_cosine_law():
    """Mean cosine 2/3, mean square 1/2: the draws that the weights rest on are those of paths."""
    cosine = first_cosines(range(5, 205), 3)
    count = cosine.size
    assert agrees(cosine.mean(), np.sqrt(1.0 / 18.0 / count), 2.0 / 3.0, 0.03)
    assert agrees((cosine**2).mean(), np.sqrt(1.0 / 12.0 / count), 0.5, 0.04)


def test_flat_window_is_fresnels_plate():
    """cosine (1 - R) / (1 + R), relative to straight on, n = 1.5055 (Malitson 1965)."""

    def through(cosine):
        r = fresnel_reflectance(cosine, 1.5055, 0.0)
        return (1.0 - r) / (1.0 + r)

    flat = known_responses()["flat window"]
    for degrees, value in zip(flat.degrees[:-1], flat.relative[:-1], strict=True):
        cosine = float(np.cos(np.radians(degrees)))
        assert value == pytest.approx(cosine * through(cosine) / through(1.0), abs=1e-4)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([[0, 1.0], [90, 0.0]], "at least 3"),
        ([[5, 1.0], [50, 0.5], [90, 0.0]], "first at 0"),
        ([[0, 1.0], [50, 0.5], [40, 0.0]], "must rise"),
        ([[0, 1.0], [50, 0.5], [95, 0.0]], "90 at most"),
        ([[0, 1.0], [50, -0.5], [90, 0.0]], "nowhere below"),
        ([[0, 1.0], [50, 0.6], [85, 0.1]], "end the table"),
        ([[0, 1.0], [50, 6.0], [90, 0.0]], "not credible"),
        ([1, 2, 3], "rows of"),
    ],
)
def test_tables_that_make_no_sense_are_refused(rows, words):
    with pytest.raises(ValueError, match=words):
        table_response(rows)
