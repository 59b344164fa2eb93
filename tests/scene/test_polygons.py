"""Faces of more than three corners: their area and outline are kept, or they are refused."""

import drawn
import numpy as np
import pytest
from drawn import FORMS, areas, outline, rim, vector_area, write_polygons
from hypothesis import assume, given
from hypothesis import strategies as st
from profiles import MANY, examples
from scipy.spatial.transform import Rotation
from small_scenes import faults_of, small_scene, write_scene

from raysim.base.errors import Level
from raysim.scene.mesh import meshes
from raysim.scene.mesh.meshes import MeshFault, load_parts
from raysim.scene.mesh.only_triangles import LEAN_REFUSED, LEAN_TOLD, OnlyTriangles, only_triangles

ANGLE = [(0, 0), (20, 0), (20, 10), (10, 10), (10, 20), (0, 20)]  # the letter L; area 300
DART = [(0, 0), (10, -5), (2, 0), (10, 5)]  # area 10
# A square of 100 with a square hole of 9, come to and left by a bridge from corner 0 to corner 4.
HOLED = [(0, 0), (10, 0), (10, 10), (0, 10), (3, 3), (3, 6), (6, 6), (6, 3)]
HOLED_WAY = [0, 1, 2, 3, 0, 4, 5, 6, 7, 4]


def upright(points) -> np.ndarray:
    """Corners in the plane y = 0."""
    x, y = np.asarray(points, float).T
    return np.stack([x, np.zeros(len(x)), y], axis=1)


def only_part(path):
    (part,) = load_parts(path)
    return part


def refused(path, **options) -> MeshFault:
    with pytest.raises(MeshFault) as refusal:
        load_parts(path, **options)
    assert refusal.value.mend
    assert "\n" not in f"{refusal.value.what}{refusal.value.mend}"
    return refusal.value


def keeps(path, corners: np.ndarray, tolerance: float = 1e-9) -> None:
    """Assert that the one polygon of a file has kept its corners, its outline and its area."""
    part = only_part(path)
    assert part.dropped == 0
    assert sorted(map(tuple, part.vertices.tolist())) == sorted(map(tuple, corners.tolist()))
    assert len(part.faces) == len(corners) - 2
    assert rim(part) == outline(corners)
    area = np.linalg.norm(vector_area(corners))
    assert areas(part).sum() == pytest.approx(area, rel=tolerance)
    assert part.bent is None


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("points", [ANGLE, DART], ids=["angle", "dart"])
def test_a_concave_face_keeps_its_area_whichever_corner_comes_first(tmp_path, form, points):
    corners = upright(points)
    for _ in points:
        corners = np.roll(corners, 1, axis=0)
        for way in (corners, corners[::-1].copy()):
            keeps(write_polygons(tmp_path, form, way, [range(len(way))]), way)


SHAPES = {
    "star": drawn.star(np.random.default_rng(1), 500),
    "spiral": drawn.spiral(3.0, 400, 0.02),
    "thin-spiral": drawn.spiral(3.0, 400, 1e-5),
    "comb": drawn.comb(60),
    "thin": [(0, 0), (10**6, 0), (10**6, 1), (5, 1), (4, 2), (0, 2)],
    "nearly-straight": [(0, 0), (10**6, 0), (10**6, 10**6), (0, 10**6), (1, 5 * 10**5)],
}


@pytest.mark.parametrize("flat_corners", [False, True], ids=["", "flat-corners"])
@pytest.mark.parametrize("name", SHAPES)
def test_winding_and_thin_outlines_are_kept(tmp_path, name, flat_corners):
    points = drawn.with_flat_corners(SHAPES[name]) if flat_corners else SHAPES[name]
    corners = 1e-3 * upright(points)
    corners = Rotation.from_euler("xyz", [0.4, 1.1, -0.7]).apply(corners)
    for way in (corners, corners[::-1].copy()):
        keeps(write_polygons(tmp_path, "obj", way, [range(len(way))]), way, 1e-7)


@st.composite
def placed_polygons(draw) -> np.ndarray:
    """A random simple polygon (corners, 3) somewhere in space, either way round."""
    random = np.random.default_rng(draw(st.integers(0, 2**32)))
    kind = draw(st.sampled_from([drawn.star, drawn.tangle]))
    points = kind(random, draw(st.integers(4, 24)))
    points = drawn.with_flat_corners(points) if draw(st.booleans()) else points
    assume(drawn.is_simple(points))
    points = points[::-1] if draw(st.booleans()) else points
    corners = Rotation.random(random_state=random).apply(upright(points))
    corners /= np.ptp(corners, axis=0).max()
    corners += draw(st.sampled_from([0.0, 1.0, 100.0])) * random.normal(size=3)
    return corners * 10.0 ** draw(st.floats(-3.0, 3.0))


