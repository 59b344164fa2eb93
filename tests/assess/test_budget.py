"""The uncertainty budget: derivatives by path weights against runs of their own."""

from dataclasses import replace

import numpy as np
import pytest
from small_scenes import small_scene, write_scene

from raysim.assess.sensitivity import Bench, Cycle
from raysim.assess.uncertainty import (
    PATHS,
    ROOT3,
    reflectance_columns,
    spot_derivatives,
    uncertainty_budget,
)
from raysim.base.cases import EXPECTED
from raysim.dose.result import Budget, Contribution
from raysim.dose.simulate import load_scene, simulate
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.paths import BackwardRun
from raysim.transport.starts import Start


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    scene = load_scene(write_scene(tmp_path_factory.mktemp("budget")))
    return simulate(scene, photons=1, precision=0.2, threads=2)


def bench_of(result):
    """The worst spot of the expected case, ready to be traced."""
    arrays, spot = kernel_scene(result.triangles), result.cases[EXPECTED].worst
    return Bench(result.triangles, arrays, spot, 1, 2, PATHS)


def light(triangles, spot, paths, seed, change=None):
    """Irradiance of a spot, expected case, and its standard error, with own reflectances."""
    surfaces = list(triangles.surfaces)
    if change is not None:
        k, by = change
        rho = surfaces[k].reflectance + by
        ends = {"reflectance_low": rho, "reflectance": rho, "reflectance_high": rho}
        surfaces[k] = replace(surfaces[k], **ends)
    triangles = replace(triangles, surfaces=tuple(surfaces))
    run = BackwardRun(kernel_scene(triangles), triangles, seed, 2, cases=slice(1, 2))
    side = ("outside", "inside").index(spot.side)
    run.add_starts([Start(3, (spot.face,), (side,))])
    run.add_paths(np.zeros(1, int), np.array([paths]))
    batches = run.batch_irradiance(np.zeros(1, int))[0, :, :, 0].sum(axis=1)
    return batches.mean(), batches.std(ddof=1) / np.sqrt(len(batches))


def test_derivatives_agree_with_finite_differences_of_separate_runs(result):
    """Each surface moved by 0.05 up and down in runs with other random numbers."""
    bench = bench_of(result)
    triangles, spot = bench.triangles, bench.spot
    by_lamp, slope, error, _ = spot_derivatives(Cycle((bench,), (1.0,)))
    checked = 0
    for k, surface in enumerate(triangles.surfaces):
        if surface.is_fresnel:
            continue
        step = 0.05
        up, up_error = light(triangles, spot, 4096, 11 + k, (k, step))
        down, down_error = light(triangles, spot, 4096, 51 + k, (k, -step))
        found = (up - down) / (2.0 * step)
        noise = np.hypot(np.hypot(up_error, down_error) / (2.0 * step), error[k])
        # The curve bends: the third derivative of 1 / (1 - rho) adds step^2 / (1 - rho)^2.
        bend = abs(found) * step**2 / (1.0 - surface.reflectance) ** 2
        assert abs(slope[k] - found) < 4.9 * noise + bend
        checked += abs(found) > 8.0 * noise
    assert checked >= 1, "no surface matters enough to be seen"
    whole, noise = light(triangles, spot, 4096, 5)
    assert abs(by_lamp.sum() - whole) < 5.0 * noise + 0.02 * whole


def test_path_weights_have_far_less_noise_than_two_runs(result):
    bench = bench_of(result)
    _, slope, error, _ = spot_derivatives(Cycle((bench,), (1.0,)))
    lining = int(np.argmax(np.abs(slope)))
    _, plain = light(bench.triangles, bench.spot, 2048, 7)
    of_two_runs = np.sqrt(2.0) * plain / 0.02
    assert error[lining] < 0.3 * of_two_runs
    assert error[lining] < 0.1 * slope[lining]


def test_columns_move_one_surface_at_a_time(result):
    surfaces = result.triangles.surfaces
    columns, width = reflectance_columns(surfaces)
    assert columns.shape == (len(surfaces), 1 + 2 * len(surfaces))
    for k, surface in enumerate(surfaces):
        moved = columns[:, 1 + 2 * k] != columns[:, 2 + 2 * k]
        assert moved.sum() == (not surface.is_fresnel)
        assert width[k] == pytest.approx(columns[k, 1 + 2 * k] - columns[k, 2 + 2 * k])


def test_lamps_share_the_light_and_the_list_is_ranked(result):
    budget = uncertainty_budget(result, 1, 2)
    lamps = [c for c in budget.contributions if c.what.startswith("power of lamp")]
    assert len(lamps) == 2
    assert sum(c.sensitivity for c in lamps) == pytest.approx(1.0)
    sizes = [c.relative for c in budget.contributions]
    assert sizes == sorted(sizes, reverse=True)
    assert all(c.source for c in budget.contributions)
    assert budget.expanded == pytest.approx(2.0 * np.sqrt(np.square(sizes).sum()))
    assert 0.1 < budget.expanded < 1.5


def test_reflectance_term_is_that_of_the_closed_box():
    """dE / E = d rho / (1 - rho): 0.02 at 0.85 is 13 % as a bound, 7.7 % rectangular (worked)."""
    row = Contribution("reflectance", 1.0 / (1.0 - 0.85), 0.02 / ROOT3, "worked")
    assert row.relative == pytest.approx(0.077, abs=0.0005)
    assert row.relative * ROOT3 == pytest.approx(0.133, abs=0.0005)


def test_worked_budget_of_a_calculation_comes_to_22_percent(result):
    """5.8 % lamp, 7.7 % lining, 5 % respirator, 2 % counting: 11 %, U = 22 % (proposed budget)."""
    terms = (0.058, 0.077, 0.05, 0.02)
    rows = tuple(Contribution("term", 1.0, term, "worked") for term in terms)
    budget = Budget(result.cases[EXPECTED].worst, 1.0, rows)
    assert budget.expanded == pytest.approx(0.22, abs=0.005)


def test_every_lamp_and_the_respirator_have_a_place_with_its_error(result):
    budget = uncertainty_budget(result, 1, 2)
    places = [c for c in budget.contributions if c.what.startswith("place of")]
    assert len(places) == 3
    assert all(0.0 <= c.sensitivity < 100.0 for c in places)  # per m: below 100 % a cm
    assert all(c.error > 0.0 for c in places)
    lamp = max((c for c in places if "lamp" in c.what), key=lambda c: c.sensitivity)
    assert lamp.sensitivity > 0.0


def test_glass_and_metal_have_a_refractive_index(tmp_path):
    data = small_scene()
    data["chamber"]["walls"] = {"back": "household mirror"}
    data["surface"] = [{"name": "metal", "refractive_index": 0.19, "extinction": 2.98}]
    data["chamber"]["lining"] = "metal"
    scene = load_scene(write_scene(tmp_path, data))
    whole = simulate(scene, photons=1, precision=0.2, threads=2)
    rows = {c.what: c for c in uncertainty_budget(whole, 1, 2).contributions}
    of_index = {what for what in rows if what.startswith(("refractive", "extinction"))}
    fresnel = [s for s in whole.triangles.surfaces if s.is_fresnel]
    assert fresnel
    assert len(fresnel) == 2
    assert len(of_index) == 3  # glass has no extinction to speak of
    metal = next(rows[what] for what in of_index if what.startswith("extinction"))
    assert metal.sensitivity > 0.0  # more extinction, more reflectance, more light
    assert all(rows[what].error >= 0.0 for what in of_index)
