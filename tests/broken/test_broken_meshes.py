"""Broken meshes of every format are refused; odd but whole ones are read right."""

import json

import mesh_corpus
import numpy as np
import pytest
import scene_corpus
from answers import COMPILING, DOSE, behaves, refused_line_by_line
from drawn import write_polygons
from mesh_corpus import FACES, LOWER, POINTS, SQUARE, UPPER, WHOLE, binary_stl, ply, square_glb, stl
from small_scenes import box, small_scene, write_scene

from raysim.scene.mesh.meshes import load_parts


@pytest.mark.parametrize("name", mesh_corpus.CASES)
def test_a_broken_mesh_is_refused(kennel, tmp_path, name):
    case = mesh_corpus.CASES[name]
    case.write(tmp_path)
    refused_line_by_line(kennel, tmp_path, case.said)


def test_the_corpus_is_large():
    assert len(mesh_corpus.CASES) + len(scene_corpus.CASES) >= 250


# Odd files that are whole: name of the file, content, area and number of parts to be read.
WHOLE_ONES = {
    "stl-latin-1": ("a.stl", stl(LOWER, UPPER, name="Kä").encode("latin-1")),
    "stl-utf-16": ("a.stl", stl(LOWER, UPPER).encode("utf-16")),
    "stl-cr": ("a.stl", stl(LOWER, UPPER).replace("\n", "\r").encode()),
    "stl-crlf": ("a.stl", stl(LOWER, UPPER).replace("\n", "\r\n").encode()),
    "stl-capitals": ("a.STL", stl(LOWER, UPPER).upper().encode()),
    "stl-binary-called-solid": (
        "a.stl",
        b"solid" + binary_stl(2, (0, 0, 0, 40, 0, 0, 40, 0, 40), (0, 0, 0, 40, 0, 40, 0, 0, 40))[5:],
    ),
    "ply-crlf": ("a.ply", ply(4, 2, POINTS + FACES).replace(b"\n", b"\r\n")),
    "ply-blank-lines": ("a.ply", ply(4, 2, POINTS + FACES) + b"\n \n\n"),
    "ply-quad": ("a.ply", ply(4, 1, POINTS + "4 0 1 2 3\n")),
    "obj-mark": ("a.obj", b"\xef\xbb\xbf" + WHOLE.encode()),
    "obj-latin-1": ("a.obj", ("# Kästchen\n" + WHOLE).encode("latin-1")),
    "obj-utf-16": ("a.obj", WHOLE.encode("utf-16")),
    "obj-cr": ("a.obj", WHOLE.replace("\n", "\r").encode()),
    "obj-crlf": ("a.obj", WHOLE.replace("\n", "\r\n").encode()),
    "obj-quad": ("a.obj", (SQUARE + "f 1 2 3 4\n").encode()),
    "obj-continued": ("a.obj", (SQUARE + "f 1 2 \\\n3 4\n").encode()),
    "obj-from-the-end": ("a.obj", (SQUARE + "f -4 -3 -2 -1\n").encode()),
    "obj-remarks": ("a.obj", (SQUARE + "f 1 2 3 # f 1 2\nf 1 3 4\n# f 1\n").encode()),
    "obj-remote-material": (
        "a.obj",
        ("mtllib http://[::1]:9/x.mtl\nmtllib /dev/zero\nusemtl a\n" + WHOLE).encode(),
    ),
    "obj-texture-corners": ("a.obj", (SQUARE + "vt 0 0\nf 1/1 2/1 3/1 4/1\n").encode()),
    "glb": ("a.glb", square_glb()),
    "glb-of-unused-nodes": ("a.glb", square_glb(nodes=[{"mesh": 0}, {"mesh": 0}])),
}  # fmt: skip


