"""A scene that needs more memory than a laptop has is refused before any tracing."""

import re

import pytest
from small_scenes import errors_of, faults_of, small_scene, write_scene

import raysim
from raysim.base.fault_codes import Code
from raysim.scene.check import memory
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.paths import ROUND_BATCHES, BackwardRun
from raysim.transport.photons import PhotonRun


def dense(folder, edge=1, **target):
    data = small_scene()
    data["object"][0]["edge"] = edge
    data["target"] = target
    return write_scene(folder, data)


def test_the_sum_is_that_of_the_arrays_of_a_run(tmp_path):
    scene = raysim.load_scene(write_scene(tmp_path))
    arrays, triangles = kernel_scene(scene.triangles), scene.triangles
    photons = PhotonRun(arrays, 1, 4)
    counted = photons._total.nbytes + photons._squares.nbytes
    assert counted == memory.PER_FACE * len(triangles.areas) * len(triangles.lamps)
    paths = BackwardRun(arrays, triangles, 1, 1, batches=ROUND_BATCHES)
    assert paths._sums[0].nbytes == memory.PER_SIDE * len(triangles.lamps)


def test_too_large_a_scene_is_refused_with_the_sum(tmp_path, monkeypatch):
    path = dense(tmp_path)
    assert not errors_of(path)
    monkeypatch.setattr(memory, "MOST_MEMORY", 2**22)
    (fault,) = errors_of(path)
    assert fault.code is Code.TOO_MANY_TALLIES
    judged = raysim.load_scene(path).triangles.judged
    assert f"for {judged.sum():,} judged face-sides" in fault.what
    whole, most, *terms = (float(x) for x in re.findall(r"([\d.]+) GiB", fault.what))
    assert sum(terms) == pytest.approx(whole, rel=0.1)
    assert most == pytest.approx(2**22 / 2**30, rel=0.1)


def test_patches_of_a_dense_mesh_are_part_of_the_sum(tmp_path, monkeypatch):
    path = dense(tmp_path, edge=3, judge_area="10 cm2")
    triangles = raysim.load_scene(path).triangles
    assert not errors_of(path)
    sites = raysim.estimate.face_sides.judged_sites(triangles, 1e-3)
    held = sum(len(sites.discs.members(k)) for k in range(0, len(sites.faces), 50)) * 50
    monkeypatch.setattr(memory, "MOST_MEMORY", 2**22)
    said = next(fault.what for fault in faults_of(path) if fault.code is Code.TOO_MANY_TALLIES)
    stated = float(re.search(r"([\d.]+) GiB for the face-sides of all patches", said)[1])
    each = memory.PER_MEMBER + memory.AT_WORK * min(memory.AT_ONCE / len(sites.faces), 1.0)
    assert stated * 2**30 == pytest.approx(each * held, rel=0.5)
