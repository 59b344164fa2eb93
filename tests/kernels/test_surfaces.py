"""Fresnel's equations and the fate of a photon at a surface."""

import numpy as np
import pytest
from agreement import agrees

from raysim.kernels.compile import kernel
from raysim.kernels.fresnel import fresnel_reflectance
from raysim.kernels.mirror import FROM_TABLE
from raysim.kernels.models import model_number, model_reflectance
from raysim.kernels.surfaces import (
    ABSORBED,
    REFLECTED,
    TRANSMITTED,
    case_fate,
)

# n, k at 253.7 nm from refractiveindex.info (public domain), linear between tabulated points, and
# reflectance in air at 0, 45 and 75 degrees and averaged over Lambert's law, to four digits.
TABLE = {
    "aluminium, Rakic 1995": (0.1905, 2.9773, 0.9259, 0.9239, 0.9281, 0.9253),
    "aluminium, McPeak 2015": (0.1468, 2.5586, 0.9253, 0.9240, 0.9361, 0.9268),
    "aluminium, Cheng 2016": (0.1483, 2.2984, 0.9101, 0.9094, 0.9301, 0.9137),
    "silver, Johnson and Christy 1972": (1.3254, 1.3921, 0.2782, 0.2948, 0.4879, 0.3326),
    "gold, Johnson and Christy 1972": (1.3300, 1.6749, 0.3539, 0.3655, 0.5220, 0.3966),
    "copper, Johnson and Christy 1972": (1.4008, 1.7506, 0.3653, 0.3751, 0.5191, 0.4040),
    "brass 70/30, Querry 1985": (1.3062, 1.5238, 0.3162, 0.3307, 0.5081, 0.3656),
    "chromium, Johnson and Christy 1974": (1.3678, 1.9570, 0.4202, 0.4268, 0.5468, 0.4514),
    "iron, Johnson and Christy 1974": (1.5257, 1.6913, 0.3395, 0.3493, 0.4942, 0.3786),
    "nickel, Johnson and Christy 1974": (1.8005, 2.3178, 0.4550, 0.4560, 0.5251, 0.4717),
    "austenitic steel, Karlsson 1982": (1.2469, 1.8437, 0.4096, 0.4186, 0.5559, 0.4461),
    "ferritic steel, Karlsson 1982": (1.0078, 1.5648, 0.3779, 0.3944, 0.5765, 0.4295),
    "fused silica, Malitson 1965": (1.5055, 0.0, 0.0407, 0.0510, 0.2541, 0.0926),
    "crystal quartz, Ghosh 1999": (1.5981, 0.0, 0.0530, 0.0642, 0.2693, 0.1060),
    "soda-lime glass, Kamptner 2024": (1.5728, 1.16e-4, 0.0496, 0.0605, 0.2655, 0.1024),
    "the same, tin side": (1.6889, 1.08e-2, 0.0657, 0.0773, 0.2812, 0.1188),
    "aluminium oxide film, Franta 2015": (1.7396, 5.6e-4, 0.0729, 0.0847, 0.2868, 0.1258),
    "titanium dioxide film, Siefke 2016": (2.5057, 1.4988, 0.3105, 0.3149, 0.4089, 0.3355),
}


@pytest.mark.parametrize("material", TABLE)
def test_fresnel_gives_the_published_reflectances(material):
    n, k, *printed, hemispherical = TABLE[material]
    for degrees, value in zip((0, 45, 75), printed, strict=True):
        got = fresnel_reflectance(np.cos(np.radians(degrees)), n, k)
        assert got == pytest.approx(value, abs=0.0005)
    # Mean over Lambert's law: integral of R over cos^2 from 0 to 1.
    squares = (np.arange(4_000) + 0.5) / 4_000
    mean = np.mean([fresnel_reflectance(c, n, k) for c in np.sqrt(squares)])
    assert mean == pytest.approx(hemispherical, abs=0.0005)


def test_fresnel_agrees_with_complex_arithmetic_at_every_angle():
    from closed_forms import fresnel

    for n, k, *_ in TABLE.values():
        for cosine in np.linspace(1e-6, 1.0, 97):
            assert fresnel_reflectance(cosine, n, k) == pytest.approx(
                fresnel(cosine, n, k), abs=1e-12
            )


def test_fresnel_at_its_limits():
    assert fresnel_reflectance(0.0, 1.5, 0.0) == pytest.approx(1.0, abs=1e-15)
    assert fresnel_reflectance(0.0, 0.19, 2.98) == pytest.approx(1.0, abs=1e-15)
    assert fresnel_reflectance(1.0, 1.0, 0.0) == 0.0  # no boundary at all
    assert fresnel_reflectance(0.5, 1.0, 0.0) == pytest.approx(0.0, abs=1e-15)
    # Denser to thinner medium, beyond the angle of total reflection.
    assert fresnel_reflectance(0.3, 0.7, 0.0) == pytest.approx(1.0, abs=1e-12)
    cosines = np.linspace(0.0, 1.0, 1001)
    values = [fresnel_reflectance(c, 1.5728, 1.16e-4) for c in cosines]
    assert min(values) >= 0.0
    assert max(values) <= 1.0


def test_only_fresnel_surfaces_depend_on_the_angle():
    numbers = np.array([[1.5, 0.0], [1.5, 0.0]])
    smooth, plain = model_number("fresnel"), model_number("mirror")
    assert model_reflectance(smooth, numbers, 0, 1.0) == pytest.approx(0.04, abs=1e-15)
    assert model_reflectance(plain, numbers, 1, 1.0) == FROM_TABLE


def test_a_model_that_is_in_no_table_is_refused():
    with pytest.raises(ValueError, match='"velvet"; known: mirror, fresnel'):
        model_number("velvet")


@kernel
def _fates(reflectance, transmittance, u, counts):
    for i in range(len(u)):
        counts[case_fate(reflectance, transmittance, u[i])] += 1


@pytest.mark.parametrize(("back", "through"), [(0.25, 0.1), (0.9, 0.05), (0.0, 0.4), (0.6, 0.4)])
def test_fates_have_their_probabilities(back, through):
    counts = np.zeros(3, np.int64)
    number = 10_000_000
    _fates(back, through, np.random.default_rng(1).random(number), counts)
    expected = {REFLECTED: back, TRANSMITTED: through, ABSORBED: 1.0 - back - through}
    for fate, p in expected.items():
        if p < 1e-12:
            assert counts[fate] == 0
        else:
            assert agrees(counts[fate] / number, np.sqrt(p * (1.0 - p) / number), p)


def test_cases_that_share_a_number_never_part_ways():
    # One may die where the other goes on, but never is one reflected and the other transmitted.
    random = np.random.default_rng(2)
    for _ in range(2_000):
        low, high = np.sort(random.random(2))
        through = np.sort(random.random(2) * (1.0 - high))
        for u in random.random(20):
            fates = {case_fate(r, t, u) for r, t in zip((low, high), through, strict=True)}
            assert fates != {REFLECTED, TRANSMITTED}
