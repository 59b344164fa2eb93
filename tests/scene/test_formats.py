"""OFF, 3MF, strips in PLY, glTF with its numbers beside it: what is read and what is refused."""

import base64
import io
import json
import struct
import zipfile

import numpy as np
import pytest
import trimesh
from small_scenes import box, small_scene, write_scene

import raysim
from raysim.scene.mesh.fault import MeshFault
from raysim.scene.mesh.meshes import load_parts

SQUARE = [[0, 0, 0], [40, 0, 0], [40, 0, 40], [0, 0, 40]]
POINTS = "".join("{} {} {}\n".format(*p) for p in SQUARE)


def area(part) -> float:
    return float(trimesh.Trimesh(part.vertices, part.faces, process=False).area)


def refused(path, **options) -> str:
    with pytest.raises(MeshFault) as fault:
        load_parts(path, **options)
    return f"{fault.value.code} {fault.value.what}"


# ---------------------------------------------------------------- OFF


@pytest.mark.parametrize(
    "text",
    [
        f"OFF\n4 2 0\n{POINTS}3 0 1 2\n3 0 2 3\n",
        f"OFF 4 1 0\n# a remark\n{POINTS}\n4 0 1 2 3  # and one more\n",
        f"OFF\n4 1\n{POINTS}4 0 1 2 3 255 0 0\n",
        "COFF\r\n4 1 0\r\n" + POINTS.replace("\n", " 0 0 0 1\r\n") + "4 0 1 2 3\r\n",
    ],
)
def test_a_square_in_off(tmp_path, text):
    (tmp_path / "a.off").write_text(text)
    (part,) = load_parts(tmp_path / "a.off")
    assert area(part) == pytest.approx(1600.0)
    assert len(part.faces) == 2
    assert not part.closed


def test_an_off_file_that_another_library_wrote(tmp_path):
    ball = trimesh.creation.icosphere(2, 30.0)
    ball.export(tmp_path / "a.off")
    (part,) = load_parts(tmp_path / "a.off")
    assert part.closed
    assert area(part) == pytest.approx(ball.area, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("hello\n", "no head of an OFF"),
        ("OFF BINARY\n4 2 0\n", "no head of an OFF file in text"),
        ("OFF\n", "does not say how many"),
        ("OFF\nfour 1 0\n", "does not say how many"),
        ("OFF\n99999999 1 0\n" + POINTS, "announces 100,000,000"),
        (f"OFF\n4 2 0\n{POINTS}3 0 1 2\n", "announces 6 corners and faces, but has 5"),
        (f"OFF\n4 1 0\n{POINTS}3 0 1 7\n", "does not exist"),
        (f"OFF\n4 1 0\n{POINTS}4 0 1 3 2\n", "crosses"),
        (f"OFF\n4 1 0\n{POINTS}4 0 1 2\n", "ends within its faces"),
        (f"OFF\n4 1 0\n{POINTS.replace('40', '4,5', 1)}3 0 1 2\n", "where a number should"),
        (f"OFF\n4 1 0\n{POINTS.replace('40', 'nan', 1)}3 0 1 2\n", "finite"),
        (f"OFF\n4 1 0\n{POINTS}three 0 1 2\n", "where a number should"),
    ],
)
def test_a_broken_off_file_is_refused(tmp_path, text, said):
    (tmp_path / "a.off").write_text(text)
    assert said in refused(tmp_path / "a.off")


# ---------------------------------------------------------------- 3MF

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"


def mesh_xml(mesh) -> str:
    vertices = "".join(
        '<vertex x="{!r}" y="{!r}" z="{!r}"/>'.format(*v) for v in mesh.vertices.tolist()
    )
    faces = "".join('<triangle v1="{}" v2="{}" v3="{}"/>'.format(*f) for f in mesh.faces.tolist())
    return f"<mesh><vertices>{vertices}</vertices><triangles>{faces}</triangles></mesh>"


def model(resources: str, build: str, before: str = "") -> str:
    return (
        f'<?xml version="1.0"?>{before}<model unit="millimeter" xmlns="{CORE}" xmlns:p="{PRODUCTION}">'
        f"<resources>{resources}</resources><build>{build}</build></model>"
    )


def archive(**models: str) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        for name, text in models.items():
            file.writestr(f"3D/{name}.model", text)
    return packed.getvalue()


BRICK = f'<object id="1" name="brick" type="model">{mesh_xml(box((10.0, 20.0, 30.0)))}</object>'