@pytest.mark.parametrize("name", WHOLE_ONES)
def test_an_odd_but_whole_mesh_is_read_right(tmp_path, name):
    file, content = WHOLE_ONES[name]
    (tmp_path / file).write_bytes(content)
    (part,) = load_parts(tmp_path / file)
    corners = part.vertices[part.faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert 0.5 * np.linalg.norm(cross, axis=1).sum() == pytest.approx(1600.0, rel=1e-6)
    assert len(part.vertices) == 4
    assert part.dropped == 0


def test_triangles_that_stand_twice_are_left_out_and_told_of(kennel, tmp_path):
    mesh_corpus.mesh("a.obj", WHOLE + "f 2 3 1\nf 1 3 4\n")(tmp_path)
    checked = kennel.run("check", "scene.toml", folder=tmp_path)
    behaves(checked)
    assert checked.status == 0
    assert "2 triangles without area, or twice in one place" in checked.out


def test_a_mirrored_node_keeps_its_outside(tmp_path):
    """In glTF a node that mirrors also turns round which way corners run (section 3.7.4)."""
    for name, nodes in (("plain", [{"mesh": 0}]), ("mirrored", [{"mesh": 0, "scale": [-1, 1, 1]}])):
        (tmp_path / f"{name}.glb").write_bytes(square_glb(nodes=nodes))
    normals = []
    for name in ("plain", "mirrored"):
        (part,) = load_parts(tmp_path / f"{name}.glb")
        a, b, c = part.vertices[part.faces[0]]
        normals.append(np.cross(b - a, c - a)[1])
    assert normals[0] == pytest.approx(normals[1])
    assert normals[0] < 0.0


def test_parts_of_one_name_are_told_apart(tmp_path):
    text = SQUARE + "o a\nf 1 2 3\no b\nf 1 3 4\no a\nf 2 3 4\n"
    (tmp_path / "a.obj").write_text(text)
    parts = load_parts(tmp_path / "a.obj")
    assert sum(len(part.faces) for part in parts) == 3
    assert len({part.name for part in parts}) == len(parts)


def test_names_of_parts_are_short_and_printable(tmp_path):
    text = SQUARE + "o " + "n" * 5000 + "\nf 1 2 3\no \x1b[31mred\nf 1 3 4\n"
    (tmp_path / "a.obj").write_text(text)
    for part in load_parts(tmp_path / "a.obj"):
        assert part.name.isprintable()
        assert len(part.name) <= 80


def drawn_room(folder, form: str) -> None:
    """The small scene in a room shaped like an L, with whole polygons for floor and ceiling."""
    floor = np.array([(0, 0), (300, 0), (300, 250), (100, 250), (100, 150), (0, 150)], float)
    corners = np.vstack([np.insert(floor, 2, height, axis=1) for height in (0.0, 350.0)])
    walls = [[k, (k + 1) % 6, (k + 1) % 6 + 6, k + 6] for k in range(6)]
    faces = [[5, 4, 3, 2, 1, 0], *walls, [6, 7, 8, 9, 10, 11]]
    data = small_scene()
    data["chamber"] = {
        "mesh": write_polygons(folder, form, corners, faces).name,
        "lining": "aluminium foil, bright side",
    }
    write_scene(folder, data)


@pytest.mark.parametrize("form", ["obj", "ascii", "binary_little_endian"])
def test_a_room_shaped_like_an_l_is_traced_with_its_energy_closed(kennel, tmp_path, form):
    drawn_room(tmp_path, form)
    checked = kennel.run("check", "scene.toml", folder=tmp_path)
    behaves(checked)
    assert checked.status == 0, checked.said
    if form == "obj":
        energy_closes(kennel, tmp_path)


@pytest.mark.parametrize("form", ["obj", "binary_little_endian"])
def test_a_concave_panel_is_judged_with_its_own_area(kennel, tmp_path, form):
    """A U of 40 x 40 less 20 x 30 mm, both sides of which are judged: 20 cm2."""
    u = [(0, 0), (40, 0), (40, 40), (30, 40), (30, 10), (10, 10), (10, 40), (0, 40)]
    data = small_scene()
    corners = np.insert(np.array(u, float), 1, 0.0, axis=1)
    data["object"][0]["mesh"] = write_polygons(tmp_path, form, corners, [range(8)]).name
    write_scene(tmp_path, data)
    dosed = kennel.run(*DOSE, "--json", folder=tmp_path, **COMPILING)
    assert dosed.status == 0, dosed.said
    for case in json.loads(dosed.out)["cases"].values():
        assert case["percentiles"]["area_cm2"] == pytest.approx(20.0)


def energy_closes(kennel, folder) -> None:
    """Assert that the scene of a folder is traced, and no light of it is lost."""
    dosed = kennel.run(*DOSE, "--json", folder=folder, **COMPILING)
    assert dosed.status == 0, dosed.said
    energy = json.loads(dosed.out)["energy"]
    assert energy["lost_W"] <= 1e-6 * energy["emitted_W"]
    assert sum(energy["absorbed_W"].values()) == pytest.approx(energy["emitted_W"], rel=1e-6)


def test_a_chamber_with_a_pillar_is_traced_with_its_energy_closed(kennel, tmp_path):
    pillar = box([20, 20, 100], (100, 60, 100))
    pillar.invert()
    mesh_corpus.room(box([300, 250, 350]), pillar)(tmp_path)
    energy_closes(kennel, tmp_path)
