"""Patches judged in place of single faces: `target.judge_area`."""

import numpy as np
import pytest
from agreement import z_scores
from small_scenes import box, plate, small_scene, with_object, write_scene

import raysim
import raysim.transport.poses
from raysim.base.cases import CAUTIOUS
from raysim.estimate.discs import discs_about
from raysim.estimate.face_sides import judged_sites
from raysim.output.words.sentences import detail_rows

AREA = 4e-4  # m2


def scene_in(folder, area=None, edge=9, data=None):
    """The small scene with a plate of 40 mm in fine faces, patches judged if `area` is given."""
    data = data or small_scene()
    data["object"][0]["edge"] = edge
    if area:
        data["target"] = {"judge_area": area}
    cover = box((44.0, 1.0, 10.0))
    return raysim.load_scene(write_scene(folder, data, plate=plate(), thing=cover))


@pytest.fixture(scope="module")
def truth(tmp_path_factory):
    """A long run of single faces, and the mean over the patch about each, with a safe error."""
    scene = scene_in(tmp_path_factory.mktemp("faces"))
    result = raysim.simulate(scene, photons=2_000_000, seed=21)
    own = result.triangles.judged
    faces, sides = np.nonzero(own)
    discs = discs_about(result.triangles, faces, sides, AREA)
    mean = [[discs.means(v[own]) for v in c] for c in result.lamp_irradiance]
    error = [[discs.means(v[own]) for v in c] for c in result.lamp_standard_error]
    return np.array(mean), np.array(error)


@pytest.mark.parametrize("precision", [None, 0.05])
def test_every_figure_is_the_mean_over_the_patch(tmp_path, truth, precision):
    result = raysim.simulate(
        scene_in(tmp_path, "4 cm2"), photons=500_000, seed=22, precision=precision
    )
    own = result.triangles.judged
    got, error = result.lamp_irradiance[:, :, own], result.lamp_standard_error[:, :, own]
    mean, its_error = truth
    assert np.abs(z_scores(got, np.hypot(error, its_error), mean)).max() < 5.0
    case = result.cases[CAUTIOUS]
    assert np.array_equal(case.irradiance[own].min(), case.summary.worst)
    assert any("Judged are patches of 4.00 cm2" in line for _, line in detail_rows(result))
    if precision is not None:
        assert result.refined.any()
        least = case.lamp_factor * mean[0].sum(axis=0).min()
        assert (1.0 - 3.0 * precision) * least < case.bound < 1.02 * least


def test_errors_of_patches_from_counts_are_never_too_small(tmp_path, monkeypatch):
    monkeypatch.setattr(raysim.transport.poses, "BATCH_PHOTONS", 4_096)
    scene = scene_in(tmp_path, "4 cm2")
    runs = [raysim.simulate(scene, photons=1, seed=seed) for seed in range(40, 70)]
    own = runs[0].triangles.judged
    values = np.array([run.cases[CAUTIOUS].irradiance[own] for run in runs])
    errors = np.array([run.cases[CAUTIOUS].standard_error[own] for run in runs])
    spread = values.var(axis=0, ddof=1)
    # 30 seeds: the variance over seeds is known to a quarter, its mean over face-sides better.
    assert spread.mean() < (errors**2).mean()
    assert (spread < 2.5 * (errors**2).mean(axis=0)).all()


def test_a_dark_stripe_counts_for_less_in_a_patch_than_by_itself(tmp_path):
    def shaded(area=None):
        data = with_object(at=[128, 126, 150], surface={"reflectance": 0.0})
        data["object"][1]["mesh"] = "thing.ply"
        return scene_in(tmp_path, area, edge=7, data=data)

    by_face = raysim.simulate(shaded(), photons=200_000, precision=0.2, seed=3)
    by_patch = raysim.simulate(shaded("9 cm2"), photons=200_000, precision=0.2, seed=3)
    assert by_patch.cases[CAUTIOUS].bound > 1.5 * by_face.cases[CAUTIOUS].bound
    assert by_patch.timer < by_face.timer / 1.4


def test_a_patch_smaller_than_a_face_is_the_face(tmp_path):
    scene = scene_in(tmp_path, "1 mm2", edge=25)
    plain = raysim.simulate(scene_in(tmp_path, edge=25), photons=1, precision=0.2, seed=1)
    small = raysim.simulate(scene, photons=1, precision=0.2, seed=1)
    assert small.lamp_irradiance == pytest.approx(plain.lamp_irradiance, rel=1e-12)
    assert small.timer == pytest.approx(plain.timer, rel=1e-9)


def test_targets_of_patches_start_all_over_them(tmp_path):
    scene = scene_in(tmp_path)
    sites = judged_sites(scene.triangles, AREA)
    (target,) = sites.targets(np.array([5]))
    assert len(target.faces) > 5
    assert (sites.faces[5], sites.sides[5]) in zip(target.faces, target.sides, strict=True)
    assert set(target.sides) == {sites.sides[5]}
