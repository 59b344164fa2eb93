"""From a scene to triangles: walls, objects in their places, surfaces, sides."""

import numpy as np
import pytest
import trimesh
from small_scenes import (
    MILLI,
    box,
    errors_of,
    faults_of,
    only_fault,
    plate,
    small_scene,
    with_object,
    write_scene,
)

from raysim.base.errors import Level
from raysim.dose.simulate import load_scene
from raysim.library.surfaces import find_surface
from raysim.scene.mesh import subdivide
from raysim.scene.mesh.meshes import load_parts
from raysim.scene.place import placed, turning
from raysim.scene.triangles import INSIDE, OUTSIDE, SceneTriangles, is_wall_name, wall_body


def built(folder, data=None, **meshes) -> SceneTriangles:
    """Triangles of a scene that has no errors."""
    return load_scene(write_scene(folder, data, **meshes)).triangles


def body(triangles: SceneTriangles, name: str) -> np.ndarray:
    """Numbers of the faces of the body of this name."""
    names = [entry.name for entry in triangles.bodies]
    return triangles.faces_of(names.index(name))


def surface_of(triangles: SceneTriangles, name: str, part: str = ""):
    """Surface of a part of a body."""
    names = [entry.name for entry in triangles.bodies]
    (found,) = [p for p in triangles.parts if names[p.body] == name and p.name == part]
    return triangles.surfaces[found.surface]


def volume(triangles: SceneTriangles, faces: np.ndarray) -> float:
    """Volume (m3) that faces with outward normals enclose: divergence theorem."""
    cone = (triangles.centroids[faces] * triangles.normals[faces]).sum(axis=1)
    return float((cone * triangles.areas[faces]).sum() / 3.0)


def walls(triangles: SceneTriangles) -> np.ndarray:
    """Numbers of the faces of all walls."""
    kinds = np.array([entry.kind for entry in triangles.bodies])
    return np.flatnonzero(kinds[triangles.face_body] == "wall")


# Plane of each wall of the small scene (axis, mm) and the way it faces.
BOX_PLANES = {
    "left": (0, 0.0, 1),
    "right": (0, 300.0, -1),
    "front": (1, 0.0, 1),
    "back": (1, 250.0, -1),
    "floor": (2, 0.0, 1),
    "ceiling": (2, 350.0, -1),
}


def test_walls_of_a_box_stand_where_they_are_called_and_face_inwards(tmp_path):
    triangles = built(tmp_path)
    assert triangles.closed
    for name, (axis, at, way) in BOX_PLANES.items():
        faces = body(triangles, f"chamber: {name}")
        assert np.allclose(triangles.corners[faces][..., axis], at * MILLI, atol=1e-15)
        normal = np.zeros(3)
        normal[axis] = way
        assert np.allclose(triangles.normals[faces], normal, atol=1e-12)
        assert not triangles.judged[faces].any()
    faces = walls(triangles)
    assert volume(triangles, faces) == pytest.approx(-0.3 * 0.25 * 0.35, rel=1e-12)
    sides = 2.0 * (0.3 * 0.25 + 0.3 * 0.35 + 0.25 * 0.35)
    assert triangles.areas[faces].sum() == pytest.approx(sides, rel=1e-12)


