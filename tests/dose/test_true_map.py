"""Minimum and map against independent runs, where many sites are alike or very dark: slow."""

from pathlib import Path

import numpy as np
import pytest
import trimesh
from small_scenes import small_scene, write_scene

import raysim
from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.dose.lamp_output import lamp_factors
from raysim.estimate.bounds import batch_mean
from raysim.estimate.face_sides import judged_sites
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.options import RunOptions
from raysim.transport.paths import traced_irradiance

DEMO = Path(__file__).parents[2] / "scenes" / "clinic_locker.toml"


def grid(width: float, height: float, step: float) -> trimesh.Trimesh:
    """Level sheet of equal triangles, two to a square of `step`, mm."""
    columns, rows = round(width / step), round(height / step)
    x, y = np.meshgrid(np.arange(columns + 1) * step, np.arange(rows + 1) * step)
    corners = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    first = (np.arange(rows)[:, None] * (columns + 1) + np.arange(columns)).ravel()
    across, up = first + 1, first + columns + 1
    faces = np.concatenate([np.stack([first, across, up], 1), np.stack([across, up + 1, up], 1)])
    return trimesh.Trimesh(corners, faces, process=False)


def plate_between_four_lamps(folder: Path) -> Path:
    """2048 face-sides of one plate in a white box of 400 mm, four lamps of 3 W in its corners."""
    data = small_scene()
    white = {name: 0.9 for name in ("reflectance", "reflectance_low", "reflectance_high")}
    data["chamber"] = {"inside": [400, 400, 400], "lining": white}
    ends = [(x, y) for x in (40, 360) for y in (40, 360)]
    data["lamp"] = [
        {
            "name": f"{x} {y}",
            "from": [x, y, 60],
            "to": [x, y, 340],
            "diameter": 16,
            "uvc": "3 W",
        }
        for x, y in ends
    ]
    judged = {"name": "plate", "mesh": "fine.ply", "surface": "respirator fabric", "judged": True}
    data["object"] = [judged | {"at": [140, 170, 200]}]
    return write_scene(folder, data, fine=grid(120, 60, 3.75))


@pytest.mark.slow
def test_two_thousand_alike_face_sides_are_settled_to_two_per_cent(tmp_path):
    scene = raysim.load_scene(plate_between_four_lamps(tmp_path))
    assert len(judged_sites(scene.triangles).faces) == 2048
    result = raysim.simulate(scene)
    assert max(result.cases[name].precision for name in (CAUTIOUS, EXPECTED)) <= 0.02
    assert result.segments < 140_000_000


@pytest.mark.slow
def test_bounds_in_a_very_dark_gap_are_close_to_the_truth(tmp_path):
    data = small_scene()
    sheet = {"surface": "respirator fabric", "mesh": "sheet.ply", "judged": True}
    at = [100, 75, 175]
    data["object"] = [
        sheet | {"name": "lower", "at": at},
        sheet | {"name": "upper", "at": [*at[:2], at[2] + 6]},
    ]
    scene = raysim.load_scene(write_scene(tmp_path, data, sheet=grid(100, 100, 5)))
    arrays = kernel_scene(scene.triangles)
    sites = judged_sites(scene.triangles)
    hours = [lamp.hours for lamp in scene.triangles.lamps]
    factors = lamp_factors(hours, scene.written.lamps_behaviour)[CAUTIOUS]
    shares = []
    for seed in range(6):
        result = raysim.simulate(scene, seed=seed)
        case = result.cases[CAUTIOUS]
        place = (sites.faces == case.worst.face) & (sites.sides == (case.worst.side == "inside"))
        (site,) = np.flatnonzero(place)
        light, _ = traced_irradiance(
            arrays,
            scene.triangles,
            sites.targets(np.array([site])),
            20_000,
            RunOptions(100 + seed, 2),
            cases=slice(1),
        )
        truth, error = batch_mean(light[..., 0] @ factors)
        assert error < 0.01 * truth
        shares.append(float(case.bound / truth[0]))
    print(shares)
    assert min(shares) > 0.9
    assert max(shares) < 1.03


@pytest.mark.slow
def test_what_one_run_shows_as_dark_is_about_as_dark_in_another():
    """Classes of sites picked by the map of one run: how much brighter another run sees them.

    Before paths read counts these were 11, 23 and 19 %, and the plain mean 1.5 to 1.9 % too large.
    """
    scene = raysim.load_scene(DEMO)
    judged = scene.triangles.judged
    areas = np.repeat(scene.triangles.areas[:, None], 2, axis=1)[judged]
    one, other = (raysim.simulate(scene, seed=seed).cases[CAUTIOUS] for seed in (11, 12))
    shown, again = one.irradiance[judged], other.irradiance[judged]
    limits = np.percentile(shown, [0, 1, 5, 25])
    brighter = []
    for low, high in zip(limits[:-1], limits[1:], strict=True):
        picked = (shown >= low) & (shown < high)
        brighter.append(float(again[picked].mean() / shown[picked].mean() - 1.0))
    print(brighter)
    assert all(b < most for b, most in zip(brighter, (0.10, 0.14, 0.09), strict=True))
    for case in (one, other):
        plain = case.irradiance[judged] @ areas / areas.sum()
        assert abs(plain / case.summary.mean - 1.0) < 0.008
