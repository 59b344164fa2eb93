"""Whatever a scene, a quantity or a mesh file is made of: it is read, or refused in clear lines."""

import copy
import math
import struct
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from mesh_corpus import FACES, FOUR, LOWER, POINTS, UPPER, WHOLE, binary_stl, ply, square_glb, stl
from profiles import MANY, examples
from scene_corpus import GAP, METER, TABLE
from small_scenes import small_scene, toml_text, write_scene

from raysim.base import units
from raysim.base.errors import Fault, Level, SceneError, printable
from raysim.dose.simulate import load_scene
from raysim.scene.check.check import check_scene
from raysim.scene.file.read import read_scene
from raysim.scene.file.written import SceneAsWritten
from raysim.scene.mesh.meshes import MeshFault, load_parts

BASE = small_scene() | {
    "units": "mm",
    "surface": [TABLE],
    "target": {"dose": "1 J/cm2", "safety_factor": 1.2},
    "lamps_behaviour": {"ageing": 0.8, "warm_up": {"curve": [["0 s", 0.4], ["90 s", 1.0]]}},
    "wear": {"donnings": 5},
    "meter": [METER],
    "gap": [GAP],
}
LETTERS = st.characters(codec="utf-8", exclude_categories=("Cs",))
WORDS = st.one_of(
    st.sampled_from(
        ["", "foil", "12 in", "1e400 W", "-3 mm", "1,5 mm", "nan", "../x.stl", "left", "plate.ply"]
    ),
    st.text(LETTERS, max_size=12),
)
NUMBERS = st.one_of(
    st.integers(-(10**6), 10**6),
    st.sampled_from([0, -0.0, 1e-320, 1e308, math.inf, math.nan, 10**400, 2**63]),
    st.floats(0.01, 500.0),
)
VALUES = st.recursive(
    st.one_of(NUMBERS, WORDS, st.booleans()),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.text(LETTERS, max_size=6), inner, max_size=3),
    ),
    max_leaves=6,
)


def places(data, at=()) -> list[tuple]:
    """Ways to every entry of nested tables and lists."""
    steps = data.items() if isinstance(data, dict) else enumerate(data)
    found = []
    for step, inner in steps:
        found.append((*at, step))
        if isinstance(inner, dict | list):
            found += places(inner, (*at, step))
    return found


@st.composite
def mutated_scenes(draw) -> dict:
    """The base scene after one to three changes."""
    data = copy.deepcopy(BASE)
    for _ in range(draw(st.integers(1, 3))):
        *way, last = draw(st.sampled_from(places(data)))
        inner = data
        for step in way:
            inner = inner[step]
        change = draw(st.sampled_from(["set", "set", "set", "drop", "add", "repeat"]))
        if change == "set":
            inner[last] = draw(VALUES)
        elif change == "drop":
            del inner[last]
        elif change == "add" and isinstance(inner, dict):
            inner[draw(st.text(LETTERS, max_size=8))] = draw(VALUES)
        elif change == "repeat" and isinstance(inner, list):
            inner.append(copy.deepcopy(inner[last]))
        if not data:
            return copy.deepcopy(BASE)
    return data


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """Folder with the mesh that the scenes name."""
    made = tmp_path_factory.mktemp("scenes")
    write_scene(made)
    return made


def quoted(data: dict) -> str:
    """TOML text of a scene, whatever its keys are."""
    return "\n".join(f"{toml_text(key)} = {toml_text(value)}" for key, value in data.items()) + "\n"


def is_clear(fault: Fault, path: Path) -> None:
    """Assert that a fault is one printable line with file, key, matter and mend."""
    line = str(fault)
    assert line.isprintable()
    assert line.startswith(printable(f"{path}: {fault.key}: {fault.what}"))
    assert line.endswith(printable(f". Mend: {fault.mend}"))
    assert fault.key
    assert fault.what
    assert fault.mend
    assert len(line) < 1500


def read_or_refused(path: Path) -> None:
    """Assert that a scene is read and checked, or refused line by line."""
    try:
        scene = load_scene(path)
        faults = check_scene(scene)
        assert isinstance(scene.written, SceneAsWritten)
        assert np.isfinite(scene.triangles.corners).all()
        assert np.isfinite(scene.triangles.normals).all()
    except SceneError as refusal:
        faults = refusal.faults
        assert any(fault.level is Level.ERROR for fault in faults)
    for fault in faults:
        is_clear(fault, path)


def _mutation(folder: Path, data: dict) -> None:
    path = folder / "scene.toml"
    path.write_text(quoted(data), encoding="utf-8")
    read_or_refused(path)