def test_walls_share_their_corners_to_the_last_bit(tmp_path):
    data = small_scene()
    data["chamber"]["inside"] = [299.7, 250.1, 333.3]
    triangles = built(tmp_path, data)
    corners = triangles.corners[walls(triangles)]
    _, number = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    edges = np.sort(number.reshape(-1, 3)[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    _, shared = np.unique(edges, axis=0, return_counts=True)
    assert (shared == 2).all()


def test_walls_may_differ_from_the_lining(tmp_path):
    data = small_scene()
    data["chamber"]["walls"] = {
        "front": "white paint",
        "floor": {"reflectance": 0.4, "reflectance_low": 0.3, "specular": 0.2},
    }
    triangles = built(tmp_path, data)
    assert surface_of(triangles, "chamber: front") == find_surface("white paint")
    assert surface_of(triangles, "chamber: back") == find_surface("foil")
    floor = surface_of(triangles, "chamber: floor")
    assert (floor.reflectance_low, floor.reflectance, floor.reflectance_high) == (0.3, 0.4, 0.4)
    assert floor.specular == 0.2


def test_a_surface_of_the_scene_goes_before_the_library(tmp_path):
    data = small_scene()
    data["surface"] = [
        {"name": "Foil", "reflectance": 0.6, "reflectance_low": 0.5},
        {"name": "pane", "refractive_index": 1.5},
    ]
    data["chamber"] |= {"lining": "foil", "walls": {"front": "PANE"}}
    triangles = built(tmp_path, data)
    assert surface_of(triangles, "chamber: back").reflectance_low == 0.5
    pane = surface_of(triangles, "chamber: front")
    # Normal incidence, ((n - 1) / (n + 1))^2 = 0.04 for n = 1.5.
    assert pane.is_fresnel
    assert pane.reflectance == pytest.approx(0.04, rel=1e-12)


@pytest.mark.parametrize(
    ("where", "key"),
    [
        (("chamber", "lining"), "chamber.lining"),
        (("object", 0, "surface"), 'object 1 "plate".surface'),
    ],
)
def test_an_unknown_surface_names_the_nearest(tmp_path, where, key):
    data = small_scene()
    inner = data[where[0]] if len(where) == 2 else data[where[0]][where[1]]
    inner[where[-1]] = "aluminum sheet, polishd"
    fault = only_fault(write_scene(tmp_path, data))
    assert fault.key == key
    assert "aluminium sheet, polished" in fault.mend


def test_an_unknown_wall_lists_the_walls(tmp_path):
    data = small_scene()
    data["chamber"]["walls"] = {"door": "foil"}
    fault = only_fault(write_scene(tmp_path, data))
    assert fault.key == "chamber.walls.door"
    assert all(name in fault.mend for name in BOX_PLANES)


# ---------------------------------------------------------------- chambers of any shape


def l_shape() -> trimesh.Trimesh:
    """L-shaped prism, mm: 300 x 250 with the corner beyond (180, 140) missing, 350 high."""
    outline = [(0, 0), (300, 0), (300, 140), (180, 140), (180, 250), (0, 250)]
    corners = [(x, y, z) for z in (0, 350) for x, y in outline]
    caps = [(0, 1, 2), (0, 2, 3), (0, 3, 4), (0, 4, 5)]
    faces = [cap[::-1] for cap in caps] + [tuple(6 + c for c in cap) for cap in caps]
    for a in range(6):
        b = (a + 1) % 6
        faces += [(a, b, b + 6), (a, b + 6, a + 6)]
    return trimesh.Trimesh(corners, faces, process=False)


L_VOLUME = (0.3 * 0.25 - 0.12 * 0.11) * 0.35  # m3


def mesh_scene(name: str) -> dict:
    """The small scene in a chamber from a mesh, its right lamp moved to fit into the L."""
    data = small_scene()
    data["chamber"] = {"mesh": name, "lining": "foil"}
    data["lamp"][1] |= {"from": [260, 100, 60], "to": [260, 100, 290]}
    data["object"][0]["at"] = [110, 125, 150]
    return data


@pytest.mark.parametrize("inverted", [False, True])
def test_an_l_shaped_chamber_faces_inwards_however_it_was_drawn(tmp_path, inverted):
    shape = l_shape()
    assert shape.is_watertight
    assert shape.volume > 0.0
    if inverted:
        shape.invert()
    triangles = built(tmp_path, mesh_scene("room.ply"), room=shape)
    faces = walls(triangles)
    assert triangles.closed
    assert volume(triangles, faces) == pytest.approx(-L_VOLUME, rel=1e-12)
    assert errors_of(tmp_path / "scene.toml") == []


def test_scale_and_units_of_a_chamber_mesh(tmp_path):
    shape = l_shape()
    shape.apply_scale(0.1)
    data = mesh_scene("room.ply")
    data["chamber"]["scale"] = 10.0
    triangles = built(tmp_path, data, room=shape)
    assert volume(triangles, walls(triangles)) == pytest.approx(-L_VOLUME, rel=1e-5)


def cylinder_obj(radius: float, height: float, sides: int) -> str:
    """Upright cylinder about (radius, radius) as OBJ with the parts floor, ceiling, mantle."""
    angle = 2.0 * np.pi * np.arange(sides) / sides
    ring = [(radius + radius * np.cos(a), radius + radius * np.sin(a)) for a in angle]
    lines = [f"v {x} {y} {z}" for z in (0.0, height) for x, y in ring]
    around = range(1, sides + 1)
    lines += ["o floor", "f " + " ".join(str(k) for k in reversed(around))]
    lines += ["o ceiling", "f " + " ".join(str(k + sides) for k in around), "o mantle"]
    for k in around:
        n = k % sides + 1
        lines.append(f"f {k} {n} {n + sides} {k + sides}")
    return "\n".join(lines) + "\n"


def cylinder_scene(folder) -> dict:
    """The small scene in a cylinder with named walls."""
    (folder / "drum.obj").write_text(cylinder_obj(170.0, 350.0, 24))
    data = small_scene()
    data["chamber"] = {"mesh": "drum.obj", "lining": "foil", "walls": {"floor": "white paint"}}
    data["lamp"][0] |= {"from": [80, 80, 60], "to": [80, 80, 290]}
    data["lamp"][1] |= {"from": [260, 260, 60], "to": [260, 260, 290]}
    return data


def test_named_parts_of_a_chamber_mesh_are_its_walls(tmp_path):
    triangles = built(tmp_path, cylinder_scene(tmp_path))
    assert triangles.closed
    base = 0.5 * 24 * 0.17**2 * np.sin(2.0 * np.pi / 24)  # regular polygon
    areas = {
        name: triangles.areas[body(triangles, f"chamber: {name}")].sum()
        for name in ("floor", "ceiling", "mantle")
    }
    mantle = 24 * 2.0 * 0.17 * np.sin(np.pi / 24) * 0.35
    assert areas == pytest.approx({"floor": base, "ceiling": base, "mantle": mantle}, rel=1e-9)
    assert volume(triangles, walls(triangles)) == pytest.approx(-base * 0.35, rel=1e-9)
    assert np.allclose(triangles.normals[body(triangles, "chamber: floor")], [0, 0, 1], atol=1e-9)
    assert surface_of(triangles, "chamber: floor") == find_surface("white paint")
    assert surface_of(triangles, "chamber: mantle") == find_surface("foil")


def test_unknown_walls_of_a_chamber_mesh_list_its_parts(tmp_path):
    data = cylinder_scene(tmp_path)
    data["chamber"]["walls"] = {"lid": "foil"}
    fault = only_fault(write_scene(tmp_path, data))
    assert fault.key == "chamber.walls.lid"
    assert all(name in fault.mend for name in ("floor", "ceiling", "mantle"))


def test_a_chamber_of_one_shape_used_twice_keeps_both_halves(tmp_path):
    # Half a box, open at x = 150 mm, and the same half turned about the upright through there.
    corners = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]] * 2, float)
    corners[4:, 2] = 1.0
    faces = [(0, 2, 1), (0, 3, 2), (4, 5, 6), (4, 6, 7), (0, 1, 5), (0, 5, 4)]
    faces += [(3, 6, 2), (3, 7, 6), (0, 4, 7), (0, 7, 3)]
    half = trimesh.Trimesh(corners * [150, 250, 350], faces, process=False)
    scene = trimesh.Scene()
    scene.add_geometry(half, geom_name="half", node_name="left half")
    turn = trimesh.transformations.rotation_matrix(np.pi, [0, 0, 1], [150, 125, 0])
    scene.graph.update("right half", geometry="half", matrix=np.round(turn, 12))
    scene.export(tmp_path / "room.glb")
    data = small_scene()
    data["chamber"] = {"mesh": "room.glb", "lining": "foil"}
    triangles = built(tmp_path, data)
    assert volume(triangles, walls(triangles)) == pytest.approx(-0.3 * 0.25 * 0.35, rel=1e-5)