def test_what_a_3mf_file_builds_is_in_its_places(tmp_path):
    pair = (
        '<object id="2" name="pair"><components><component objectid="1"/>'
        '<component objectid="1" transform="-1 0 0 0 1 0 0 0 1 -5 0 0"/></components></object>'
        f'<object id="3" type="support">{mesh_xml(box((1.0, 1.0, 1.0)))}</object>'
        f'<object id="4">{mesh_xml(box((7.0, 7.0, 7.0)))}</object>'  # which is not built
    )
    turned = "0 1 0 -1 0 0 0 0 1 100 0 0"  # by 90 degrees about z, then moved
    text = model(BRICK + pair, f'<item objectid="2" transform="{turned}"/>')
    (tmp_path / "a.3mf").write_bytes(archive(**{"3dmodel": text}))
    parts = {part.name: part for part in load_parts(tmp_path / "a.3mf")}
    first, second = parts["brick"], parts["brick 2"]
    assert len(parts) == 2
    assert first.closed
    assert second.closed
    assert not first.turned_round
    assert not second.turned_round
    assert first.vertices.min(axis=0).tolist() == [80.0, 0.0, 0.0]
    assert first.vertices.max(axis=0).tolist() == [100.0, 10.0, 30.0]
    assert second.vertices.min(axis=0).tolist() == [80.0, -15.0, 0.0]
    assert second.vertices.max(axis=0).tolist() == [100.0, -5.0, 30.0]


def test_an_object_in_another_model_of_the_archive(tmp_path):
    root = model("", '<item objectid="1" p:path="/3D/other.model"/>')
    data = archive(**{"3dmodel": root, "other": model(BRICK, "")})
    (tmp_path / "a.3mf").write_bytes(data)
    (part,) = load_parts(tmp_path / "a.3mf")
    assert area(part) == pytest.approx(2200.0)


BOMB = '<!DOCTYPE a [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
FILE = '<!DOCTYPE a [<!ENTITY a SYSTEM "file:///etc/passwd">]>'


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"hello", "no zip archive"),
        (archive(), "lacks"),
        (archive(**{"3dmodel": "<model"}), "cannot be read"),
        (archive(**{"3dmodel": model(BRICK, '<item objectid="1"/>', BOMB)}), "type of document"),
        (archive(**{"3dmodel": model(BRICK, '<item objectid="1"/>', FILE)}), "type of document"),
        (archive(**{"3dmodel": model(BRICK, '<item objectid="7"/>')}), "object 7"),
        (archive(**{"3dmodel": model(BRICK, "")}), "holds no triangle"),
        (archive(**{"3dmodel": model(BRICK.replace('v1="0"', 'v1="99"'), '<item objectid="1"/>')}), "does not exist"),
        (archive(**{"3dmodel": model(BRICK.replace('x="', 'x="a'), '<item objectid="1"/>')}), "where a number should"),
        (archive(**{"3dmodel": model(BRICK.replace('x="', 'q="'), '<item objectid="1"/>')}), "lacks 'x'"),
        (archive(**{"3dmodel": model(BRICK, '<item objectid="1" transform="1 0"/>')}), "twelve numbers"),
        (archive(**{"3dmodel": model(BRICK, '<item objectid="1" p:path="/../../etc/passwd"/>')}), "lacks"),
        (
            archive(**{"3dmodel": model('<object id="1"><components><component objectid="1"/><component objectid="1"/></components></object>', '<item objectid="1"/>')}),
            "within themselves",
        ),
    ],
)  # fmt: skip
def test_a_broken_3mf_file_is_refused(tmp_path, data, said):
    (tmp_path / "a.3mf").write_bytes(data)
    assert said in refused(tmp_path / "a.3mf")


def test_a_zip_that_unpacks_without_end_is_not_unpacked(tmp_path, monkeypatch):
    monkeypatch.setattr("raysim.scene.mesh.threemf.MOST_BYTES", 1000)
    (tmp_path / "a.3mf").write_bytes(archive(**{"3dmodel": " " * 2000}))
    assert "unpacks to more" in refused(tmp_path / "a.3mf")


# ---------------------------------------------------------------- strips in PLY

HEAD = (
    "ply\nformat {} 1.0\nelement vertex 6\nproperty float x\nproperty float y\nproperty float z\n"
    "element tristrips 1\nproperty list int int vertex_indices\nend_header\n"
)
LADDER = np.array([[0, 0, 0], [0, 0, 10], [10, 0, 0], [10, 0, 10], [20, 0, 0], [20, 0, 10]])


@pytest.mark.parametrize("form", ["ascii", "binary_little_endian", "binary_big_endian"])
@pytest.mark.parametrize(
    ("strips", "triangles"),
    [
        ([0, 2, 1, 3], 2),
        ([0, 2, 1, 3, -1, 2, 4, 3, 5], 4),
        ([0, 2, 1, 3, -1, 2, 4, 3, 5, -1], 4),
        ([0, 2, 1, 3, 3, 2, 2, 4, 3, 5], 4),  # two strips stitched by triangles without area
    ],
)
def test_triangle_strips_of_a_ply_file(tmp_path, form, strips, triangles):
    numbers = [len(strips), *strips]
    if form == "ascii":
        rows = [*LADDER.tolist(), numbers]
        body = "".join(" ".join(map(str, row)) + "\n" for row in rows).encode()
    else:
        order = "<" if form.endswith("little_endian") else ">"
        body = LADDER.astype(order + "f4").tobytes()
        body += struct.pack(f"{order}{len(numbers)}i", *numbers)
    (tmp_path / "a.ply").write_bytes(HEAD.format(form).encode() + body)
    (part,) = load_parts(tmp_path / "a.ply", repair=False)
    assert len(part.faces) == triangles
    assert part.consistent
    assert (part.dropped, part.turned) == (0, 0)
    assert area(part) == pytest.approx(50.0 * triangles)
    mesh = trimesh.Trimesh(part.vertices, part.faces, process=False)
    assert np.allclose(mesh.face_normals, [0.0, -1.0, 0.0])


