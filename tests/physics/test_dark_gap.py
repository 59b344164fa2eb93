"""Sites in a dark gap: few of their paths find light, and hundreds of them are nearly alike."""

import pytest
from test_known_light import WHITE, Hard, Thing, scene_in

import raysim
from raysim.dose import trace_failures
from raysim.estimate import share_out

CORNERS = tuple(([x, y, 60], [x, y, 340]) for x in (30, 370) for y in (30, 370))


def bounds(folder, seeds, gap, edge):
    """Of two plates so many mm apart: bound / what the worst site gets, and that (W/m2)."""
    plates = tuple(Thing("plate.obj", [160, y, 160], edge=edge) for y in (200, 200 + gap))
    scene = scene_in(folder, Hard("inside = [400, 400, 400]", WHITE, 50, CORNERS, plates))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(trace_failures, "SHARE", 0.0)
        cases = [raysim.simulate(scene, seed=seed).cases["cautious"] for seed in seeds]
    worst = [case.worst.irradiance for case in cases]
    return [case.bound / irradiance for case, irradiance in zip(cases, worst, strict=True)], worst


def test_at_the_limit_of_rays_no_site_is_left_behind(tmp_path, monkeypatch):
    """A site that left reading late had few paths, its neighbours thousands, and set the timer."""
    monkeypatch.setattr(share_out, "MOST_RAYS", 6_000_000)
    shares, _ = bounds(tmp_path, (1,), 3, 27)
    assert min(shares) > 0.6


@pytest.mark.slow
@pytest.mark.parametrize(("gap", "least"), [(3, 0.85), (1.5, 0.7)])
def test_a_dark_gap_is_known_whatever_the_seed(tmp_path, gap, least):
    """Bounds of 0.01 to 0.92 and of 0.05 were seen, by luck of the seed."""
    shares, worst = bounds(tmp_path, (3, 4, 6, 8), gap, 12)
    assert least < min(shares)
    assert max(worst) < 1.1 * min(worst)