# ---------------------------------------------------------------- objects


def test_turns_are_right_handed_about_x_then_y_then_z():
    x, y, z = np.eye(3)
    assert np.allclose(turning((90, 0, 0)) @ y, z, atol=1e-15)
    assert np.allclose(turning((0, 90, 0)) @ z, x, atol=1e-15)
    assert np.allclose(turning((0, 0, 90)) @ x, y, atol=1e-15)
    # About x first: y -> z, which the turn about y then takes to x and that about z to y.
    assert np.allclose(turning((90, 90, 90)) @ y, y, atol=1e-15)
    # The other order would give x -> y -> z (z first, then x).
    assert np.allclose(turning((90, 0, 90)) @ x, y, atol=1e-15)
    turn = turning((12.0, -34.0, 56.0))
    assert np.allclose(turn @ turn.T, np.eye(3), atol=1e-15)
    assert np.linalg.det(turn) == pytest.approx(1.0, rel=1e-12)


def test_meshes_are_scaled_then_turned_then_moved():
    point = np.array([[1.0, 0.0, 0.0]])
    moved = placed(point, 2.0, (0.0, 0.0, 90.0), (10.0, 20.0, 30.0))
    assert np.allclose(moved, [[10.0, 22.0, 30.0]], atol=1e-15)


