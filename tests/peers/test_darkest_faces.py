"""The darkest face-sides of the demo, by Mitsuba's rays; and would a metal lobe change them?

Rolled or brushed metal sends its 'mirror' part into a lobe a few degrees wide; raysim takes an ideal
mirror. Measured here with a lobe of 3 and of 6 degrees (facets tilted at random) on all mirror parts
of the demo: the sixteen darkest face-sides change by -0.1 +- 0.2 % and -0.3 +- 0.2 % on the average and none by
more than 2 %, to which a run settles the worst. So the ideal mirror was kept.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from agreement import agrees, all_agree, z_limit
from measuring import adjoint_blocks, mean_and_error
from mitsuba_paths import BLOCKS, irradiance
from mitsuba_scene import Peer, mitsuba

from raysim import load_scene
from raysim.dose.simulate import DEFAULT_PRECISION
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.photons import PhotonRun
from raysim.transport.starts import Start

SCENE = Path(__file__).parents[2] / "scenes" / "clinic_locker.toml"
DARKEST = 16
# Paths from each: ours and Mitsuba's; errors caught on each and on their mean.
FORMS = {"short": (60_000, 32_000, 0.3, 0.06), "long": (250_000, 320_000, 0.1, 0.02)}
LONG = pytest.param("long", marks=pytest.mark.slow)


@pytest.fixture(scope="module", autouse=True)
def _needs_mitsuba():
    try:
        mitsuba()
    except ImportError as error:
        pytest.skip(f"peer not installed: {error}")


@cache
def demo():
    """Triangles of the demo, and its peer in Mitsuba."""
    triangles = load_scene(SCENE).triangles
    return triangles, Peer(triangles)


@cache
def darkest():
    """Faces and sides that a run of few photons finds darkest, expected case."""
    triangles, _ = demo()
    run = PhotonRun(kernel_scene(triangles), 101, 2)
    run.add_batches(24)
    faces, sides = np.nonzero(triangles.judged)
    light = run.arrivals()[0][1].sum(axis=0)[faces, sides] / triangles.areas[faces]
    order = np.argsort(light, kind="stable")[:DARKEST]
    return faces[order], sides[order]


@cache
def ours(form):
    """Irradiance (W/m2) of the darkest: blocks of raysim's backward paths, (64, faces)."""
    faces, sides = darkest()
    targets = [
        Start(2_000 + i, (int(f),), (int(s),))
        for i, (f, s) in enumerate(zip(faces, sides, strict=True))
    ]
    return adjoint_blocks(demo()[0], targets, FORMS[form][0], 102)[:, 1].sum(axis=1)


@cache
def theirs(form, degrees=0.0):
    """The same by paths on Mitsuba's rays, (16, faces); mirrors blurred by a lobe of so many degrees."""
    faces, sides = darkest()
    return irradiance(demo()[1], faces, sides, FORMS[form][1], 103, np.radians(degrees))


@pytest.mark.parametrize("form", ["short", LONG])
def test_the_darkest_face_sides_are_as_dark_in_mitsuba(form):
    mean, error = mean_and_error(ours(form))
    other, other_error = mean_and_error(theirs(form))
    _, _, each, all_together = FORMS[form]
    freedom = BLOCKS - 1
    assert all_agree(mean, np.hypot(error, other_error), other, each, freedom)
    total = np.hypot(*(mean_and_error(b.mean(axis=1))[1] for b in (ours(form), theirs(form))))
    assert agrees(mean.mean(), total, other.mean(), all_together, freedom)


def change(degrees):
    """Relative change by a lobe: mean over the darkest and its error; and each with its error."""
    flat, lobe = theirs("long"), theirs("long", degrees)
    base = flat.mean(axis=0)
    each, error = mean_and_error(lobe / base), mean_and_error(flat / base)
    together = mean_and_error((lobe / base).mean(axis=1))
    alone = mean_and_error((flat / base).mean(axis=1))
    return (
        (together[0] - 1.0, np.hypot(together[1], alone[1])),
        (each[0] - 1.0, np.hypot(each[1], error[1])),
    )


@pytest.mark.slow
@pytest.mark.parametrize("degrees", [3.0, 6.0])
def test_a_metal_lobe_changes_the_darkest_by_less_than_a_run_settles(degrees, record_property):
    (mean, error), (each, each_error) = change(degrees)
    what = f"lobe of {degrees:g} degrees, change of the darkest face-sides, %"
    record_property("evidence", f"{what}|within 2|{100 * mean:+.2f}|{100 * error:.1g}")
    assert error < 0.2 * DEFAULT_PRECISION  # else nothing would be decided
    assert abs(mean) + z_limit(BLOCKS - 1) * error < 2.0 * DEFAULT_PRECISION
    assert (abs(each) < DEFAULT_PRECISION + 4.0 * each_error).all()
