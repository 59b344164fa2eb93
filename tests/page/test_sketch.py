"""Tests of the sketch: it agrees with the photons of a dose run, and says where its light is from."""

import copy
from pathlib import Path

import numpy as np
import pytest
from small_scenes import small_scene, write_scene

from raysim.base.units import to_mW_cm2
from raysim.dose.simulate import load_scene
from raysim.page.sketch.light import Sketch
from raysim.page.sketch.shape import KeptMeshes, Shapes
from raysim.page.sketch.walls import WallLight
from raysim.page.sketch.why import changes, why
from raysim.scene.build import build_scene
from raysim.scene.file.read import scene_of_text
from raysim.scene.mesh.fault import MeshFault


def sketch_of(folder: Path, edge: float | None = None, **chamber) -> Sketch:
    data = small_scene()
    data["chamber"] |= chamber
    if edge is not None:
        data["object"][0]["edge"] = edge
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


def test_the_darkest_has_been_looked_at_and_is_taken_at_its_upper_end(tmp_path):
    made = sketch_of(tmp_path, edge=8)
    made.add_paths(10_000)
    assert made.darkest(made.light()) is None  # a path a batch: what met no light is dark by chance
    for _ in range(4):
        made.add_paths(10)
        light = made.light()
    site, mean, error = made.darkest(light)
    looked = made.paths.paths >= 12
    assert looked[site]
    assert 1 <= looked.sum() < len(looked)
    upper = light.mean + 2.0 * light.error
    assert mean + 2.0 * error == upper[looked].min()


def test_a_face_whose_turn_has_not_come_shows_its_neighbours(tmp_path):
    made = sketch_of(tmp_path, edge=3)
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


def drum_scene(folder: Path):
    """The small scene in a drum of few facets, which lie well inside of its circle."""
    import trimesh

    vessel = trimesh.creation.cylinder(radius=180, height=350, sections=16)
    vessel.apply_translation([150, 125, 175])
    data = small_scene()
    data["chamber"] = {"mesh": "vessel.ply", "lining": "aluminium foil, bright side"}
    return load_scene(write_scene(folder, data, vessel=vessel))


@pytest.mark.parametrize("shape", ["box", "drum"])
def test_what_falls_on_the_walls_is_what_photons_count_there(shape, tmp_path):
    """Mean of the cells of each wall against the photons that arrive on its triangles.

    Two estimators that share no formula. Cells of 10 mm, so that their middles stand for them; 3 %
    leave room for the paths and for the facets, whose area is 1.3 % below that of the circle.
    """
    scene = load_scene(write_scene(tmp_path)) if shape == "box" else drum_scene(tmp_path)
    made = Sketch(scene, 1)
    while made.paths is None:
        made.prepare()
    lit = WallLight(made, cell=0.01)
    for _ in range(3):
        lit.add_paths()
    made.photons.add_batches(50)
    triangles = made.triangles
    watts = made.factors * (made.arrays[0].lamp_watts / made.photons.photons_by_case)[0]
    power = np.einsum("l,lfs->f", watts, made.photons.arrivals()[0][0])
    side = wall_of_face(shape, triangles)
    for row in lit.rows():
        cells = [e or 0.0 for e, inside in zip(row["light"], row["inside"], strict=True) if inside]
        faces = [face for face, wall in enumerate(side) if wall == row["wall"]]
        counted = power[faces].sum() / triangles.areas[faces].sum()
        assert np.mean(cells) == pytest.approx(float(to_mW_cm2(counted)), rel=0.03), row["wall"]


def wall_of_face(shape: str, triangles) -> list[str]:
    """The wall of the net that each triangle lies on, "" for the load."""
    bodies = [triangles.bodies[body] for body in triangles.face_body]
    if shape == "box":
        return [body.wall if body.kind == "wall" else "" for body in bodies]
    up = triangles.normals[:, 2]
    names = np.where(np.abs(up) < 0.5, "mantle", "")
    z = triangles.centroids[:, 2]
    names = np.where(np.abs(up) >= 0.5, np.where(z < 0.1, "bottom", "top"), names)
    return [str(n) if body.kind == "wall" else "" for n, body in zip(names, bodies, strict=True)]