def test_an_object_stands_where_it_is_told(tmp_path):
    data = small_scene()
    data["object"][0] |= {"turn": [0, 0, 90], "scale": 0.5}
    triangles = built(tmp_path, data)
    corners = triangles.corners[body(triangles, "plate")].reshape(-1, 3)
    # A plate of 40 x 40 mm along x and z, halved, turned to lie along y, with its corner at `at`.
    assert np.allclose(corners.min(axis=0), [0.130, 0.125, 0.150], atol=1e-9)
    assert np.allclose(corners.max(axis=0), [0.130, 0.145, 0.170], atol=1e-9)
    assert np.allclose(triangles.normals[body(triangles, "plate")], [1, 0, 0], atol=1e-9)


def test_lengths_of_a_mesh_are_in_the_scenes_units(tmp_path):
    data = small_scene() | {"units": "cm"}
    data["chamber"]["inside"] = [300, 250, 350]
    data["chamber"]["edge"] = 100
    faces = body(built(tmp_path, data), "plate")
    assert len(faces) > 0
    triangles = load_scene(tmp_path / "scene.toml").triangles
    assert triangles.areas[faces].sum() == pytest.approx(0.16, rel=1e-6)


def test_open_meshes_have_two_judged_sides_and_closed_ones_have_one(tmp_path):
    data = with_object(judged=True, at=[40, 150, 60], edge=50)
    triangles = built(tmp_path, data, thing=box([30.0, 30.0, 30.0]))
    sheet, block = body(triangles, "plate"), body(triangles, "thing")
    assert triangles.judged[sheet].all()
    assert triangles.judged[block, OUTSIDE].all()
    assert not triangles.judged[block, INSIDE].any()
    names = {triangles.bodies[part.body].name: part.two_sided for part in triangles.parts}
    assert names["plate"] is True
    assert names["thing"] is False
    assert names["chamber: floor"] is False
    # Normals of a closed object look out of it.
    assert volume(triangles, block) == pytest.approx(27e-6, rel=1e-6)


def test_sides_may_be_given(tmp_path):
    data = with_object(judged=True, at=[40, 150, 60], edge=50, sides="both")
    triangles = built(tmp_path, data, thing=box([30.0, 30.0, 30.0]))
    assert triangles.judged[body(triangles, "thing")].all()
    data = small_scene()
    data["object"][0]["sides"] = "outside"
    fault = only_fault(write_scene(tmp_path, data))
    assert fault.key == 'object 1 "plate".sides'
    assert "is open" in fault.what


def test_parts_of_an_object_have_surfaces_and_names_of_their_own(tmp_path):
    text = "v 0 0 0\nv 40 0 0\nv 40 0 40\nv 0 0 40\nv 0 0 80\nv 40 0 80\n"
    text += "o shell\nf 1 2 3 4\no straps\nf 4 3 6 5\n"
    (tmp_path / "mask.obj").write_text(text)
    data = small_scene()
    data["object"][0] |= {"mesh": "mask.obj", "parts": {"straps": "strap"}}
    triangles = built(tmp_path, data)
    assert surface_of(triangles, "plate", "shell") == find_surface("respirator fabric")
    assert surface_of(triangles, "plate", "straps") == find_surface("strap")
    assert triangles.areas[body(triangles, "plate")].sum() == pytest.approx(0.0032, rel=1e-9)
    data["object"][0]["parts"] = {"strap": "strap"}
    fault = only_fault(write_scene(tmp_path, data))
    assert fault.key == 'object 1 "plate".parts.strap'
    assert "shell" in fault.mend
    assert "straps" in fault.mend
    (tmp_path / "mask.obj").write_text(text.replace("o ", "usemtl "))
    assert '"o NAME" in an OBJ' in only_fault(write_scene(tmp_path, data)).mend


def test_judged_faces_are_split_to_6_mm_unless_told_otherwise(tmp_path):
    def longest_edge(data):
        triangles = built(tmp_path, data, thing=plate(70.0, 70.0))
        found = {}
        for name in ("plate", "thing", "chamber: floor"):
            corners = triangles.corners[body(triangles, name)]
            found[name] = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max()
        return found

    data = with_object(at=[40, 150, 60])
    del data["object"][0]["edge"]
    longest = longest_edge(data)
    assert 0.003 < longest["plate"] <= 0.006
    assert longest["thing"] == pytest.approx(0.07 * np.sqrt(2.0), rel=1e-6)
    assert longest["chamber: floor"] <= 0.050
    data["object"][0]["edge"] = 15
    data["object"][1]["edge"] = 30
    data["chamber"]["edge"] = 100
    longest = longest_edge(data)
    assert 0.0075 < longest["plate"] <= 0.015
    assert 0.015 < longest["thing"] <= 0.030
    assert 0.050 < longest["chamber: floor"] <= 0.100