def _polygon(folder, corners: np.ndarray) -> None:
    for form in FORMS:
        keeps(write_polygons(folder, form, corners, [range(len(corners))]), corners)
    short = corners.astype(np.float32).astype(float)
    path = write_polygons(folder, "binary_big_endian", corners, [range(len(corners))], "float")
    assert rim(only_part(path)) == outline(short)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """One folder for all examples."""
    return tmp_path_factory.mktemp("polygons")


@given(corners=placed_polygons())
@examples(40)
def test_random_polygons_keep_area_and_outline(folder, corners):
    _polygon(folder, corners)


@pytest.mark.slow
@given(corners=placed_polygons())
@examples(100 * MANY)
def test_very_many_random_polygons_keep_area_and_outline(folder, corners):
    _polygon(folder, corners)


@pytest.mark.parametrize("form", FORMS)
def test_faces_keep_to_the_corners_they_share(tmp_path, form):
    """An L-shaped prism with corners in the middle of edges, which all faces at them name."""
    ring = upright(drawn.with_flat_corners(ANGLE))
    count = len(ring)
    corners = np.concatenate([ring, ring + [0.0, 12.0, 0.0]])
    sides = [[(k + 1) % count, k, k + count, (k + 1) % count + count] for k in range(count)]
    lid = [*range(2 * count - 1, count - 1, -1)]
    part = only_part(write_polygons(tmp_path, form, corners, [[*range(count)], *sides, lid]))
    assert (part.closed, part.consistent, part.dropped) == (True, True, 0)
    assert len(part.vertices) == 2 * count
    assert areas(part).sum() == pytest.approx(4.0 * 2.0 * 300.0 + 2.0 * 80.0 * 12.0)


@pytest.mark.parametrize("form", FORMS)
def test_repeated_corners_and_ways_there_and_back_enclose_nothing(tmp_path, form):
    corners = upright(HOLED)
    for way in ([0, 0, 1, 2, 2, 2, 3, 3, 0], [0, 1, 2, 6, 2, 3], [1, 2, 3, 3, 0]):
        part = only_part(write_polygons(tmp_path, form, corners, [way]))
        assert part.dropped == 0
        assert rim(part) == outline(corners[:4])
        assert areas(part).sum() == pytest.approx(100.0)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("start", range(10))
def test_a_hole_with_a_bridge_to_it_stays_a_hole(tmp_path, form, start):
    corners = upright(HOLED)
    part = only_part(write_polygons(tmp_path, form, corners, [np.roll(HOLED_WAY, start).tolist()]))
    assert rim(part) == sorted(outline(corners[:4]) + outline(corners[4:]))
    assert areas(part).sum() == pytest.approx(91.0)


def turns_of(count: int, turns: float) -> list[tuple[float, float]]:
    """Corners evenly spread over some turns of a circle."""
    angles = 2.0 * np.pi * turns * np.arange(count) / count
    return [*zip(np.cos(angles), np.sin(angles), strict=True)]


CROSSED = {
    "bow-tie": [(0, 0), (10, 10), (10, 0), (0, 10)],
    "crooked-bow-tie": [(0, 0), (10, 10), (10, 0), (0, 7)],
    "pentagram": turns_of(5, 2),
    "twice-round": turns_of(9, 2.0),
    # The first corner sees every edge from the same side, and some of them across others.
    "round-its-first-corner": [(0, 0), *(np.arange(9, 18)[:, None] * turns_of(9, 1.8)).tolist()],
    "touching-in-a-corner": [(0, 0), (10, 0), (5, 5), (10, 10), (0, 10), (5, 5)],
    "touching-an-edge": [(0, 0), (10, 0), (10, 10), (5, 0), (0, 10)],
    "hole-the-wrong-way-round": [HOLED[k] for k in [0, 1, 2, 3, 0, 4, 7, 6, 5, 4]],
    "way-there-on-the-way-back": [(0, 0), (30, 0), (10, 0), (10, 10), (0, 10)],
}


@pytest.mark.parametrize("name", CROSSED)
def test_what_crosses_or_touches_itself_is_refused_with_its_place(tmp_path, name):
    count = len(CROSSED[name])
    corners = np.concatenate([upright(CROSSED[name]), [[0, 9, 0], [9, 9, 0], [9, 9, 9]]])
    faces = [[*range(count, count + 3)], [*range(count)]]
    for form in FORMS:
        where = f"(face 2, line {count + 5})" if form == "obj" else "(face 2)"
        fault = refused(write_polygons(tmp_path, form, corners, faces))
        assert fault.what == f"has a face that crosses or touches itself {where}"


