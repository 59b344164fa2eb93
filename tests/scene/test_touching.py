"""What touches something in every pose is not judged, but listed; what touches widely stays."""

import numpy as np
import pytest
from small_scenes import plate, small_scene, write_scene

from raysim.dose.simulate import load_scene
from raysim.scene.check.touching import MOST_SET_ASIDE, set_aside


def scene_with_nail(folder, at=(130.0, 125.2, 150.0), **changes):
    """The small scene with a little sheet, 2 cm2, a hair behind the middle of its plate."""
    data = small_scene()
    data["object"][0]["edge"] = 5
    data["object"][0]["mesh"] = "wide.ply"
    data["object"].append({"name": "nail", "mesh": "nail.ply", "surface": "foil", "at": list(at)})
    meshes = {"nail": plate(14.0, 14.0), "wide": plate(80.0, 80.0)}
    return load_scene(write_scene(folder, data | changes, **meshes))


def test_a_spot_that_touches_is_set_aside_with_its_area_and_what_it_touches(tmp_path):
    scene = scene_with_nail(tmp_path)
    apart = set_aside(scene)
    (spot,) = apart.untreated
    assert (spot.object, spot.on) == ("plate", "nail")
    faces = np.flatnonzero(~apart.triangles.judged.all(axis=1) & scene.triangles.judged.all(axis=1))
    assert tuple(faces.tolist()) == spot.faces
    assert spot.area == pytest.approx(scene.triangles.areas[faces].sum(), rel=1e-12)
    assert 0.5e-4 < spot.area < 2.5e-4  # m2: faces whose middles lie before the 2 cm2
    assert set_aside(apart) is apart


def test_half_a_millimetre_is_no_touch(tmp_path):
    scene = scene_with_nail(tmp_path, at=(130.0, 125.5, 150.0))
    apart = set_aside(scene)
    assert apart.untreated == ()
    assert (apart.triangles.judged == scene.triangles.judged).all()


def test_another_pose_lights_the_spot(tmp_path):
    moved = [
        {"name": "as hung"},
        {"name": "shifted", "object": [{"name": "plate", "at": [90, 100, 150]}]},
    ]
    apart = set_aside(scene_with_nail(tmp_path, pose=moved))
    assert apart.untreated == ()
    assert all(pose.triangles.judged.sum() == apart.triangles.judged.sum() for pose in apart.poses)


def test_what_touches_over_more_than_a_tenth_stays_judged(tmp_path):
    """Else whoever lays a respirator flat on a wall would get a timer for the rest of it."""
    data = small_scene()
    data["object"][0]["at"] = [130, 0.1, 150]
    scene = load_scene(write_scene(tmp_path, data))
    apart = set_aside(scene)
    assert apart.untreated == ()
    assert (apart.triangles.judged == scene.triangles.judged).all()
    assert MOST_SET_ASIDE == 0.1