@pytest.mark.parametrize("strips", ["4 0 2 1 9", "4 0 2 1 -7", "9 0 2 1 3", "4 0 two 1 3"])
def test_a_broken_strip_is_refused(tmp_path, strips):
    rows = "".join(" ".join(map(str, row)) + "\n" for row in LADDER.tolist())
    (tmp_path / "a.ply").write_text(HEAD.format("ascii") + rows + strips + "\n")
    assert refused(tmp_path / "a.ply")


# ---------------------------------------------------------------- glTF

NUMBERS = np.array(SQUARE, "<f4").tobytes() + np.array([0, 1, 2, 0, 2, 3], "<u2").tobytes()


def gltf(*buffers: dict) -> str:
    """A square of which the places are in the first buffer, the triangles in the last."""
    return json.dumps(
        {
            "asset": {"version": "2.0"},
            "scenes": [{"nodes": [0]}],
            "nodes": [{"mesh": 0}],
            "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
            "accessors": [
                {"bufferView": 0, "componentType": 5126, "count": 4, "type": "VEC3"},
                {"bufferView": 1, "componentType": 5123, "count": 6, "type": "SCALAR"},
            ],
            "bufferViews": [
                {"buffer": 0, "byteLength": 48},
                {"buffer": len(buffers) - 1, "byteOffset": 48 * (len(buffers) == 1), "byteLength": 12},
            ],
            "buffers": list(buffers),
        }
    )  # fmt: skip


def inline(data: bytes) -> str:
    return "data:application/octet-stream;base64," + base64.b64encode(data).decode()


@pytest.mark.parametrize(
    "buffers",
    [
        [{"byteLength": 60, "uri": "a.bin"}],
        [{"byteLength": 60, "uri": "my%20numbers.bin"}],
        [{"byteLength": 60, "uri": inline(NUMBERS)}],
        [{"byteLength": 48, "uri": "a.bin"}, {"byteLength": 12, "uri": inline(NUMBERS[48:])}],
    ],
)
def test_a_gltf_file_with_its_numbers_beside_it(tmp_path, buffers):
    for name in ("a.bin", "my numbers.bin"):
        (tmp_path / name).write_bytes(NUMBERS)
    (tmp_path / "a.gltf").write_text(gltf(*buffers))
    (part,) = load_parts(tmp_path / "a.gltf")
    assert area(part) == pytest.approx(1600.0)
    assert len(part.faces) == 2


@pytest.mark.parametrize(
    ("uri", "said"),
    [
        ("http://[::1]:9/a.bin", "in another file"),
        ("file:///etc/passwd", "in another file"),
        ("/dev/zero", "in another file"),
        ("../a.bin", "in another file"),
        ("%2e%2e%2fa.bin", "in another file"),
        ("c:a.bin", "in another file"),
        ("..", "in another file"),
        ("", "in another file"),
        ("none.bin", "which is not there"),
        ("link.bin", "outside the folder of the scene"),
        ("short.bin", "a buffer of 60 bytes"),
        ("folder", "which is not there"),
        ("data:application/octet-stream;base64,@@@", "cannot be read"),
    ],
)
def test_numbers_elsewhere_are_not_read(tmp_path, uri, said):
    here = tmp_path / "here"
    (here / "folder").mkdir(parents=True)
    (tmp_path / "a.bin").write_bytes(NUMBERS)
    (here / "link.bin").symlink_to(tmp_path / "a.bin")
    (here / "short.bin").write_bytes(NUMBERS[:50])
    (here / "a.gltf").write_text(gltf({"byteLength": 60, "uri": uri}))
    assert said in refused(here / "a.gltf")


def test_a_mesh_outside_the_scenes_folder_keeps_its_numbers_in_itself(tmp_path):
    (tmp_path / "a.bin").write_bytes(NUMBERS)
    (tmp_path / "a.gltf").write_text(gltf({"byteLength": 60, "uri": "a.bin"}))
    assert load_parts(tmp_path / "a.gltf", folder=tmp_path)
    (tmp_path / "scene").mkdir()
    said = refused(tmp_path / "a.gltf", folder=tmp_path / "scene")
    assert "outside the folder of the scene" in said


def test_the_hash_of_a_scene_covers_the_numbers_beside_its_mesh(tmp_path):
    data = small_scene()
    data["object"][0]["mesh"] = "a.gltf"
    (tmp_path / "a.bin").write_bytes(NUMBERS)
    (tmp_path / "a.gltf").write_text(gltf({"byteLength": 60, "uri": "a.bin"}))
    path = write_scene(tmp_path, data)
    before = raysim.load_scene(path)
    assert tmp_path / "a.bin" in before.files
    wider = np.array(SQUARE, "<f4")
    wider[1:3, 0] = 41.0
    (tmp_path / "a.bin").write_bytes(wider.tobytes() + NUMBERS[48:])
    assert raysim.load_scene(path).sha256 != before.sha256
