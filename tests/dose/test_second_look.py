"""The darkest spots of a thinned mesh are judged again on the original."""

import numpy as np
import pytest
import trimesh
from small_scenes import small_scene, write_scene

import raysim
from raysim.base.cases import CAUTIOUS
from raysim.base.fault_codes import Code


def pitted():
    """A fine sheet of 40 mm with a pit of 3 mm, deep and narrow, that thinning evens out."""
    steps = np.linspace(0.0, 40.0, 161)
    x, z = np.meshgrid(steps, steps, indexing="ij")
    depth = 6.0 * np.exp(-((x - 20.0) ** 2 + (z - 20.0) ** 2) / 0.8**2)
    corners = np.stack([x, depth, z], axis=-1).reshape(-1, 3)
    number = np.arange(161 * 161).reshape(161, 161)
    a, b, c, d = number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]
    faces = np.concatenate([np.stack(t, -1).reshape(-1, 3) for t in ((a, b, c), (a, c, d))])
    return trimesh.Trimesh(corners, faces, process=False)


def judged(folder, **keys):
    """Result of the small scene with the pitted sheet, and keys of its object."""
    folder.mkdir()
    data = small_scene()
    data["object"][0] |= {"mesh": "pit.ply", **keys}
    return raysim.simulate(
        raysim.load_scene(write_scene(folder, data, pit=pitted())), photons=200_000, precision=0.1
    )


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pit")
    return judged(folder / "whole"), judged(folder / "thin", thin="5 mm")


def test_the_time_is_that_of_the_pit_on_the_original(both):
    whole, thin = (one.cases[CAUTIOUS] for one in both)
    assert len(both[1].triangles.areas) < len(both[0].triangles.areas) / 5
    at = both[1].triangles.judged
    flattened = thin.irradiance[at].min()
    assert thin.worst.irradiance < 0.8 * flattened  # the thinned mesh hides how dark it is
    assert thin.worst.irradiance == pytest.approx(whole.worst.irradiance, rel=0.15)
    assert np.linalg.norm(thin.worst.centroid - whole.worst.centroid) < 0.002
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