def test_a_corner_right_above_another_is_not_lost(tmp_path):
    """A square whose edges lie in turns in two planes, with steps between them."""
    corners = [(0, 0, 0), (10, 0, 0), (10, 0, 10), (0, 0, 10)]
    steps = [(x, height, z) for k, (x, _, z) in enumerate(corners) for height in (k % 2, 1 - k % 2)]
    path = write_polygons(tmp_path, "obj", np.array(steps) * [1.0, 0.01, 1.0], [range(8)])
    assert "crosses or touches itself (face 1, line 9)" in refused(path).what


def warped(height: float) -> np.ndarray:
    """A square of 10 whose corners lie in turns above and below its plane."""
    return np.array([(0, height, 0), (10, -height, 0), (10, height, 10), (0, -height, 10)], float)


def height_for(lean: float) -> float:
    """Height of the corners at which the halves of the square lean so many degrees."""
    return 0.5 * (10.0 / np.sqrt(2.0)) * np.tan(np.radians(lean))


@pytest.mark.parametrize("form", FORMS)
def test_how_far_a_face_is_from_flat_is_told(tmp_path, form):
    faces = [[0, 1, 2, 3], [4, 5, 6, 7], [8, 9, 10, 11]]
    leans = (0.99 * LEAN_TOLD, 1.01 * LEAN_TOLD, 0.99 * LEAN_REFUSED)
    squares = [warped(height_for(lean)) + [0, 20 * k, 0] for k, lean in enumerate(leans)]
    part = only_part(write_polygons(tmp_path, form, np.concatenate(squares), faces))
    assert len(part.faces) == 6
    assert part.bent.count == 2
    assert part.bent.lean == pytest.approx(leans[2], rel=1e-9)
    assert part.bent.where == ("face 3, line 15" if form == "obj" else "face 3")
    first = write_polygons(tmp_path, form, squares[0], faces[:1])
    assert only_part(first).bent is None
    beyond = write_polygons(tmp_path, form, warped(height_for(1.01 * LEAN_REFUSED)), faces[:1])
    assert "far from flat (face 1" in refused(beyond).what


def test_digits_left_out_bend_no_face(tmp_path):
    corners = Rotation.from_euler("xyz", [0.4, 1.1, -0.7]).apply(upright(ANGLE)) + 100.0
    # A strip so narrow that its last digit turns it by degrees.
    strip = corners[0] + np.array([[0, 0, 0], [15, 1, 3], [15, 1.0005, 3], [0, 0.0005, 0]])
    both = np.round(np.concatenate([corners, strip]), 4)
    both[7, 2] += 1e-4
    path = write_polygons(tmp_path, "obj", both, [[*range(6)], [6, 7, 8, 9]])
    assert only_part(path).bent is None


def test_bent_faces_of_objects_and_chambers_are_warned_of(tmp_path):
    data = small_scene()
    data["object"][0]["mesh"] = "a.obj"
    write_polygons(tmp_path, "obj", 4.0 * warped(0.5), [[0, 1, 2, 3]])
    room = np.array([(x, y, z) for x in (0, 300) for y in (0, 250) for z in (0, 350)], float)
    room[7, 2] += 40.0
    faces = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
    (tmp_path / "room").mkdir()
    write_polygons(tmp_path / "room", "ascii", room, faces)
    data["chamber"] = {"mesh": "room/a.ply", "lining": "foil"}
    told = [fault for fault in faults_of(write_scene(tmp_path, data)) if "not flat" in fault.what]
    assert [fault.level for fault in told] == [Level.WARNING] * 2
    assert [fault.key for fault in told] == ["chamber.mesh", 'object 1 "plate".mesh']
    assert "(face 6) leans" in told[0].what
    assert "a.obj has faces that are not flat (1 of them)" in told[1].what
    assert "(face 1, line 5) leans 8.0 degrees" in told[1].what


def test_corners_counted_from_the_end_are_those_so_far(tmp_path):
    """As the format has it: each face right behind its own corners."""
    text = ""
    for height in (0.0, 5.0):
        text += "".join(f"v {x} {height} {y}\n" for x, y in ANGLE)
        text += "f -6 -5 -4 -3 -2 -1\nf -6/1 -5/1 -1/1\n"
    (tmp_path / "a.obj").write_text(text)
    part = only_part(tmp_path / "a.obj")
    assert areas(part).sum() == pytest.approx(2 * (300.0 + 200.0))
    assert len(part.vertices) == 12
    triangles = text.replace("f -6 -5 -4 -3 -2 -1\n", "")
    (tmp_path / "b.obj").write_text(triangles)
    assert areas(only_part(tmp_path / "b.obj")).sum() == pytest.approx(2 * 200.0)