@given(data=mutated_scenes())
@examples(60)
def test_a_changed_scene_is_read_or_refused(folder, data):
    _mutation(folder, data)


@pytest.mark.slow
@given(data=mutated_scenes())
@examples(250 * MANY)
def test_many_changed_scenes_are_read_or_refused(folder, data):
    _mutation(folder, data)


@given(
    cut=st.tuples(st.integers(0, 2000), st.integers(0, 60)),
    put=st.one_of(st.binary(max_size=12), st.text(max_size=12).map(lambda text: text.encode("utf-8", "replace"))),
)  # fmt: skip
@examples(150)
def test_a_damaged_scene_file_is_read_or_refused(folder, cut, put):
    whole = quoted(BASE).encode()
    start = cut[0] % len(whole)
    path = folder / "scene.toml"
    path.write_bytes(whole[:start] + put + whole[start + cut[1] :])
    try:
        assert isinstance(read_scene(path), SceneAsWritten)
    except SceneError as refusal:
        for fault in refusal.faults:
            is_clear(fault, path)


@given(
    text=st.one_of(
        st.text(max_size=40),
        st.from_regex(r"[-+]?[0-9.]{1,6}(e[-+]?[0-9]{1,4})? ?[a-zµ*/^0-9 ]{0,12}", fullmatch=True),
    ),
    quantity=st.sampled_from(list(units.EXAMPLE)),
)
@examples(200)
def test_a_quantity_is_a_finite_number_or_refused(text, quantity):
    try:
        found, refusal = units.parse_quantity(text, quantity), ""
    except ValueError as error:
        found, refusal = 0.0, str(error)
    assert math.isfinite(found)
    assert len(refusal) < 400


ANGLE = "0 0 0\n40 0 0\n40 0 20\n20 0 20\n20 0 40\n0 0 40\n"
MIXED = struct.pack("<3f", 0, 9, 0) + struct.pack("<B4iB3i", 4, 0, 1, 2, 3, 3, 0, 4, 1)
SPECIMENS = {
    "stl": [
        stl(LOWER, UPPER).encode(),
        binary_stl(2, (0, 0, 0, 40, 0, 0, 40, 0, 40), (0, 0, 0, 40, 0, 40, 0, 0, 40)),
    ],
    "ply": [
        ply(4, 2, POINTS + FACES),
        trimesh.creation.box((40, 40, 40)).export(file_type="ply"),
        ply(6, 2, ANGLE + "6 0 1 2 3 4 5\n3 0 1 5\n"),
        ply(5, 2, FOUR + MIXED, "binary_little_endian"),
    ],
    "obj": [
        ("o a\n" + WHOLE + "o b\nf -1 -2 -3\n").encode(),
        ("v " + ANGLE.replace("\n", "\nv ") + "0 9 0\nf 1 2 3 4 5 6\nf 1 2 -1\n").encode(),
    ],
    "glb": [square_glb(), trimesh.creation.box((40, 40, 40)).export(file_type="glb")],
}


@st.composite
def damaged_meshes(draw) -> tuple[str, bytes]:
    """Kind and bytes of a mesh file with one to four bits of damage."""
    kind = draw(st.sampled_from(sorted(SPECIMENS)))
    data = draw(st.sampled_from(SPECIMENS[kind]))
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, max(len(data) - 1, 0)))
        length = draw(st.sampled_from([0, 1, 1, 4, 30]))
        put = draw(
            st.one_of(st.binary(max_size=4), st.sampled_from([b"\xff\xff\xff\x7f", b"9e99", b" "]))
        )
        data = data[:start] + put + data[start + length :]
    return kind, data


def _mesh(folder: Path, kind: str, data: bytes) -> None:
    path = folder / f"damaged.{kind}"
    path.write_bytes(data)
    parts, refusal = None, None
    try:
        parts = load_parts(path)
    except MeshFault as fault:
        refusal = Fault(fault.code, str(path), "mesh", fault.what, fault.mend)
    if parts is None:
        is_clear(refusal, path)
        return
    assert parts
    for part in parts:
        assert np.isfinite(part.vertices).all()
        assert part.faces.min() >= 0
        assert part.faces.max() < len(part.vertices)
        a, b, c = (part.vertices[part.faces[:, k]] for k in range(3))
        assert (np.linalg.norm(np.cross(b - a, c - a), axis=1) > 0.0).all()


@given(damage=damaged_meshes())
@examples(200)
def test_a_damaged_mesh_is_read_or_refused(folder, damage):
    _mesh(folder, *damage)


@pytest.mark.slow
@given(damage=damaged_meshes())
@examples(400 * MANY)
def test_many_damaged_meshes_are_read_or_refused(folder, damage):
    _mesh(folder, *damage)
