"""The darkest spots of a thinned mesh are judged again on the original."""

import numpy as np
import pytest
import trimesh
from small_scenes import small_scene, write_scene

import raysim
from raysim.base.cases import CAUTIOUS
from raysim.base.fault_codes import Code


def pleated():
    """A sheet of 12 mm in pleats 1 mm wide and 1 mm deep, which thinning evens out."""
    x, z = np.meshgrid(np.linspace(0.0, 12.0, 121), np.linspace(0.0, 12.0, 5), indexing="ij")
    corners = np.stack([x, 0.5 * np.sin(2.0 * np.pi * x), z], axis=-1).reshape(-1, 3)
    number = np.arange(len(corners)).reshape(x.shape)
    a, b, c, d = number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]
    faces = np.concatenate([np.stack(t, -1).reshape(-1, 3) for t in ((a, b, c), (a, c, d))])
    return trimesh.Trimesh(corners, faces, process=False)


def judged(folder, **keys):
    """Result of the small scene with the pleated sheet, and keys of its object."""
    folder.mkdir()
    data = small_scene()
    data["object"][0] |= {"mesh": "pleats.ply", **keys}
    return raysim.simulate(
        raysim.load_scene(write_scene(folder, data, pleats=pleated())),
        photons=200_000,
        precision=0.1,
    )


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pleats")
    return judged(folder / "whole"), judged(folder / "thin", thin="3 mm")


def test_the_time_is_that_of_the_pleats_of_the_original(both):
    whole, thin = (one.cases[CAUTIOUS] for one in both)
    at = both[1].triangles.judged
    assert at.sum() < both[0].triangles.judged.sum() / 5
    flattened = thin.irradiance[at].min()
    assert thin.worst.irradiance < 0.95 * flattened  # the thinned mesh hides how dark it is
    assert thin.worst.irradiance == pytest.approx(whole.worst.irradiance, rel=0.15)
    assert thin.bound < 1.1 * whole.worst.irradiance
    assert thin.exposure_time == both[1].requirement.time(thin.bound)
    assert thin.summary.bound == thin.bound
    assert thin.per_object[0].bound == thin.bound
    assert thin.worst_per_object[0] == thin.worst


def test_it_is_told_and_only_of_thinned_meshes(both):
    whole, thin = both
    (told,) = [fault for fault in thin.warnings if fault.code is Code.JUDGED_AGAIN]
    assert "and sets the time" in told.what
    assert not [fault for fault in whole.warnings if fault.code is Code.JUDGED_AGAIN]