def test_parts_and_textures_of_an_obj_file_stay_with_their_polygons(tmp_path):
    corners = "".join(f"v {x} 0 {y} 0.5 0.5 0.5\n" for x, y in ANGLE)
    text = f"{corners}vt 0 0\nvt 1 0\nvn 0 1 0\no panel\n"
    text += "f 1/1/1 2/2/1 3//1 4/1 5 6 # remark\no clip\ns 1\nf 1//1 2//1 3//1\n"
    (tmp_path / "a.obj").write_text(text)
    parts = {part.name: areas(part).sum() for part in load_parts(tmp_path / "a.obj")}
    assert parts == {"panel": pytest.approx(300.0), "clip": pytest.approx(100.0)}


def odd_ply(form: str, texture: bool) -> bytes:
    """An L and a triangle, with properties and elements that have nothing to do with shapes."""
    texture_list = "property list uchar float texcoord\n" if texture else ""
    head = (
        f"ply\nformat {form} 1.0\ncomment odd\nelement camera 1\nproperty short view\n"
        "element vertex 6\nproperty float z\nproperty uchar red\nproperty double y\n"
        "property float x\nelement none 0\nproperty list uchar int any\nelement face 2\n"
        f"property uchar blue\n{texture_list}property list uint8 uint32 vertex_index\n"
        "property float quality\nelement edge 1\nproperty list uchar int ends\nend_header\n"
    )
    plain = form == "ascii"

    def said(kind: str, *numbers: float) -> bytes:
        return (
            (" ".join(map(str, numbers)) + " ").encode()
            if plain
            else np.array(numbers, kind).tobytes()
        )

    end = b"\n" if plain else b""
    body = said("<i2", 7) + end
    for x, z in ANGLE:
        body += said("<f4", z) + said("u1", 255) + said("<f8", 0.0) + said("<f4", x) + end
    for way in (range(6), (0, 1, 5)):
        body += said("u1", 9)
        body += said("u1", 2) + said("<f4", 0.5, 0.5) if texture else b""
        body += said("u1", len(way)) + said("<u4", *way) + said("<f4", 0.5) + end
    return head.encode() + body + said("u1", 2) + said("<i4", 0, 1) + end


@pytest.mark.parametrize("texture", [False, True])
@pytest.mark.parametrize("form", ["ascii", "binary_little_endian"])
def test_other_properties_of_a_ply_file_change_nothing(tmp_path, form, texture):
    (tmp_path / "a.ply").write_bytes(odd_ply(form, texture))
    part = only_part(tmp_path / "a.ply")
    assert areas(part).sum() == pytest.approx(300.0 + 200.0)
    assert len(part.vertices) == 6


@pytest.mark.parametrize("form", FORMS)
def test_files_of_triangles_are_handed_on_as_they_are(tmp_path, form):
    path = write_polygons(tmp_path, form, upright(ANGLE), [[0, 1, 2], [0, 2, 3], [0, 3, 4]])
    data = path.read_bytes()
    assert only_triangles(data, path.suffix[1:], 3, 100) == OnlyTriangles(data, 3, None)


def test_more_triangles_than_bearable_are_refused_before_they_are_made(tmp_path, monkeypatch):
    monkeypatch.setattr(meshes, "MOST_TRIANGLES", 3)
    monkeypatch.setattr("raysim.scene.mesh.only_triangles.cut", None)
    path = write_polygons(tmp_path, "ascii", upright(ANGLE), [range(6)])
    assert "more than 3 triangles" in refused(path).what


@pytest.mark.parametrize("form", FORMS)
def test_polygons_that_enclose_nothing_are_left_out_and_counted(tmp_path, form):
    corners = np.concatenate([upright(ANGLE), upright([(5, 0), (7, 0)])])
    part = only_part(
        write_polygons(tmp_path, form, corners, [range(6), [0, 6, 7, 1], [0, 0, 1, 1]])
    )
    assert part.dropped == 4
    assert areas(part).sum() == pytest.approx(300.0)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("points", [ANGLE, [(0, 0), (10, 0), (10, 10), (0, 10)]])
def test_faces_drawn_twice_are_left_out_and_faces_back_to_back_refused(tmp_path, form, points):
    """With corners of their own, and another one of them first, as two-sided exports have them."""
    count = len(points)
    corners = np.concatenate([upright(points)] * 2)
    own = np.arange(count, 2 * count)
    for start in range(count):
        twice = [[*range(count)], np.roll(own, start).tolist()]
        part = only_part(write_polygons(tmp_path, form, corners, twice))
        assert part.dropped == count - 2
        assert rim(part) == outline(corners[:count])
        both = [[*range(count)], np.roll(own[::-1], start).tolist()]
        path = write_polygons(tmp_path, form, corners, both)
        assert rim(only_part(path)) == outline(corners[:count])
        fault = refused(path, repair=False)
        assert f"{count - 2} pairs of triangles back to back" in fault.what