def test_an_edge_that_gives_too_many_faces_is_refused_before_splitting(tmp_path, monkeypatch):
    split_once = subdivide._split_once

    def few_only(faces, middle):
        assert len(faces) < 100_000, "it was split first"
        return split_once(faces, middle)

    monkeypatch.setattr(subdivide, "_split_once", few_only)
    data = small_scene()
    data["object"][0]["edge"] = 0.005
    path = write_scene(tmp_path, data)
    fault = only_fault(path)
    assert fault.key == 'object 1 "plate".edge'
    assert "choose a longer edge" in fault.mend


def test_normals_and_areas_are_those_of_the_corners(tmp_path):
    triangles = built(tmp_path)
    a, b, c = triangles.corners.transpose(1, 0, 2)
    cross = np.cross(b - a, c - a)
    assert np.allclose(triangles.normals * 2.0 * triangles.areas[:, None], cross, atol=1e-15)
    assert np.allclose(np.linalg.norm(triangles.normals, axis=1), 1.0, atol=1e-12)


def test_meters_keep_their_place_and_face_along_a_unit_direction(tmp_path):
    data = small_scene()
    data["meter"] = [{"name": "m", "at": [150, 60, 90], "facing": [0, -3, 4],
                      "reading": "1.2 mW/cm2"}]  # fmt: skip
    (meter,) = built(tmp_path, data).meters
    assert meter.at == pytest.approx([0.15, 0.06, 0.09])
    assert meter.facing == pytest.approx([0.0, -0.6, 0.8])
    assert meter.reading == pytest.approx(12.0)


def test_files_of_the_scene_are_listed_once(tmp_path):
    data = with_object(at=[40, 150, 60], mesh="plate.ply")
    scene = load_scene(write_scene(tmp_path, data))
    assert scene.files == (tmp_path / "scene.toml", tmp_path / "plate.ply")
    assert scene.object_key(scene.triangles.face_body[-1]) == 'object 2 "thing"'


def soup_of(mesh, apart: float) -> trimesh.Trimesh:
    """The triangles of a mesh with corners of their own, about `apart` from their neighbours'."""
    noise = np.random.default_rng(4).normal(0.0, apart, (len(mesh.faces), 3, 3))
    corners = (mesh.vertices[mesh.faces] + noise).reshape(-1, 3)
    return trimesh.Trimesh(corners, np.arange(len(corners)).reshape(-1, 3), process=False)


def test_a_mesh_of_loose_triangles_is_doubted(tmp_path):
    """Nobody can tell which side of it is outside."""
    soup = soup_of(trimesh.creation.icosphere(subdivisions=2, radius=30.0), 0.05)
    path = write_scene(tmp_path, with_object(at=[150, 125, 250]), thing=soup)
    (fault,) = [one for one in faults_of(path) if "share no edge" in one.what]
    assert fault.level is Level.WARNING
    assert fault.key == 'object 2 "thing".mesh'
    assert "320 of the 320 triangles" in fault.what
    assert "weld" in fault.mend


def test_corners_that_differ_in_the_last_digits_are_one(tmp_path):
    """A third of such a mesh was drawn inside out, unnoticed, and `shadows` saw no patch on it."""
    ball = trimesh.creation.icosphere(subdivisions=2, radius=30.0)
    path = write_scene(tmp_path, with_object(at=[150, 125, 250]), thing=soup_of(ball, 5e-5))
    assert not [one for one in faults_of(path) if "share no edge" in one.what]
    (part,) = load_parts(tmp_path / "thing.ply")
    assert part.closed
    assert len(part.vertices) == len(ball.vertices)
    ball.faces[::3] = ball.faces[::3, ::-1]
    data = with_object(at=[150, 125, 250]) | {"repair": False}
    write_scene(tmp_path, data, thing=soup_of(ball, 5e-5))
    (fault,) = [one for one in faults_of(path) if one.level is Level.ERROR]
    assert "face opposite ways" in fault.what


def test_a_welded_mesh_is_not_doubted(tmp_path):
    sheet = trimesh.creation.icosphere(subdivisions=2, radius=30.0)
    path = write_scene(tmp_path, with_object(at=[150, 125, 250]), thing=sheet)
    assert not [one for one in faults_of(path) if "share no edge" in one.what]


def test_a_wall_knows_its_own_name(tmp_path):
    for body_ in built(tmp_path, small_scene()).bodies:
        assert is_wall_name(body_.name) is (body_.kind == "wall")
        assert body_.short_name == (body_.wall if body_.kind == "wall" else body_.name)
        assert body_ == wall_body(body_.wall) or body_.kind != "wall"
    assert wall_body("").name == wall_body("").short_name == "chamber"
