"""Tests of the sketch: it agrees with the photons of a dose run, and says where its light is from."""

import copy
from pathlib import Path

import numpy as np
import pytest
from small_scenes import small_scene, write_scene

from raysim.dose.simulate import load_scene
from raysim.page.sketch.light import Sketch
from raysim.page.sketch.shape import KeptMeshes, Shapes
from raysim.page.sketch.why import changes, why
from raysim.scene.build import build_scene
from raysim.scene.file.read import scene_of_text
from raysim.scene.mesh.fault import MeshFault


def sketch_of(folder: Path, **chamber) -> Sketch:
    data = small_scene()
    data["chamber"] |= chamber
    made = Sketch(load_scene(write_scene(folder, data)), 1)
    made.first_photons()
    while made.paths is None:
        made.prepare()
    return made


def test_gathered_paths_agree_with_photons_alone(tmp_path):
    made = sketch_of(tmp_path)
    made.photons.add_batches(240)
    counted = made._counted()
    for _ in range(150):
        made.add_paths(10_000)
    gathered = made.light()
    error = np.hypot(counted.error, gathered.error)
    assert np.median(error / counted.mean) < 0.03
    assert (np.abs(gathered.mean - counted.mean) < 5.0 * error).all()
    whole = gathered.mean.mean() / counted.mean.mean()
    assert abs(whole - 1.0) < 0.03


def moved(data: dict, kind: str, x: float) -> dict:
    data = copy.deepcopy(data)
    for key in ("from", "to", "at"):
        if key in data[kind][0]:
            data[kind][0][key][0] = x
    return data


@pytest.mark.parametrize(("kind", "told"), [("lamp", ["shape"]), ("object", ["solid", "shape"])])
def test_what_is_kept_of_the_draft_before_changes_no_number(tmp_path, kind, told):
    shapes, load, found = Shapes(), KeptMeshes(), []
    path = write_scene(tmp_path)
    earlier = None
    for number, data in enumerate((small_scene(), moved(small_scene(), kind, 90))):
        written = scene_of_text(write_scene(tmp_path, data).read_text(), path.name)
        scene = build_scene(path, written, load=load)
        found = [record["is"] for record in shapes.records(number, scene.triangles)]
        earlier = Sketch(scene, 1, earlier)
    assert found == told
    fresh = Sketch(load_scene(path), 1)
    for one in (earlier, fresh):
        one.first_photons()
    assert (earlier.light().mean == fresh.light().mean).all()
    assert (earlier.light().error == fresh.light().error).all()


def test_a_mesh_that_has_changed_is_read_again(tmp_path):
    import trimesh

    load, path = KeptMeshes(), tmp_path / "one.ply"
    trimesh.creation.box((10.0, 20.0, 30.0)).export(path)
    first = load(path, folder=tmp_path, repair=True)
    assert load(path, folder=tmp_path, repair=True) is first
    trimesh.creation.icosphere(subdivisions=1, radius=9.0).export(path)
    assert len(load(path, folder=tmp_path, repair=True)[0].faces) == 80
    path.unlink()
    with pytest.raises(MeshFault, match="not there"):
        load(path, folder=tmp_path, repair=True)


def test_the_darkest_is_taken_at_its_upper_end(tmp_path):
    made = sketch_of(tmp_path)
    made.add_paths(10_000)
    light = made.light()
    site, mean, error = made.darkest(light)
    assert (mean + 2.0 * error <= light.mean + 2.0 * light.error + 1e-12).all()
    assert site < len(made.sites.faces)


def test_a_face_whose_turn_has_not_come_shows_its_neighbours(tmp_path):
    data = small_scene()
    data["object"][0]["edge"] = 3
    made = Sketch(load_scene(write_scene(tmp_path, data)), 1)
    made.first_photons()
    while made.paths is None:
        made.prepare()
    made.add_paths(len(made.sites.faces) // 2)
    light = made.light()
    own = made.paths.paths > 0
    filled = ~own & np.isfinite(light.error)
    assert filled.any()
    assert light.mean[filled].min() > 0.0
    assert 0.5 < light.mean[filled].mean() / light.mean[own].mean() < 2.0


@pytest.mark.parametrize(
    ("lining", "mirrored", "scattered"),
    [
        ({"reflectance": 0.0}, 0.0, 0.0),
        ({"reflectance": 0.8, "specular": 0.0}, 0.0, None),
        ({"reflectance": 0.8, "specular": 1.0}, None, 0.0),
    ],
)
def test_light_is_told_apart_by_its_ways(tmp_path, lining, mirrored, scattered):
    made = sketch_of(tmp_path, lining=lining)
    found = why(made, int(made.sites.faces[0]), int(made.sites.sides[0]))
    assert found["direct"] + found["mirrored"] + found["scattered"] == pytest.approx(1.0)
    assert sum(lamp["share"] for lamp in found["lamps"]) == pytest.approx(1.0)
    for share, limit in ((found["mirrored"], mirrored), (found["scattered"], scattered)):
        # the tubes themselves scatter 5 %, and the two runs have their errors
        assert share < 0.06 if limit == 0.0 else share > 0.2


def test_what_hides_a_lamp_is_named(tmp_path):
    import trimesh

    data = small_scene()
    wall = trimesh.creation.box((4.0, 200.0, 300.0))
    data["object"].append(
        {"name": "screen", "mesh": "screen.ply", "surface": "strap", "at": [90, 125, 170]}
    )
    made = Sketch(load_scene(write_scene(tmp_path, data, screen=wall)), 1)
    hidden = {}
    for site in range(len(made.sites.faces)):
        found = why(made, int(made.sites.faces[site]), int(made.sites.sides[site]))
        for name, share in found["lamps"][0]["hidden"]:
            hidden[name] = max(hidden.get(name, 0.0), share)
    assert hidden["screen"] > 0.9


def test_changes_are_tried_on_a_thing_with_what_hangs_there(tmp_path):
    made = sketch_of(tmp_path)
    found = list(changes(made, int(made.sites.faces[0]), int(made.sites.sides[0])))
    assert len(found) == 9
    assert all(0.0 < one["factor"] < 100.0 for one in found)
